"""Labels of painted scenes: discs of known outline, pixels counted by brute force."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.records.recording import LABELS
from trivet.stages.estimate import label_maps

X, Y, RADIUS = -0.20, -0.13, 0.12
OVER = 16
PAN, FOOD, HAND = (LABELS.index(word) for word in ("pan", "food", "hand"))


def maps(painter, pan, nominal, at_s, *, seconds=25.0):
    painter.told = {"pan": "iron-24", "base_contents": "dry"}
    inputs = painter.inputs([pan], seconds=seconds)
    (found,) = label_maps(
        inputs,
        design=painter.design,
        calibration=nominal,
        at_s=np.asarray(at_s, dtype=float),
    )
    return found


def share(painter, radius_m):
    """Share of each pixel inside a disc round the pan's middle, on a grid of its own."""
    head = painter.design.heads[0]
    card, height = painter.design.card(head), float(head.mount.height_m)
    half_x, half_y = (
        height * np.tan(float(angle) / 2) for angle in (card.fov_h_rad, card.fov_v_rad)
    )
    x = ((np.arange(card.cols * OVER) + 0.5) / (card.cols * OVER) * 2 - 1) * half_x
    y = (1 - (np.arange(card.rows * OVER) + 0.5) / (card.rows * OVER) * 2) * half_y
    inside = np.hypot(x[None, :] - X, y[:, None] - Y) <= radius_m
    return inside.reshape(card.rows, OVER, card.cols, OVER).mean(axis=(1, 3))


def overlap(one, other):
    return (one & other).sum() / (one | other).sum()


@pytest.mark.parametrize(("food_m", "least"), [(0.07, 0.8), (0.045, 0.65)])
def test_food_and_pan_overlap_what_is_there(painter, nominal, disc, food_m, least) -> None:
    pan = disc(0.93, lambda x, y, t: np.full(x.shape, 470.0), cover=(10.0, food_m, lambda t: 290.0))
    found = maps(painter, pan, nominal, [8.0, 24.0])
    food, rim = share(painter, food_m) > 0.5, share(painter, RADIUS) > 0.5
    before, after = found.label
    assert not (before == FOOD).any()
    assert overlap(after == FOOD, food) >= least
    # the tests' pan has a wall, the disc none: what is called wall is the disc's edge
    assert overlap(after == PAN, rim & ~food) >= 0.65
    burner = found.burners.index("front-left")
    assert np.array_equal(found.owner[1][food], np.full(food.sum(), burner))


@pytest.mark.parametrize("food_m", [0.025, 0.03])
def test_area_of_small_food_lies_within_its_interval(painter, nominal, disc, food_m) -> None:
    pan = disc(0.93, lambda x, y, t: np.full(x.shape, 470.0), cover=(10.0, food_m, lambda t: 280.0))
    found = maps(painter, pan, nominal, [24.0])
    burner = found.burners.index("front-left")
    area, u = (part[0, burner, FOOD] for part in (found.area_px, found.area_u_px))
    assert abs(area - share(painter, food_m).sum()) <= 1.96 * u
    assert 0.0 < u < area


def test_what_is_as_warm_as_skin_is_a_hand_while_it_is_fresh(painter, nominal, disc) -> None:
    pan = disc(0.93, lambda x, y, t: np.full(x.shape, 470.0), cover=(10.0, 0.06, lambda t: 306.0))
    found = maps(painter, pan, nominal, [11.0, 20.0])
    fresh, later = found.label
    assert overlap(fresh == HAND, share(painter, 0.06) > 0.5) >= 0.65
    assert not (fresh == FOOD).any()
    assert (later == FOOD).any()  # it stayed: no hand does
    assert not (later == HAND).any()


def test_a_label_does_not_depend_on_which_other_moments_are_asked(painter, nominal, disc) -> None:
    pan = disc(
        0.93, lambda x, y, t: np.full(x.shape, 440.0 + t), cover=(8.0, 0.05, lambda t: 285.0)
    )
    alone = maps(painter, pan, nominal, [16.0])
    among = maps(painter, pan, nominal, [3.0, 9.0, 16.0])
    assert np.array_equal(alone.label[0], among.label[-1])
    assert np.array_equal(alone.area_px[0], among.area_px[-1])


def test_a_cold_pan_has_no_label(painter, nominal, disc) -> None:
    pan = disc(0.93, lambda x, y, t: np.full(x.shape, painter.hob_k))
    found = maps(painter, pan, nominal, [5.0], seconds=6.0)
    assert (found.label == 0).all()
    assert (found.owner == -1).all()
