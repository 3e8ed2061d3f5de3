"""A probe is compared with what its very place shows, not with the mean round it."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.stages.calibrate.pairs import Around, beside, short_means

PITCH_M, BLUR_PX = 0.023, 0.5


def _around(count: int = 3) -> Around:
    """Pixels on a grid of which none looks at the probe's place itself."""
    at = (np.arange(count) - (count - 1) / 2 + 0.3) * PITCH_M
    x, y = np.meshgrid(at, at)
    return Around(x.ravel(), y.ravel(), PITCH_M, BLUR_PX)


def test_a_slope_is_followed_to_the_place_and_doubted_by_5_mm():
    around = _around()
    seen = 450.0 + 800.0 * around.x_m - 600.0 * around.y_m
    found = beside(seen[None], around=around)
    assert found.at_k[0] == pytest.approx(450.0)
    assert found.doubt_k[0] == pytest.approx([1000.0 * 0.005, 0.0], abs=1e-6)
    assert found.steep_k[0] == pytest.approx(0.5 * 1000.0 * PITCH_M)


def test_what_a_footprint_flattens_of_a_hot_ring_is_given_back():
    """The mean of c r^2 over a blurred square is c (r^2 + 2 (1/12 + b^2) p^2): exact."""
    around = _around()
    curve = -20000.0
    averaged = 2.0 * (1.0 / 12.0 + BLUR_PX**2) * PITCH_M**2
    seen = 450.0 + curve * (around.x_m**2 + around.y_m**2 + averaged)
    found = beside(seen[None], around=around)
    assert found.at_k[0] == pytest.approx(450.0)
    assert abs(found.doubt_k[0, 1]) == pytest.approx(0.5 * abs(curve) * averaged)
    assert seen.mean() < 450.0 - 5.0


def test_too_few_pixels_show_nothing():
    row = Around(np.arange(3) * PITCH_M, np.zeros(3), PITCH_M, BLUR_PX)
    assert np.isnan(beside(np.full((2, 3), 400.0), around=row).at_k).all()
    line = Around(np.arange(5) * PITCH_M, np.zeros(5), PITCH_M, BLUR_PX)
    assert np.isnan(beside(np.full((2, 5), 400.0), around=line).steep_k).all()


def test_a_moment_without_frames_has_no_mean():
    frames = np.array([[400.0], [402.0], [410.0]])
    found = short_means(
        frames, time_s=np.array([0.0, 1.0, 9.0]), moments_s=np.array([0.5, 5.0]), half_s=1.0
    )
    assert found[0, 0] == 401.0
    assert np.isnan(found[1, 0])
    assert np.isnan(beside(np.full((1, 9), np.nan), around=_around()).at_k).all()
