"""What walls hide: a pan's own, and a tall pan's of another surface, against rays."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.geometry.coverage import disc_points
from trivet.physics.geometry.occlusion import (
    Obstacle,
    circle_overlap_m2,
    shadow_frac,
    shadowed,
    visible_base,
    visible_base_frac,
)


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


def test_a_wall_hides_the_strip_of_similar_triangles():
    # Eye 0.75 m up, rim 0.12 m high and 0.20 m from nadir: s = x (H / (H - h) - 1) = 38.10 mm,
    # the published check GEO-07 of tests/published/geometry.csv (plane geometry).
    obstacle = Obstacle(0.10, 0.0, 0.10, 0.12)
    x = np.array([0.2001, 0.2380, 0.2382, 0.30])
    points = np.stack([x, np.zeros(4), np.zeros(4)], axis=-1)
    hidden = shadowed(points, obstacle=obstacle, eye_m=(0.0, 0.0, 0.75))
    assert hidden.tolist() == [True, True, False, False]


@pytest.mark.parametrize("flare", [0.0, 0.35, -0.12])
def test_a_march_along_the_ray_meets_the_same_walls(flare):
    rng = np.random.default_rng(4)
    eye, obstacle = np.array([-0.2, 0.1, 0.8]), Obstacle(0.15, 0.05, 0.12, 0.25, 0.01, flare)
    points = np.column_stack(
        [rng.uniform((0.0, -0.2), (0.6, 0.3), (400, 2)), rng.uniform(0.0, 0.03, 400)]
    )
    top = obstacle.radius_at_m(obstacle.rim_height_m)
    outside = np.hypot(points[:, 0] - 0.15, points[:, 1] - 0.05) > max(top, 0.12) + 1e-3
    points = points[outside]
    met = np.zeros(len(points), dtype=bool)
    for s in np.linspace(0.0, 1.0, 4001):
        at = points + s * (eye - points)
        high = (at[:, 2] >= 0.01) & (at[:, 2] <= 0.25)
        radius = 0.12 + (at[:, 2] - 0.01) * math.tan(flare)
        met |= high & (np.hypot(at[:, 0] - 0.15, at[:, 1] - 0.05) <= radius)
    hidden = shadowed(points, obstacle=obstacle, eye_m=eye)
    assert (hidden == met).mean() > 0.995  # the march misses grazing rays
    assert 0.1 < hidden.mean() < 0.9


def test_behind_the_tower_the_shadow_is_the_projected_rim():
    # Beyond the rim's projected middle the hull is the rim's circle alone, so that the hidden
    # area is the lens of two circles (closed form of plane geometry).
    eye, obstacle = (0.0, 0.0, 0.9), Obstacle(0.2, 0.0, 0.10, 0.3)
    scale = 0.9 / 0.6
    centre, radius = np.array([0.47, 0.0, 0.0]), 0.12
    apart = centre[0] - 0.2 * scale
    assert apart - radius > 0.0  # the disc lies behind the middle of the projected rim
    shared = circle_overlap_m2(radius, other_radius_m=0.10 * scale, distance_m=apart)
    got = shadow_frac(centre, radius_m=radius, obstacle=obstacle, eye_m=eye)
    assert got == pytest.approx(shared / (math.pi * radius**2), abs=1e-4)
    assert 0.1 < got < 0.9


def test_closed_form_agrees_with_rays_everywhere():
    rng = np.random.default_rng(5)
    seen = []
    for _ in range(60):
        place, radius, top, flare = (
            rng.uniform(-0.3, 0.3, 2), rng.uniform(0.05, 0.15), rng.uniform(0.05, 0.4),
            rng.uniform(-0.1, 0.4),
        )  # fmt: skip
        obstacle = Obstacle(*place, radius, top, flare_rad=flare)
        eye = np.array([*rng.uniform(-0.5, 0.5, 2), 0.8])
        centre = np.array([*rng.uniform(-0.5, 0.5, 2), rng.uniform(0.0, 0.02)])
        points = disc_points(centre, radius_m=0.12, points=5000)
        by_rays = shadowed(points, obstacle=obstacle, eye_m=eye).mean()
        closed = shadow_frac(centre, radius_m=0.12, obstacle=obstacle, eye_m=eye)
        assert closed == pytest.approx(by_rays, abs=3e-3)
        seen.append(closed)
    assert min(seen) == 0.0
    assert max(seen) > 0.5


def test_nothing_is_hidden_below_the_head_or_above_the_rim():
    obstacle = Obstacle(0.3, 0.0, 0.1, 0.2)
    aside = {"radius_m": 0.1, "obstacle": obstacle}
    assert shadow_frac((0.0, 0.0, 0.0), eye_m=(0, 0, 0.7), **aside) == 0.0
    assert shadow_frac((0.55, 0.0, 0.25), eye_m=(0, 0, 0.7), **aside) == 0.0


@pytest.mark.parametrize(
    "change",
    [{"radius_m": 0.0}, {"rim_height_m": 0.0}, {"flare_rad": -0.7}, {"foot_height_m": -0.1}],
)
def test_impossible_towers_are_refused(change):
    given = {"centre_x_m": 0.0, "centre_y_m": 0.0, "radius_m": 0.1, "rim_height_m": 0.2} | change
    with pytest.raises(OutOfRangeError):
        Obstacle(**given)


def test_a_head_below_the_rim_is_refused():
    with pytest.raises(OutOfRangeError, match="look over"):
        shadow_frac(
            (0.5, 0, 0), radius_m=0.1, obstacle=Obstacle(0, 0, 0.1, 0.8), eye_m=(0.4, 0, 0.7)
        )
