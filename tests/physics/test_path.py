"""Window, slab and fog: limits and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.physics.radiation import path
from trivet.physics.radiation.planck import band_radiance, flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.mark.parametrize("transmittance", [0.0, -0.1, 1.2])
def test_transmittance_out_of_range(transmittance):
    for function in (path.through_window, path.before_window):
        with pytest.raises(OutOfRangeError, match="transmittance"):
            function(100.0, transmittance=transmittance, window_k=300.0, band=BAND)


def test_a_window_at_the_scene_temperature_is_invisible():
    radiance = band_radiance(330.0, band=BAND)
    seen = path.through_window(radiance, transmittance=[0.2, 0.7], window_k=330.0, band=BAND)
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


def test_fog_multiplies_along_the_path_and_refuses_negatives():
    one = path.column_transmittance(172.0, concentration_kg_m3=2e-3, path_m=0.2)
    two = path.column_transmittance(172.0, concentration_kg_m3=2e-3, path_m=0.4)
    assert two == pytest.approx(one**2)
    with pytest.raises(OutOfRangeError):
        path.column_transmittance(172.0, concentration_kg_m3=-1e-3, path_m=0.2)


def test_a_lossless_slab_passes_or_mirrors_everything():
    passed, mirrored = path.slab_shares([1.54, 3.418, 4.0])
    assert passed + mirrored == pytest.approx(1.0, abs=1e-12)


def test_a_slab_that_absorbs_all_mirrors_its_first_face():
    passed, mirrored = path.slab_shares(1.54, absorption_1_m=1e6, thickness_m=1e-3)
    assert passed == pytest.approx(0.0, abs=1e-12)
    assert mirrored == pytest.approx(float(path.slab_reflectance(1.54)), rel=1e-9)


def test_chalcogenide_slab_mirrors_what_the_table_says():
    # Worked table of a chalcogenide glass at 8 um: one face 0.204462, T 0.658628; the
    # energy that is neither passed nor mirrored is absorbed on the way.
    passed, mirrored = path.slab_shares(2.6508, absorption_1_m=0.1, thickness_m=0.026)
    assert passed == pytest.approx(0.658628, abs=1e-5)
    assert passed + mirrored < 1.0
    assert mirrored == pytest.approx(0.204462 * (1 + passed * np.exp(-0.0026)), abs=1e-5)


def test_condensed_drops_take_twice_their_area_when_few():
    assert 1.0 - path.condensed_transmittance(1e-4) == pytest.approx(2e-4, rel=1e-3)
    with pytest.raises(OutOfRangeError):
        path.condensed_transmittance(-0.1)
