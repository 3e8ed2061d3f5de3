"""The pan's edge, on discs blurred by brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from trivet.kernels.image.panfinder import BurnerRegion, find_pan

PITCH = 0.0228
OVER = 16


def disc_frame(
    x_m: float, y_m: float, radius_m: float, pixels: int = 15, blur_px: float = 0.5
) -> tuple[np.ndarray, BurnerRegion]:
    """A 450 K disc on a 305 K hob, box-averaged over pixels after a Gaussian blur."""
    fine = (np.arange(pixels * OVER) + 0.5) / OVER - pixels / 2
    x, y = np.meshgrid(fine * PITCH, -fine * PITCH)
    scene = np.where(np.hypot(x - x_m, y - y_m) <= radius_m, 450.0, 305.0)
    blurred = gaussian_filter(scene, blur_px * OVER, mode="nearest")
    frame = blurred.reshape(pixels, OVER, pixels, OVER).mean(axis=(1, 3))
    centre = (np.arange(pixels) + 0.5 - pixels / 2) * PITCH
    px, py = np.meshgrid(centre, -centre)
    rows, cols = np.indices(frame.shape)
    region = BurnerRegion(
        rows.ravel(), cols.ravel(), px.ravel(), py.ravel(), np.full(px.size, PITCH**2), PITCH, 1.0
    )
    return frame.ravel(), region


@pytest.mark.parametrize("radius_m", [0.10, 0.11, 0.12, 0.13])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (0.011, -0.006), (-0.015, 0.015)])
def test_centre_within_8_mm_and_diameter_within_8_percent(
    radius_m: float, centre: tuple[float, float]
) -> None:
    frame, region = disc_frame(*centre, radius_m)
    track = find_pan(
        np.tile(frame, (3, 1)),
        background_k=np.full(3, 305.0),
        time_s=np.arange(3.0),
        region=region,
        radii_m=(0.08, 0.15),
        least_contrast_k=4.0,
    )
    assert np.hypot(track.x_m[-1] - centre[0], track.y_m[-1] - centre[1]) < 0.008
    assert abs(track.radius_m[-1] - radius_m) < 0.08 * radius_m


def test_no_contrast_finds_no_pan() -> None:
    frame, region = disc_frame(0.0, 0.0, 0.12)
    flat = np.full((4, frame.size), 305.0)
    track = find_pan(
        flat,
        background_k=np.full(4, 305.0),
        time_s=np.arange(4.0),
        region=region,
        radii_m=(0.08, 0.15),
        least_contrast_k=4.0,
    )
    assert np.isnan(track.radius_m).all()


def test_a_dead_pixel_changes_little() -> None:
    frame, region = disc_frame(0.0, 0.0, 0.12)
    broken = frame.copy()
    broken[frame.size // 2 + 2] = np.nan
    for frames in (frame, broken):
        track = find_pan(
            np.tile(frames, (2, 1)),
            background_k=np.full(2, 305.0),
            time_s=np.arange(2.0),
            region=region,
            radii_m=(0.08, 0.15),
            least_contrast_k=4.0,
        )
        assert abs(track.radius_m[-1] - 0.12) < 0.008
