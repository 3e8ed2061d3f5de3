"""Films: limits and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.facts.pans import optical_table
from trivet.physics.radiation.film import (
    OpticalConstants,
    film_emissivity,
    film_shares,
    film_transmittance,
    surface_band_emissivity,
)
from trivet.physics.radiation.planck import flat_band

BAND = flat_band(8e-6, 14e-6)
WEIGHT = {"temperature_k": 450.0, "band": BAND}


def constants(name):
    table = optical_table(name)
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


OIL, IRON, WATER = constants("oil"), constants("iron"), constants("water")


def test_no_film_is_the_bare_surface_and_a_deep_one_the_liquid():
    got = film_emissivity([0.0, 5e-3], film=OIL, substrate=IRON, **WEIGHT)
    bare = surface_band_emissivity(IRON, **WEIGHT)
    deep = surface_band_emissivity(OIL, **WEIGHT)
    assert got == pytest.approx([bare, deep], abs=1e-6)
    assert film_emissivity(0.0, film=OIL, substrate=0.2, **WEIGHT) == pytest.approx(0.2)


def test_emissivity_rises_with_thickness_and_stays_below_one():
    thickness = np.geomspace(1e-7, 1e-3, 60)
    for angle in (0.0, 0.8):
        got = film_emissivity(thickness, film=OIL, substrate=IRON, angle_rad=angle, **WEIGHT)
        assert np.all(np.diff(got) > 0.0)
        assert np.all((got > 0.0) & (got < 1.0))


def test_a_film_without_absorption_absorbs_nothing_itself():
    """Energy: a lossless film on a mirror cannot emit."""
    clear = OpticalConstants([7e-6, 15e-6], [1.4, 1.4], [0.0, 0.0], "clear")
    mirror = OpticalConstants([7e-6, 15e-6], [1.0, 1.0], [1e6, 1e6], "mirror")
    got = film_emissivity([1e-6, 1e-4], film=clear, substrate=mirror, **WEIGHT)
    assert got == pytest.approx(0.0, abs=1e-5)


def test_broadcasting_of_thickness_and_angle():
    thickness = np.array([[1e-6], [1e-5]])
    angles = np.array([0.0, 0.5, 1.0])
    got = film_emissivity(thickness, film=WATER, substrate=IRON, angle_rad=angles, **WEIGHT)
    assert got.shape == (2, 3)
    one = film_emissivity(1e-5, film=WATER, substrate=IRON, angle_rad=0.5, **WEIGHT)
    assert got[1, 1] == pytest.approx(one)


def test_refusals():
    with pytest.raises(OutOfRangeError, match="thinner"):
        film_emissivity([-1e-6], film=OIL, substrate=IRON, **WEIGHT)
    with pytest.raises(OutOfRangeError, match="thinner"):
        film_transmittance(-1e-6, film=OIL, **WEIGHT)
    for angle in (-0.1, 0.5 * np.pi):
        with pytest.raises(OutOfRangeError, match="angle"):
            surface_band_emissivity(WATER, angle_rad=angle, **WEIGHT)
    for grey in (0.0, 1.2):
        with pytest.raises(OutOfRangeError, match="grey"):
            film_emissivity(1e-6, film=OIL, substrate=grey, **WEIGHT)
    with pytest.raises(OutOfRangeError, match="oil: optical constants reach"):
        surface_band_emissivity(OIL, temperature_k=450.0, band=flat_band(3e-6, 5e-6))
    with pytest.raises(InputError, match="rise"):
        OpticalConstants([9e-6, 8e-6], [1.0, 1.0], [0.0, 0.0])
    with pytest.raises(InputError, match="negative"):
        OpticalConstants([8e-6, 9e-6], [1.0, 1.0], [0.0, -1.0])
    with pytest.raises(InputError, match="equal length"):
        OpticalConstants([8e-6, 9e-6], [1.0], [0.0, 1.0])


@pytest.mark.parametrize("thickness_m", [0.0, 1e-6, 20e-6, 500e-6])
@pytest.mark.parametrize("angle_rad", [0.0, 0.8])
def test_shares_of_film_and_pan_sum_to_the_isothermal_emissivity(thickness_m, angle_rad):
    given = {
        "film": OIL,
        "substrate": 0.15,
        "temperature_k": 473.15,
        "band": flat_band(8e-6, 14e-6),
        "angle_rad": angle_rad,
    }
    shares = film_shares(thickness_m, **given)
    assert shares.film + shares.substrate == pytest.approx(
        film_emissivity(thickness_m, **given), abs=1e-12
    )
    assert shares.film >= 0.0
    assert shares.substrate >= 0.0


def test_a_clear_film_has_no_glow_of_its_own():
    clear = OpticalConstants(np.array([7e-6, 15e-6]), np.full(2, 1.45), np.zeros(2), "clear")
    shares = film_shares(
        30e-6, film=clear, substrate=0.3, temperature_k=473.15, band=flat_band(8e-6, 14e-6)
    )
    assert shares.film == pytest.approx(0.0, abs=1e-12)
    assert shares.substrate > 0.25


def test_a_thick_film_hides_the_pan():
    shares = film_shares(
        5e-3, film=OIL, substrate=0.9, temperature_k=473.15, band=flat_band(8e-6, 14e-6)
    )
    assert shares.substrate < 0.002
