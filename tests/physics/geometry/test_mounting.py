"""Mount errors: margins against rim_coverage, and probabilities against closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.geometry.coverage import pixels_across, rim_coverage
from trivet.physics.geometry.mounting import (
    MountSpread,
    coverage_draws,
    disc_views,
    in_field,
    overlap_width_m,
    union_frac,
)
from trivet.physics.geometry.optics import Pose, lens_from_fov, view_angle_rad
from trivet.physics.statistics.intervals import clopper_pearson

FOV = {"fov_h_rad": math.radians(55.0), "fov_v_rad": math.radians(35.0)}
MODELS = ("rectilinear", "equal-angle", "brown-conrady")


def lens(model="rectilinear"):
    return lens_from_fov(
        24, cols=32, model=model, distortion=(-0.15, 0.02, 0.0, 0.0005, -0.0003), **FOV
    )


@pytest.mark.parametrize("model", MODELS)
def test_margin_pixels_and_angle_are_those_of_the_rim(model):
    rng = np.random.default_rng(3)
    for _ in range(12):
        pose = Pose(*rng.uniform(-0.1, 0.1, 2), 0.8, *rng.uniform(-0.15, 0.15, 2))
        discs = np.column_stack([rng.uniform(-0.25, 0.25, (6, 2)), np.full(6, 0.05),
                                 rng.uniform(0.05, 0.12, 6), np.full(6, 0.01)])  # fmt: skip
        for disc, view in zip(discs, disc_views(discs, lens=lens(model), pose=pose), strict=True):
            where = {"height_m": disc[2], "lens": lens(model), "pose": pose}
            rim = rim_coverage(disc[:2], diameter_m=2 * disc[3], rim_height_m=disc[2],
                               lens=lens(model), pose=pose)  # fmt: skip
            if abs(rim.margin_m) > 3e-4:
                assert (view[0] >= 0) == (rim.margin_m >= 0)
            if model == "rectilinear" and rim.margin_m > 0:
                assert view[0] == pytest.approx(rim.margin_m, abs=1e-5)
            across = pixels_across(disc[:2], diameter_m=2 * disc[3], **where)
            assert view[1] == pytest.approx(across, rel=2e-3)
            assert view[2] == pytest.approx(float(view_angle_rad(disc[:3], pose=pose)))


def test_probability_of_a_normal_error_has_its_closed_form():
    # One rim near the right edge: it stays in view while tan(27.5 deg) dz + dx >= -spare, and
    # that sum of normals has the deviation s sqrt(1 + tan^2).
    half = math.tan(math.radians(27.5))
    spare, sigma = 0.004, 0.005
    disc = [[0.70 * half - 0.10 - spare, 0.0, 0.0, 0.10, 0.0]]
    covered = coverage_draws(
        disc, lens=lens(), pose=Pose(0.0, 0.0, 0.70), draws=40_000,
        spread=MountSpread(sigma, 0.0, "normal"), generator=np.random.default_rng(11),
    )  # fmt: skip
    expected = norm.cdf(spare / (sigma * math.hypot(1.0, half)))
    low, high = clopper_pearson(int(covered.sum()), 40_000, confidence=0.999)
    assert low < expected < high


@pytest.mark.parametrize(("axis", "edge"), [(0, "front"), (1, "side")])
def test_tips_both_ways_move_the_field(axis, edge):
    # A tip of angle a moves the edge of a 35 or 55 deg field from D tan(F/2) to D tan(F/2 - a).
    fov = math.radians(35.0 if edge == "front" else 55.0)
    tip = math.radians(1.0)
    near, far = (0.7 * math.tan(fov / 2 - s * tip) for s in (1.0, -1.0))
    place = [0.0, -1.0] if edge == "front" else [1.0, 0.0]
    for reach, most in ((near, 1.0), (far, 0.0)):
        at = reach - 0.05 + (-2e-3 if most else 2e-3)
        disc = [[place[0] * at, place[1] * at, 0.0, 0.05, 0.0]]
        covered = coverage_draws(
            disc, lens=lens(), pose=Pose(0.0, 0.0, 0.70), draws=2000,
            spread=MountSpread(0.0, tip), generator=np.random.default_rng(axis),
        )  # fmt: skip
        assert covered.mean() == most


@pytest.mark.parametrize("model", MODELS)
def test_no_error_means_all_or_nothing(model):
    discs = [[0.0, 0.0, 0.05, 0.1, 0.01], [0.3, 0.2, 0.05, 0.1, 0.01]]
    covered = coverage_draws(
        discs, lens=lens(model), pose=Pose(0, 0, 0.7), draws=50,
        spread=MountSpread(0.0, 0.0), generator=np.random.default_rng(1),
    )  # fmt: skip
    assert covered[:, 0].all()
    assert not covered[:, 1].any()


def test_the_same_seed_draws_the_same_mounts():
    disc = [[0.25, 0.0, 0.0, 0.10, 0.01]]
    one, two = (
        coverage_draws(disc, lens=lens(), pose=Pose(0, 0, 0.7), draws=500,
                       spread=MountSpread(0.01, 0.02), generator=np.random.default_rng(8))
        for _ in range(2)
    )  # fmt: skip
    assert (one == two).all()
    assert 0 < one.sum() < 500


@pytest.mark.parametrize("given", [(-0.001, 0.0), (0.0, -0.01), (math.nan, 0.0)])
def test_negative_spreads_are_refused(given):
    with pytest.raises(OutOfRangeError, match="mount spread"):
        MountSpread(*given)


def test_discs_of_another_shape_are_refused():
    with pytest.raises(OutOfRangeError, match=r"\(disc, 5\)"):
        disc_views(np.zeros((2, 4)), lens=lens(), pose=Pose(0, 0, 0.7))
    with pytest.raises(OutOfRangeError, match="radius"):
        disc_views(np.zeros((2, 5)), lens=lens(), pose=Pose(0, 0, 0.7))


def test_two_fields_overlap_by_their_width_less_their_distance():
    # Pinhole: W = 2 D tan(FOV/2) = 1.2488 m at 1.15 m over 57 deg.
    wide = lens_from_fov(120, cols=160, fov_h_rad=math.radians(57), fov_v_rad=math.radians(44))
    width = 2 * 1.15 * math.tan(math.radians(28.5))
    for apart in (0.76, 1.40):
        heads = [(wide, Pose(s * apart / 2, 0.0, 1.15)) for s in (-1.0, 1.0)]
        got = overlap_width_m(heads[0], other=heads[1])
        assert got == pytest.approx(width - apart, abs=1.5e-3)
    seam = union_frac((0.0, 0.0, 0.0), radius_m=0.05, heads=heads)
    assert seam == pytest.approx(0.0, abs=1e-12)  # the gap of 151 mm lies over the disc
    assert in_field([-0.7, 0.0, 0.0], lens=wide, pose=heads[0][1])
    with pytest.raises(InputError):
        union_frac((0, 0, 0), radius_m=0.1, heads=[])
