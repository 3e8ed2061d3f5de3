"""Lens and pose: round trips, and OpenCV as an independent oracle."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.geometry.coverage import (
    rim_coverage,
)
from trivet.physics.geometry.optics import (
    Lens,
    Pose,
    footprint_m,
    lens_from_fov,
    pixel_of_point,
    point_of_pixel,
    ray_of_pixel,
    view_angle_rad,
)

DISTORTION = (-0.21, 0.05, -0.004, 0.0011, -0.0007)
POSES = (Pose(0, 0, 0.76), Pose(0.1, -0.05, 0.7, 0.2, -0.6, 0.3), Pose(-0.2, 0.3, 1.1, -0.3, 2.0))


def _lens(model, fov=(55, 35)):
    return lens_from_fov(
        24,
        cols=32,
        fov_h_rad=math.radians(fov[0]),
        fov_v_rad=math.radians(fov[1]),
        model=model,
        distortion=DISTORTION,
    )


@pytest.mark.parametrize("pose", POSES)
@pytest.mark.parametrize("model", ["rectilinear", "equal-angle", "brown-conrady"])
def test_round_trip(model, pose):
    lens = _lens(model, (80, 60))
    px = np.stack(np.mgrid[-0.5:23.6:1.5, -0.5:31.6:1.5], -1)
    points = point_of_pixel(px, lens=lens, pose=pose, plane_height_m=0.02)
    hit = np.isfinite(points[..., 0])
    assert hit.mean() > 0.9
    np.testing.assert_allclose(points[hit][:, 2], 0.02, atol=1e-12)
    np.testing.assert_allclose(
        pixel_of_point(points[hit], lens=lens, pose=pose), px[hit], atol=1e-8
    )


@pytest.mark.parametrize("pose", POSES)
def test_brown_conrady_agrees_with_opencv(pose):
    """cv2.projectPoints knows pose and distortion by its own code."""
    lens = _lens("brown-conrady")
    rng = np.random.default_rng(5)
    points = np.column_stack([rng.uniform(-0.3, 0.3, (40, 2)), rng.uniform(0, 0.1, 40)])
    turn, _ = cv2.Rodrigues(pose.rotation().T)
    camera = np.array(
        [
            [lens.focal_col_px, 0, lens.centre_col_px],
            [0, lens.focal_row_px, lens.centre_row_px],
            [0, 0, 1],
        ]
    )
    dist = np.array([lens.k1, lens.k2, lens.p1, lens.p2, lens.k3])
    shift = -pose.rotation().T @ pose.eye_m
    theirs = cv2.projectPoints(points, turn, shift, camera, dist)[0].reshape(-1, 2)
    ours = pixel_of_point(points, lens=lens, pose=pose)
    seen = np.isfinite(ours[:, 0])
    assert seen.sum() > 25
    np.testing.assert_allclose(ours[seen][:, ::-1], theirs[seen], atol=1e-9)
    # our inverse, sent forward through their projection, must come back to the pixel
    rays = ray_of_pixel(ours[seen], lens=lens, pose=pose) @ pose.rotation()
    again = cv2.projectPoints(rays, np.zeros(3), np.zeros(3), camera, dist)[0].reshape(-1, 2)
    np.testing.assert_allclose(again, theirs[seen], atol=1e-9)


def test_directions_and_angles_follow_the_convention():
    lens = _lens("rectilinear")
    row, col = pixel_of_point((0.1, 0.05, 0), lens=lens, pose=Pose(0, 0, 0.76))
    assert col > lens.centre_col_px
    assert row < lens.centre_row_px
    tipped = ray_of_pixel((11.5, 15.5), lens=lens, pose=Pose(0, 0, 0.76, tilt_rad=0.2))
    np.testing.assert_allclose(tipped, [0, math.sin(0.2), -math.cos(0.2)], atol=1e-12)
    turned = ray_of_pixel((11.5, 15.5), lens=lens, pose=Pose(0, 0, 0.76, 0.2, pan_rad=math.pi / 2))
    np.testing.assert_allclose(turned, [-math.sin(0.2), 0, -math.cos(0.2)], atol=1e-12)
    assert view_angle_rad((0.76, 0, 0), pose=Pose(0, 0, 0.76)) == pytest.approx(math.pi / 4)


def test_field_edge_lies_at_half_the_field_of_view():
    for model in ("rectilinear", "equal-angle", "brown-conrady"):
        lens = lens_from_fov(
            24, cols=32, fov_h_rad=1.2, fov_v_rad=0.8, model=model, distortion=(-0.2, 0.05, 0, 0, 0)
        )
        edge = point_of_pixel((11.5, 31.5), lens=lens, pose=Pose(0, 0, 1.0))
        assert edge[0] == pytest.approx(math.tan(0.6), abs=1e-9)


def test_nothing_is_seen_behind_or_above():
    lens, pose = _lens("rectilinear"), Pose(0, 0, 0.76)
    assert np.isnan(pixel_of_point((0, 0, 0.9), lens=lens, pose=pose)).all()
    level = Pose(0, 0, 0.76, tilt_rad=math.pi / 2)
    assert np.isnan(point_of_pixel((2, 15), lens=lens, pose=level)).all()
    assert np.isfinite(point_of_pixel((21, 15), lens=lens, pose=level)).all()


@pytest.mark.parametrize("model", ["rectilinear", "equal-angle", "brown-conrady"])
@pytest.mark.parametrize("fov", [0.0, 180.0, 190.0, float("nan")])
def test_impossible_field_is_refused(model, fov):
    with pytest.raises(OutOfRangeError, match="180"):
        lens_from_fov(24, cols=32, fov_h_rad=math.radians(fov), fov_v_rad=1.0, model=model)


def test_bad_lens_and_pose_are_refused():
    with pytest.raises(OutOfRangeError, match="folds back"):
        lens_from_fov(
            24, cols=32, fov_h_rad=2.0, fov_v_rad=1.0, model="brown-conrady",
            distortion=(-0.5, 0, 0, 0, 0),
        )  # fmt: skip
    with pytest.raises(OutOfRangeError, match="unknown"):
        Lens("fisheye", 24, 32, 30.0, 30.0)
    with pytest.raises(OutOfRangeError, match="above the cooktop"):
        Pose(0, 0, -0.1)
    with pytest.raises(OutOfRangeError, match="not below"):
        footprint_m(_lens("rectilinear"), Pose(0, 0, 0.5), plane_height_m=0.5)


@pytest.mark.parametrize(("height", "y"), [(0.70, 0.13), (0.825, 0.13), (0.9, -0.1), (0.7, 0.4)])
def test_margin_agrees_with_the_analytic_pinhole(height, y):
    """Nadir field is a rectangle of half sides H tan(FOV/2): agreement to 1 mm asked."""
    lens, rim, reach = _lens("rectilinear"), 0.05, 0.12 + 0.01
    got = rim_coverage(
        (0.2, y), diameter_m=0.24, rim_height_m=rim, lens=lens, pose=Pose(0, 0, height)
    )
    half_x = (height - rim) * math.tan(math.radians(27.5))
    half_y = (height - rim) * math.tan(math.radians(17.5))
    assert got.margin_m == pytest.approx(min(half_x - 0.2, half_y - abs(y)) - reach, abs=1e-4)
    assert got.complete == (got.margin_m >= 0)
    if half_y - abs(y) >= reach:
        assert got.in_view_frac == 1.0
    elif y + reach > half_y and abs(half_y - y) < reach:
        a = math.acos((half_y - y) / reach)
        cut = (a - math.sin(2 * a) / 2) / math.pi
        assert got.in_view_frac == pytest.approx(1 - cut, abs=0.003)
