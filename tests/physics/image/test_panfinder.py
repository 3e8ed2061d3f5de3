"""The pan's edge, on discs blurred by brute force."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from trivet.physics.image.burnerpass import burner_place, new_memory
from trivet.physics.image.panfinder import (
    RADIUS,
    BurnerRegion,
    FinderRule,
    X,
    Y,
    follow_pan,
)

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


def followed(frame: np.ndarray, region: BurnerRegion, frames: int = 3) -> np.ndarray:
    """The pan's memory after the same frame once a second."""
    made = new_memory(frame.size)
    fixed = (burner_place(region, cols=15), FinderRule(0.08, 0.15, 4.0), made.room)
    memory = made.pan
    for second in range(frames):
        follow_pan(frame, 305.0, float(second), fixed, memory)
    return memory


@pytest.mark.parametrize("radius_m", [0.10, 0.11, 0.12, 0.13])
@pytest.mark.parametrize("centre", [(0.0, 0.0), (0.011, -0.006), (-0.015, 0.015)])
def test_centre_within_8_mm_and_diameter_within_8_percent(
    radius_m: float, centre: tuple[float, float]
) -> None:
    found = followed(*disc_frame(*centre, radius_m))
    assert np.hypot(found[X] - centre[0], found[Y] - centre[1]) < 0.008
    assert abs(found[RADIUS] - radius_m) < 0.08 * radius_m


def test_no_contrast_finds_no_pan() -> None:
    frame, region = disc_frame(0.0, 0.0, 0.12)
    assert np.isnan(followed(np.full(frame.size, 305.0), region)[RADIUS])


def test_a_dead_pixel_changes_little() -> None:
    frame, region = disc_frame(0.0, 0.0, 0.12)
    broken = frame.copy()
    broken[frame.size // 2 + 2] = np.nan
    for frames in (frame, broken):
        assert abs(followed(frames, region)[RADIUS] - 0.12) < 0.008
