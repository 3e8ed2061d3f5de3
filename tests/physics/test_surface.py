"""Grey surfaces: refusals and limits."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.radiation import surface
from trivet.physics.radiation.planck import band_radiance, flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.mark.parametrize("emissivity", [0.0, -0.2, 1.0001])
def test_emissivity_out_of_range(emissivity):
    grey = {"emissivity": [0.9, emissivity], "surround_k": 300.0, "band": BAND}
    for function in (
        surface.leaving_radiance,
        surface.surface_temperature_k,
        surface.apparent_temperature_k,
        surface.emissivity_error_k,
    ):
        with pytest.raises(OutOfRangeError, match="emissivity"):
            function(400.0, **grey)
    with pytest.raises(OutOfRangeError):
        surface.mixed_emissivity(0.5, covered_emissivity=0.9, bare_emissivity=emissivity)
    with pytest.raises(OutOfRangeError, match="share"):
        surface.mixed_emissivity(1.1, covered_emissivity=0.9, bare_emissivity=0.1)


def test_a_surface_in_a_room_of_its_own_temperature_is_black():
    """Kirchhoff: in equilibrium every emissivity gives black-body radiance."""
    eps = np.linspace(0.05, 1.0, 20)
    leaving = surface.leaving_radiance(350.0, emissivity=eps, surround_k=350.0, band=BAND)
    assert leaving == pytest.approx(band_radiance(350.0, band=BAND), rel=1e-12)


def test_first_order_error_against_the_full_inversion():
    leaving = surface.leaving_radiance(453.15, emissivity=0.9, surround_k=300.0, band=BAND)
    read = surface.surface_temperature_k(leaving, emissivity=0.901, surround_k=300.0, band=BAND)
    slope = surface.emissivity_error_k(453.15, emissivity=0.9, surround_k=300.0, band=BAND)
    assert (read - 453.15) / 0.001 == pytest.approx(slope, rel=2e-3)


def test_a_patchwork_is_the_mean_of_its_patches():
    patches = [
        surface.leaving_radiance(450.0, emissivity=e, surround_k=300.0, band=BAND)
        for e in (0.95, 0.15)
    ]
    mixed = surface.mixed_emissivity(0.3, covered_emissivity=0.95, bare_emissivity=0.15)
    whole = surface.leaving_radiance(450.0, emissivity=mixed, surround_k=300.0, band=BAND)
    assert whole == pytest.approx(0.3 * patches[0] + 0.7 * patches[1], rel=1e-12)


def test_less_than_the_reflection_has_no_temperature():
    low = 0.5 * band_radiance(300.0, band=BAND)
    assert np.isnan(surface.surface_temperature_k(low, emissivity=0.2, surround_k=300.0, band=BAND))


def test_emissivity_from_contact_closes_and_refuses_small_differences():
    leaving = surface.leaving_radiance([400.0, 305.0], emissivity=0.7, surround_k=300.0, band=BAND)
    got = surface.reference_emissivity(
        leaving, temperature_k=[400.0, 305.0], surround_k=300.0, band=BAND
    )
    assert got[0] == pytest.approx(0.7, abs=1e-9)
    assert np.isnan(got[1])
