"""Black-body radiation and readings against published and independently computed values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, optimize

from trivet.physics.radiation import planck
from trivet.physics.radiation.filmfit import PairedSamples, fit_emissivity
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k, sighted_surface_k

SPECTRAL_AT_K = 500.0


def value(row):
    kelvin = (row["t_c"] or 0.0) + 273.15
    quantity = row["quantity"]
    if quantity == "c2":
        return planck.C2
    if quantity == "stefan_boltzmann":
        total, _ = integrate.quad(
            lambda u: planck.spectral_radiance(np.exp(u), SPECTRAL_AT_K) * np.exp(u),
            np.log(1e-7),
            np.log(1.0),
            epsabs=0.0,
            epsrel=1e-12,
            limit=400,
        )
        return np.pi * total / SPECTRAL_AT_K**4
    if quantity == "wien":
        peak = optimize.minimize_scalar(
            lambda u: -planck.spectral_radiance(u * 1e-6, SPECTRAL_AT_K) * 1e-6,
            bounds=(4.0, 8.0),
            method="bounded",
            options={"xatol": 1e-9},
        )
        return peak.x * 1e-6 * SPECTRAL_AT_K
    if quantity == "fraction":
        return planck.band_fraction(row["x_umk"] * 1e-6)
    if quantity.startswith("spectral"):
        return spectral(row, kelvin)
    band = planck.flat_band(row["low_um"] * 1e-6, row["high_um"] * 1e-6)
    return in_band(row, kelvin, band)


def spectral(row, kelvin):
    wavelength = row["low_um"] * 1e-6
    if row["quantity"] == "spectral_radiance":
        return planck.spectral_radiance(wavelength, kelvin) * 1e-6
    steps = kelvin * np.array([1.0 - 1e-5, 1.0 + 1e-5])
    low, high = np.log(planck.spectral_radiance(wavelength, steps))
    return (high - low) / 2e-5


def in_band(row, kelvin, band):
    radiance = planck.band_radiance(kelvin, band=band)
    slope = planck.band_radiance_slope(kelvin, band=band)
    quantity = row["quantity"]
    if quantity == "band_radiance":
        return radiance
    if quantity == "band_slope":
        return slope
    if quantity == "local_power":
        return slope * kelvin / radiance
    if quantity == "emissivity_cost":
        return -0.01 * radiance / slope
    surround = row["surround_c"] + 273.15
    if quantity == "reference_emissivity":
        read = float(planck.band_radiance(row["eps_set"] + 273.15, band=band))
        pairs = PairedSamples(
            np.full(6, read), np.full(6, 0.01), np.full(6, kelvin), surround, np.zeros((6, 1))
        )
        return fit_emissivity(pairs, band=band).emissivity
    true = LineOfSight(row["eps_true"], surround)
    apparent = sighted_apparent_k(kelvin, sight=true, band=band)
    believed = LineOfSight(row["eps_set"], surround)
    return sighted_surface_k(apparent, sight=believed, band=band) - 273.15


def test_blackbody_rows(published):
    rows = published("blackbody")
    wrong = [
        f"{row['id']}: {float(value(row)):.10g}, expected {row['expected']:.10g}"
        for row in rows
        if not abs(value(row) - row["expected"]) <= row["tolerance"]
    ]
    assert not wrong, "\n".join(wrong)


def test_each_published_band_row_is_quadrature_too(published):
    rows = [row for row in published("blackbody") if row["quantity"] == "band_radiance"]
    for row in rows:
        band = planck.flat_band(row["low_um"] * 1e-6, row["high_um"] * 1e-6)
        truth = planck.quadrature_radiance(row["t_c"] + 273.15, band=band)
        assert truth == pytest.approx(row["expected"], rel=1e-12)


def test_limits_of_the_local_power():
    """Rayleigh-Jeans and Wien limits: derived from Planck's law."""
    hot = np.log(planck.spectral_radiance(1e-3, np.array([6000.0, 6060.0])))
    cold = np.log(planck.spectral_radiance(1e-6, np.array([300.0, 300.3])))
    assert np.diff(hot)[0] / np.log(1.01) == pytest.approx(1.0, abs=2e-3)
    expected = planck.C2 / (1e-6 * 300.15)
    assert np.diff(cold)[0] / np.log(1.001) == pytest.approx(expected, rel=1e-3)
