"""Grey surfaces: refusals and limits of the measurement equation."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.radiation.film import mixed_emissivity
from trivet.physics.radiation.measurement import (
    LineOfSight,
    explained_radiance,
    sighted_apparent_k,
    sighted_surface_k,
)
from trivet.physics.radiation.planck import band_radiance, flat_band, radiating_temperature_k

BAND = flat_band(8e-6, 14e-6)


def leaving(temperature_k, emissivity):
    """Radiance that leaves a surface at a temperature, surroundings at 300 K."""
    seen = sighted_apparent_k(temperature_k, sight=LineOfSight(emissivity, 300.0), band=BAND)
    return band_radiance(seen, band=BAND)


@pytest.mark.parametrize("emissivity", [0.0, -0.2, 1.0001])
def test_emissivity_out_of_range(emissivity):
    with pytest.raises(OutOfRangeError, match="emissivity"):
        LineOfSight([0.9, emissivity], 300.0)
    with pytest.raises(OutOfRangeError):
        mixed_emissivity(0.5, covered_emissivity=0.9, bare_emissivity=emissivity)
    with pytest.raises(OutOfRangeError, match="share"):
        mixed_emissivity(1.1, covered_emissivity=0.9, bare_emissivity=0.1)


def test_a_surface_in_a_room_of_its_own_temperature_is_black():
    """Kirchhoff: in equilibrium every emissivity gives black-body radiance."""
    sight = LineOfSight(np.linspace(0.05, 1.0, 20), 350.0)
    assert sighted_apparent_k(350.0, sight=sight, band=BAND) == pytest.approx(350.0, abs=1e-6)


def test_a_patchwork_is_the_mean_of_its_patches():
    mixed = mixed_emissivity(0.3, covered_emissivity=0.95, bare_emissivity=0.15)
    whole = 0.3 * leaving(450.0, 0.95) + 0.7 * leaving(450.0, 0.15)
    assert leaving(450.0, mixed) == pytest.approx(whole, rel=1e-8)


def test_less_than_the_reflection_has_no_temperature():
    low = radiating_temperature_k(0.5 * band_radiance(300.0, band=BAND), band=BAND)
    sight = LineOfSight(0.2, 300.0)
    assert explained_radiance(low, sight=sight, band=BAND) < 0.0
    assert np.isnan(sighted_surface_k(low, sight=sight, band=BAND))
