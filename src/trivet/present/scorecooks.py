"""One cook of a score as pictures: a frame with its labels, and the profile of an uneven pan."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.calibration_views import head_pose
from trivet.models.contents import bare_range
from trivet.models.optics import card_lens
from trivet.physics.geometry.optics import pixel_of_point
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, FrameView
from trivet.records.recording import LABELS, ProductInput
from trivet.records.verdict import ProofCook

Kind = Literal["labels", "profile"]
MARGIN_PX = 2  # own estimate: the surroundings of a pan stay in sight
ROUND = 73  # own estimate: a corner each 5 degrees looks round
DARK_FINISH, MIN_M = 0.85, 0.2
"""Own estimate: what makes a pan one that can be read and is wide enough to show a profile."""


def shown_cooks(cooks: Sequence[SweepCook], *, design: Design) -> dict[Kind, SweepCook]:
    """Return the first cook of a dry dark pan with food, and the first without.

    Parameters
    ----------
    cooks : sequence of SweepCook
        Short cooks of one burner each.
    design : Design
        Their pans and bases.

    Returns
    -------
    dict
        Without a kind that no cook can show.

    Notes
    -----
    By the plans alone, so no result decides what is shown.
    """
    found: dict[Kind, SweepCook] = {}
    for cook in cooks:
        burner = cook.plan.burners[0]
        pan = design.pan(burner.pan)
        plain = design.base(burner.base).contents == "dry" and not cook.plan.hands_at_s
        plain = plain and bare_range(pan)[0] >= DARK_FINISH and float(pan.diameter_m) >= MIN_M
        if plain:
            found.setdefault("labels" if burner.foods else "profile", cook)
    return found


def pictured_cook(
    kind: Kind, made: tuple[ProofCook, ProductInput], *, design: Design, calibration: Calibration
) -> Chart:
    """Return the picture of one cook.

    Parameters
    ----------
    kind : str
        ``labels`` or ``profile``.
    made : ProofCook, ProductInput
        With what its pixels saw, and the frames.
    design : Design
        Heads and burners.
    calibration : Calibration
        Under which it was read: the pose that draws the outline.

    Returns
    -------
    Chart
        Of its first burner, on its first head.

    Notes
    -----
    The frame is that with most food in sight; the profile is that of the last moment at
    which the unevenness is given.
    """
    cook, inputs = made
    if kind == "labels":
        return _labels(cook, inputs, design=design, calibration=calibration)
    return _profile(cook)


def _labels(
    cook: ProofCook, inputs: ProductInput, *, design: Design, calibration: Calibration
) -> Chart:
    assert cook.seen is not None
    so, said, frames = cook.seen.truth.heads[0], cook.seen.labels[0], inputs.heads[0]
    m = int(np.argmax(so.area_px[:, 0, LABELS.index("food")]))
    at_s = float(so.time_s[m])
    pixels = frames.apparent_k[int(np.searchsorted(frames.time_s, at_s, side="right")) - 1]
    rows, cols = np.nonzero((so.owner[m] == 0) | (said.label[m] > 0))
    part = tuple(
        slice(max(int(axis.min()) - MARGIN_PX, 0), int(axis.max()) + MARGIN_PX + 1)
        for axis in (rows, cols)
    )
    outline = _outline(cook, so.burners[0], at_s, design=design, calibration=calibration)
    return Chart(
        kind="labels",
        title="A frame and its labels",
        caption=(
            f"Cook {cook.name} at {at_s:.0f} s: apparent temperature with the outline of the base "
            "as found, what most of each pixel saw, and what the product says it shows."
        ),
        frame=FrameView(
            temperature_k=np.asarray(pixels[part], dtype=np.float64),
            so=so.label[m][part],
            said=said.label[m][part],
            outline_px=outline - [part[0].start, part[1].start],
        ),
        evidence=cook.evidence,
    )


def _outline(
    cook: ProofCook, name: str, at_s: float, *, design: Design, calibration: Calibration
) -> FloatArray:
    """Return row and column of the outline of the base as the product found it."""
    one = next(one for one in cook.estimate.burners if one.burner == name)
    assert one.shape is not None
    k = int(np.searchsorted(cook.estimate.time_s, at_s, side="right")) - 1
    burner, head = design.burner(name), design.heads[0]
    turn = np.linspace(0.0, 2.0 * math.pi, ROUND)
    radius = float(one.shape.diameter_m[k]) / 2.0
    points = np.stack(
        [
            float(burner.x_m) + one.shape.x_m[k] + radius * np.cos(turn),
            float(burner.y_m) + one.shape.y_m[k] + radius * np.sin(turn),
            np.zeros(ROUND),
        ],
        axis=-1,
    )
    pose = head_pose(calibration.head(head.name))
    return np.asarray(pixel_of_point(points, lens=card_lens(design.card(head)), pose=pose))


def _profile(cook: ProofCook) -> Chart:
    assert cook.seen is not None
    pan = cook.seen.truth.pans[0]
    one = next(one for one in cook.estimate.burners if one.burner == pan.burner)
    assert one.shape is not None
    times = cook.seen.truth.heads[0].time_s
    at = np.searchsorted(cook.estimate.time_s, times, side="right") - 1
    given = np.flatnonzero(np.isfinite(one.nonuniformity_k[at]))
    m = int(given[-1]) if given.size else times.size - 1
    k = int(at[m])
    ring = (np.arange(pan.ring_k.shape[1]) + 0.5) / pan.ring_k.shape[1]
    turn = (np.arange(pan.sector_delta_k.shape[1]) + 0.5) * 360.0 / pan.sector_delta_k.shape[1]
    said, u = float(one.nonuniformity_k[k]), float(one.shape.nonuniformity_u_k[k])
    return Chart(
        kind="profile",
        title="Profile of an uneven pan",
        caption=(
            f"Cook {cook.name} at {float(times[m]):.0f} s. P95 - P5: {said:.0f} K, standard "
            f"uncertainty {u:.0f} K; really {float(pan.spread_k[m]):.0f} K."
        ),
        x_label="share of the radius",
        y_label="mean of ring",
        lines=(
            ChartLine("was so", ring, pan.ring_k[m]),
            ChartLine("said", ring, one.shape.ring_k[k]),
            ChartLine("was so, round", turn, pan.sector_delta_k[m]),
            ChartLine("said, round", turn, one.shape.sector_delta_k[k]),
        ),
        evidence=cook.evidence,
    )
