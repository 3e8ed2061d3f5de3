"""Pose from burners: planted poses come back, with honest covariance; bad targets are refused."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.geometry.optics import Pose, lens_from_fov, pixel_of_point, point_of_pixel
from trivet.physics.geometry.registration import fit_pose, mount_shift, spot_centroid
from trivet.physics.geometry.sampling import CellGrid, sampling_matrix

LENS = lens_from_fov(24, cols=32, fov_h_rad=math.radians(55), fov_v_rad=math.radians(40))
BURNERS = np.array([[x, y, 0.01] for x in (-0.2, 0.2) for y in (-0.13, 0.13)])
START = Pose(0, 0, 0.76)
TRUE = Pose(0.006, -0.008, 0.765, tilt_rad=0.02, pan_rad=0.03)


def test_exact_targets_give_the_exact_pose():
    fit = fit_pose(
        BURNERS, pixel_of_point(BURNERS, lens=LENS, pose=TRUE), lens=LENS, start=START, sigma_px=0.1
    )
    for name in fit.free:
        assert getattr(fit.pose, name) == pytest.approx(getattr(TRUE, name), abs=1e-6)
    assert fit.residual_rms_m < 1e-6
    assert not fit.outlier.any()


def test_four_noisy_targets_land_within_5_mm_and_covariance_is_honest():
    rng = np.random.default_rng(11)
    seen = pixel_of_point(BURNERS, lens=LENS, pose=TRUE)
    misses, distances = [], []
    for _ in range(60):
        fit = fit_pose(
            BURNERS, seen + rng.normal(0, 0.1, (4, 2)), lens=LENS, start=START, sigma_px=0.1
        )
        back = point_of_pixel(seen, lens=LENS, pose=fit.pose, plane_height_m=0.01) - BURNERS
        misses.append(math.sqrt((back**2).sum(axis=1).mean()))
        step = np.array([getattr(fit.pose, n) - getattr(TRUE, n) for n in fit.free])
        distances.append(step @ np.linalg.solve(fit.covariance, step))
    assert max(misses) <= 0.005
    # chi2 with 5 degrees, mean of 60: 5 +- 0.41; inflation by chi2 only lowers it
    assert 3.2 < np.mean(distances) < 6.3


def test_agrees_with_opencv_pnp():
    """cv2.solvePnP on six targets: the eye it finds is ours."""
    six = np.vstack([BURNERS, [[0.0, 0.0, 0.08], [0.05, 0.18, 0.03]]])
    pose = Pose(0.02, -0.03, 0.74, tilt_rad=0.1, pan_rad=0.2)
    seen = pixel_of_point(six, lens=LENS, pose=pose)
    camera = np.array(
        [
            [LENS.focal_col_px, 0, LENS.centre_col_px],
            [0, LENS.focal_row_px, LENS.centre_row_px],
            [0, 0, 1],
        ]
    )
    _, turn, shift = cv2.solvePnP(six, seen[:, ::-1].copy(), camera, None)
    eye = -cv2.Rodrigues(turn)[0].T @ shift.ravel()
    fit = fit_pose(six, seen, lens=LENS, start=START, sigma_px=0.1)
    np.testing.assert_allclose(fit.pose.eye_m, eye, atol=2e-5)


def test_outlier_is_set_aside():
    seen = pixel_of_point(np.vstack([BURNERS, [[0, 0, 0.01]]]), lens=LENS, pose=TRUE)
    seen[1] += (2.5, -2.0)
    five = np.vstack([BURNERS, [[0, 0, 0.01]]])
    fit = fit_pose(
        five, seen, lens=LENS, start=START, sigma_px=0.1,
        prior_sigma={"height_m": 0.01, "tilt_rad": 0.02, "pan_rad": 0.03},
    )  # fmt: skip
    assert fit.outlier.tolist() == [False, True, False, False, False]
    assert fit.residual_rms_m < 0.003


def test_prior_holds_what_targets_cannot_tell():
    seen = pixel_of_point(BURNERS[:3], lens=LENS, pose=TRUE)
    fit = fit_pose(
        BURNERS[:3], seen, lens=LENS, start=START, sigma_px=0.1,
        free=("x_m", "y_m", "height_m", "tilt_rad", "pan_rad", "roll_rad"),
        prior_sigma={"tilt_rad": 0.001, "roll_rad": 0.001},
    )  # fmt: skip
    assert abs(fit.pose.roll_rad) < 0.003
    assert fit.covariance[4, 4] < 0.01**2


def test_too_little_is_refused():
    seen = pixel_of_point(BURNERS, lens=LENS, pose=TRUE)
    with pytest.raises(NotEnoughDataError, match="at least 3"):
        fit_pose(BURNERS[:2], seen[:2], lens=LENS, start=START, sigma_px=0.1)
    lost = seen.copy()
    lost[1:3] = np.nan
    with pytest.raises(NotEnoughDataError, match="2 are seen"):
        fit_pose(BURNERS, lost, lens=LENS, start=START, sigma_px=0.1)
    line = np.array([[-0.2, 0.1, 0], [0.0, 0.1, 0], [0.2, 0.1, 0], [0.3, 0.101, 0]])
    with pytest.raises(NotEnoughDataError, match="one line"):
        fit_pose(
            line, pixel_of_point(line, lens=LENS, pose=TRUE), lens=LENS, start=START, sigma_px=0.1
        )
    with pytest.raises(NotEnoughDataError, match="apart"):
        fit_pose(
            BURNERS, pixel_of_point(BURNERS, lens=LENS, pose=START), lens=LENS, start=START,
            sigma_px=0.1, free=("x_m", "pan_rad", "roll_rad"),
        )  # fmt: skip
    with pytest.raises(OutOfRangeError, match="yaw"):
        fit_pose(BURNERS, seen, lens=LENS, start=START, sigma_px=0.1, free=("yaw",))


def test_centroid_of_a_rendered_pan():
    grid = CellGrid(0.2, 0.1, 0.1, 8, 16)
    s = sampling_matrix((grid,), lens=LENS, pose=START, sigma_px=0.4)
    v = np.full(s.matrix.shape[1], 30.0)
    v[: grid.cells] = 130.0
    frame = (s.matrix @ v).reshape(24, 32) + np.random.default_rng(2).normal(0, 0.2, (24, 32))
    want = pixel_of_point((0.2, 0.1, 0.0), lens=LENS, pose=START)
    spot = spot_centroid(frame, guess_px=(want[0] + 1.0, want[1] - 0.8), radius_px=7.0)
    assert math.hypot(spot.row_px - want[0], spot.col_px - want[1]) < 0.08
    assert spot.contrast == pytest.approx(100, abs=2)
    assert 0 < spot.sigma_px < 0.1
    frame[int(want[0]), int(want[1])] = np.nan
    again = spot_centroid(frame, guess_px=tuple(want), radius_px=7.0)
    assert math.hypot(again.row_px - want[0], again.col_px - want[1]) < 0.2


def test_no_contrast_gives_no_centre():
    flat = 30.0 + np.random.default_rng(3).normal(0, 0.2, (24, 32))
    spot = spot_centroid(flat, guess_px=(12.0, 16.0), radius_px=4.0)
    assert math.isnan(spot.row_px)
    assert math.isnan(spot.sigma_px)
    with pytest.raises(OutOfRangeError, match="guess"):
        spot_centroid(flat, guess_px=(40.0, 16.0), radius_px=4.0)


PLACED_M = 0.003


def _found(rng, shift, *, sides=2, turn=0.0):
    index = np.repeat(np.arange(2 * sides), 4)
    place = np.tile(np.arange(4), 2 * sides)
    corners = np.array([[-0.2, -0.13], [0.2, -0.13], [-0.2, 0.13], [0.2, 0.13]])
    seen = rng.normal(0, PLACED_M, (index.size, 2))
    after = index >= sides
    seen[after, 0] += shift
    seen[after] += turn * corners[place[after]][:, ::-1] * np.array([-1.0, 1.0])
    return mount_shift(seen, index=index, region=place, u_m=np.full(index.size, PLACED_M))


def test_shift_and_turn_are_found_and_dated():
    rng = np.random.default_rng(0)
    for planted in ({"shift": 0.012}, {"shift": 0.0, "turn": 0.06}):
        found = [_found(rng, **planted) for _ in range(100)]
        assert np.mean([one.moved for one in found]) > 0.97
        assert np.mean([one.first == 2 for one in found]) > 0.95
    assert np.mean([_found(rng, 0.008).moved for _ in range(200)]) > 0.8


def test_a_still_mount_is_hardly_ever_called():
    rng = np.random.default_rng(1)
    assert sum(_found(rng, 0.0).moved for _ in range(400)) <= 4  # under 1 %


def test_strangers_cannot_be_compared():
    seen = np.zeros((4, 2))
    with pytest.raises(NotEnoughDataError, match="same two burners"):
        mount_shift(seen, index=[0, 0, 1, 1], region=[0, 1, 2, 3], u_m=np.ones(4))
    with pytest.raises(OutOfRangeError):
        mount_shift(seen, index=[0, 0, 1, 1], region=[0, 1, 0, 1], u_m=np.zeros(4))
