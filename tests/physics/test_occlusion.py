"""Occlusion by the pan's own wall: ray test against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.geometry.occlusion import circle_overlap_m2, visible_base, visible_base_frac


def _disc(radius, n=200_000):
    i = np.arange(n)
    r, a = radius * np.sqrt((i + 0.5) / n), i * math.pi * (3 - math.sqrt(5))
    return np.stack([r * np.cos(a), r * np.sin(a)], -1)


@pytest.mark.parametrize("flare", [0.0, 0.3, -0.1])
@pytest.mark.parametrize(("depth", "fill"), [(0.05, 0.0), (0.15, 0.0), (0.15, 0.09), (0.25, 0.0)])
def test_ray_test_agrees_with_closed_form(depth, fill, flare):
    eye, centre = (0.3, 0.1, 0.76), (0.05, -0.02)
    if 0.12 + depth * math.tan(flare) <= 0:
        pytest.skip("closed pan")
    surface = 0.12 + fill * math.tan(flare)
    args = {
        "centre_m": centre,
        "radius_m": 0.12,
        "depth_m": depth,
        "fill_m": fill,
        "flare_rad": flare,
    }
    seen = visible_base(_disc(surface) + np.array(centre), eye_m=eye, **args)
    assert seen.mean() == pytest.approx(visible_base_frac(eye, **args), abs=1e-3)


def test_march_along_the_ray_never_contradicts_the_rim_test():
    """Independent check: walk from the point to the rim and look whether a wall is met."""
    eye = np.array([0.33, -0.2, 0.6])
    points = _disc(0.1, 400)
    seen = visible_base(
        points, centre_m=(0, 0), radius_m=0.1, depth_m=0.12, eye_m=eye, flare_rad=0.2
    )
    start = np.column_stack([points, np.zeros(len(points))])
    free = np.ones(len(points), dtype=bool)
    for s in np.linspace(0, 0.12 / 0.6, 400):
        at = start + s * (eye - start)
        free &= np.hypot(at[:, 0], at[:, 1]) <= 0.1 + at[:, 2] * math.tan(0.2) + 1e-9
    assert (free == seen).all()
    assert 0.1 < seen.mean() < 0.95


def test_head_above_the_centre_sees_all_and_liquid_shows_more():
    assert visible_base_frac((0, 0, 0.7), centre_m=(0, 0), radius_m=0.1, depth_m=0.2) == 1.0
    aside = {"centre_m": (0, 0), "radius_m": 0.13, "depth_m": 0.25}
    empty = visible_base_frac((0.3, 0, 0.76), **aside)
    filled = visible_base_frac((0.3, 0, 0.76), fill_m=0.2, **aside)
    assert filled > empty + 0.2
    assert visible_base_frac((0.3, 0, 0.76), fill_m=0.25, **aside) == 1.0


def test_raised_base_counts_from_its_own_height():
    low = visible_base_frac((0.3, 0, 0.76), centre_m=(0, 0), radius_m=0.1, depth_m=0.1)
    high = visible_base_frac((0.3, 0, 0.80), centre_m=(0, 0, 0.04), radius_m=0.1, depth_m=0.1)
    assert high == pytest.approx(low, abs=1e-12)


def test_circle_overlap_limits():
    assert circle_overlap_m2(1, other_radius_m=1, distance_m=2) == 0
    assert circle_overlap_m2(1, other_radius_m=3, distance_m=1) == pytest.approx(math.pi)
    # two unit circles a radius apart: 2 pi / 3 - sqrt(3) / 2 (textbook value)
    got = circle_overlap_m2(1, other_radius_m=1, distance_m=1)
    assert got == pytest.approx(2 * math.pi / 3 - math.sqrt(3) / 2, abs=1e-12)


@pytest.mark.parametrize(
    "change",
    [{"depth_m": -0.01}, {"fill_m": 0.2}, {"fill_m": -0.01}, {"radius_m": 0.0}, {"depth_m": 0.8},
     {"flare_rad": -1.2}],
)  # fmt: skip
def test_bad_pans_are_refused(change):
    args = {"centre_m": (0, 0), "radius_m": 0.1, "depth_m": 0.1} | change
    with pytest.raises(OutOfRangeError):
        visible_base_frac((0.2, 0, 0.7), **args)
