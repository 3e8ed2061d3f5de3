"""Mie's theory at its limits; the published rows are in tests/published."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError
from trivet.facts.pans import optical_table
from trivet.physics.radiation.film import OpticalConstants
from trivet.physics.radiation.mie import (
    PlumeColumn,
    band_mass_extinction_m2_kg,
    mie_efficiencies,
    steam_transmittance,
    through_plume,
)
from trivet.physics.radiation.planck import flat_band

BAND = flat_band(8e-6, 14e-6)


@pytest.fixture(scope="module")
def water():
    table = optical_table("water")
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def test_small_spheres_follow_rayleigh():
    # Rayleigh: 8/3 x^4 |(m2 - 1)/(m2 + 2)|^2 and 4 x Im(...), textbook form.
    x, m = 0.05, 1.3 + 0.1j
    polar = (m * m - 1) / (m * m + 2)
    extinction, scattering = mie_efficiencies(x, index=m)
    assert scattering == pytest.approx(8 / 3 * x**4 * abs(polar) ** 2, rel=5e-3)
    assert extinction - scattering == pytest.approx(4 * x * polar.imag, rel=5e-3)


def test_the_two_branches_meet():
    below, above = (mie_efficiencies(x, index=1.22 + 0.05j)[0] for x in (0.01999, 0.02001))
    assert above == pytest.approx(below * 1.001, rel=1e-3)


def test_large_spheres_take_twice_their_shadow():
    # Extinction paradox: the limit is 2, approached from above as x^(-2/3).
    extinction, scattering = mie_efficiencies([100.0, 900.0], index=1.3 + 0.1j)
    assert extinction[0] == pytest.approx(2.0 + 2.0 * 100.0 ** (-2 / 3), abs=0.03)
    assert 2.0 < extinction[1] < extinction[0]
    assert np.all(scattering < extinction)


def test_a_clear_sphere_only_scatters():
    extinction, scattering = mie_efficiencies([0.5, 3.0, 20.0], index=1.33)
    assert scattering == pytest.approx(extinction, rel=1e-10)


@pytest.mark.parametrize(("size", "index"), [(0.0, 1.3), (-1, 1.3), (2e3, 1.3), (1, 1.3 - 0.1j)])
def test_impossible_spheres_are_refused(size, index):
    with pytest.raises(OutOfRangeError):
        mie_efficiencies(size, index=index)


def test_thin_fog_is_the_mean_and_thick_fog_passes_more(water):
    mean = band_mass_extinction_m2_kg(10e-6, water=water, temperature_k=503.15, band=BAND)
    thin, thick = steam_transmittance(
        [1e-6, 1e-2], diameter_m=10e-6, water=water, temperature_k=503.15, band=BAND
    )
    assert 1.0 - thin == pytest.approx(mean * 1e-6, rel=1e-3)
    assert thick > np.exp(-mean * 1e-2)


def test_a_negative_column_or_drop_is_refused(water):
    with pytest.raises(OutOfRangeError, match="negative"):
        steam_transmittance(-1.0, diameter_m=1e-5, water=water, temperature_k=400.0, band=BAND)
    with pytest.raises(OutOfRangeError, match="diameter"):
        band_mass_extinction_m2_kg(0.0, water=water, temperature_k=400.0, band=BAND)


def test_plume_thins_outwards_and_glows():
    """At its middle the table's transmittance, at 1/e radius that of water / e, beyond none."""
    table = np.linspace(0.0, 1e-3, 101)
    plume = PlumeColumn(np.array([0.0, 1e-3]), np.zeros((2, 2)), radius_m=0.1, glow=40.0)
    points = np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.2], [np.nan, 0.0]])
    scene = np.full((2, 4), 100.0, dtype=np.float32)
    got = through_plume(
        scene, points_m=points, plume=plume, table_kg_m2=table, table_frac=np.exp(-700 * table)
    )
    assert np.all(got[0] == 100.0)
    tau = np.exp(-0.7 * np.array([1.0, np.exp(-1.0)]))
    assert np.allclose(got[1, :2], 40.0 + tau * 60.0, rtol=1e-4)
    assert np.all(got[1, 2:] == 100.0)
