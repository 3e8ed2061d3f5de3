"""What a head sees of a pan, and how sharply: against closed forms and sampling."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import ndimage

from trivet.errors import OutOfRangeError
from trivet.physics.geometry.coverage import (
    misplaced_loss_frac,
    rim_coverage,
    size_of_source_loss_frac,
)
from trivet.physics.geometry.optics import (
    Pose,
    lens_from_fov,
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


def test_worked_home_case():
    """Own calculation elsewhere: 0.70 m fails front to back, 0.825 m holds rim and 10 mm."""
    lens = _lens("rectilinear")
    at = {
        h: rim_coverage(
            (0.2, 0.13), diameter_m=0.24, rim_height_m=0.0, lens=lens, pose=Pose(0, 0, h)
        )
        for h in (0.70, 0.80, 0.825)
    }
    assert at[0.70].in_view_frac < 0.95
    assert not at[0.80].complete
    assert at[0.825].complete
    small = rim_coverage(
        (0.2, 0.13), diameter_m=0.2, rim_height_m=0.0, lens=lens, pose=Pose(0, 0, 0.825)
    )
    assert small.pixels_across < 8
    assert not small.enough_pixels


def test_pan_out_of_view_has_no_share():
    got = rim_coverage(
        (2.0, 0), diameter_m=0.2, rim_height_m=0, lens=_lens("rectilinear"), pose=POSES[0]
    )
    assert got.in_view_frac == 0.0
    assert got.margin_m < -1


def test_size_of_source_loss_against_sampling():
    """Oracle: Monte Carlo of uniform box plus Gaussian, and the exact unblurred square."""
    rng = np.random.default_rng(8)
    n = 400_000
    for d, sigma in ((1.0, 0.4), (2.0, 0.6), (4.0, 0.8)):
        away = np.hypot(*(rng.uniform(-0.5, 0.5, (2, n)) + rng.normal(0, sigma, (2, n))))
        share = (away > d / 2).mean()
        got = size_of_source_loss_frac(d, sigma_px=sigma)
        assert got == pytest.approx(share, abs=4 * math.sqrt(share * (1 - share) / n) + 1e-5)
    assert size_of_source_loss_frac(1.0, sigma_px=0) == pytest.approx(1 - math.pi / 4, abs=1e-6)
    assert size_of_source_loss_frac(1.5, sigma_px=0) == pytest.approx(0.0, abs=1e-5)


@pytest.mark.parametrize(("radius", "within"), [(5.0, 0.12), (8.0, 0.08)])
def test_a_misplaced_rim_against_a_blurred_picture(radius, within):
    # A fine picture of the disc, blurred by box and Gaussian, averaged over a shifted disc.
    fine, size = 21, 22
    place = (np.arange(size * fine) + 0.5) / fine - size / 2
    x, y = np.meshgrid(place, place)
    picture = (np.hypot(x, y) <= radius).astype(float)
    seen = ndimage.uniform_filter(ndimage.gaussian_filter(picture, 0.5 * fine), fine)
    lost = [1.0 - seen[np.hypot(x - at, y) <= radius - 1.0].mean() for at in (0.0, 0.5, 1.0, 2.0)]
    found = misplaced_loss_frac(
        radius, inside_px=1.0, offset_px=np.array([0.5, 1.0, 2.0]), sigma_px=0.5
    )
    assert found == pytest.approx(np.array(lost[1:]) - lost[0], rel=within)


def test_a_rim_in_its_place_adds_nothing_and_nonsense_is_refused():
    assert misplaced_loss_frac(5.0, inside_px=1.0, offset_px=0.0, sigma_px=0.5) == 0.0
    with pytest.raises(OutOfRangeError, match="must not be negative"):
        misplaced_loss_frac(5.0, inside_px=1.0, offset_px=-1.0, sigma_px=0.5)
