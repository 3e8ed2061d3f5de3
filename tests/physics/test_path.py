"""Window, slab and drops on it: limits and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.radiation import path
from trivet.physics.radiation.planck import band_radiance, flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.mark.parametrize("transmittance", [0.0, -0.1, 1.2])
def test_transmittance_out_of_range(transmittance):
    with pytest.raises(OutOfRangeError, match="transmittance"):
        path.before_window(100.0, transmittance=transmittance, window_k=300.0, band=BAND)


def test_a_window_at_the_scene_temperature_is_invisible():
    radiance = band_radiance(330.0, band=BAND)
    seen = path.before_window(radiance, transmittance=[0.2, 0.7], window_k=330.0, band=BAND)
    assert seen == pytest.approx(radiance, rel=1e-12)


def test_slab_without_loss_is_the_textbook_form():
    n = np.array([1.0, 1.5, 4.0])
    assert path.slab_transmittance(n) == pytest.approx(2.0 * n / (n**2 + 1.0), rel=1e-12)


def test_slab_refusals():
    with pytest.raises(OutOfRangeError, match="index"):
        path.slab_transmittance(0.9)
    with pytest.raises(OutOfRangeError, match="negative"):
        path.slab_transmittance(1.5, absorption_1_m=-1.0)
    with pytest.raises(OutOfRangeError, match="negative"):
        path.slab_transmittance(1.5, thickness_m=-1.0)


def test_condensed_drops_take_twice_their_area_when_few():
    assert 1.0 - path.condensed_transmittance(1e-4) == pytest.approx(2e-4, rel=1e-3)
    with pytest.raises(OutOfRangeError):
        path.condensed_transmittance(-0.1)
