"""Bands: what is refused, what is cached, where NaN begins."""

from __future__ import annotations

import pickle
from itertools import pairwise

import numpy as np
import pytest
from scipy import integrate

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation import planck
from trivet.physics.radiation.planck import (
    band_from_response,
    flat_band,
    radiating_temperature_k,
    spectral_radiance,
)

BAND = flat_band(8e-6, 14e-6)


@pytest.mark.parametrize(
    ("wavelength", "response", "word"),
    [
        ([8e-6, 8e-6, 9e-6], [1, 1, 1], "rise"),
        ([9e-6, 8e-6], [1, 1], "rise"),
        ([8e-6, 9e-6], [1, -0.1], "negative"),
        ([8e-6, 9e-6], [0, 0], "zero everywhere"),
        ([8.0, 14.0], [1, 1], "metres"),
        ([8e-6, 9e-6, 10e-6], [1, 1], "equal length"),
        ([8e-6], [1], "two numbers"),
        ([8e-6, np.nan], [1, 1], "finite"),
    ],
)
def test_bad_bands_are_refused(wavelength, response, word):
    with pytest.raises(InputError, match=word):
        band_from_response(wavelength, response)


def test_bands_compare_by_their_numbers():
    twin = band_from_response([8e-6, 14e-6], [1.0, 1.0])
    assert flat_band(8e-6, 14e-6) is BAND
    assert twin == BAND
    assert hash(twin) == hash(BAND)
    assert pickle.loads(pickle.dumps(BAND)) == BAND
    assert flat_band(8e-6, 13e-6) != BAND
    with pytest.raises(ValueError, match="read-only"):
        BAND.response[0] = 2.0


def test_a_cut_response_is_the_sum_of_its_parts():
    """The band integral is additive over wavelength."""
    whole = planck.band_radiance(400.0, band=BAND)
    parts = [
        planck.band_radiance(400.0, band=flat_band(a, b))
        for a, b in ((8e-6, 11e-6), (11e-6, 14e-6))
    ]
    assert sum(parts) == pytest.approx(whole, rel=1e-11)
    halved = band_from_response([8e-6, 10e-6, 14e-6], [0.5, 0.5, 0.5])
    assert 2.0 * planck.band_radiance(400.0, band=halved) == pytest.approx(whole, rel=1e-11)


def test_a_triangle_response_against_its_integral():
    """Response falling linearly from 1 to 0: two quadratures of another kind agree."""
    triangle = band_from_response([8e-6, 14e-6], [1.0, 0.0])
    x = np.linspace(8e-6, 14e-6, 20001)
    y = planck.spectral_radiance(x, 450.0) * (14e-6 - x) / 6e-6
    assert planck.band_radiance(450.0, band=triangle) == pytest.approx(np.trapezoid(y, x), rel=1e-7)


def test_outside_the_tables_is_nan():
    assert np.isnan(planck.band_radiance([213.0, 973.5, np.nan], band=BAND)).all()
    assert np.isfinite(planck.band_radiance([213.15, 973.15], band=BAND)).all()
    ends = planck.band_radiance([233.15, 873.15], band=BAND)
    assert planck.radiating_temperature_k(ends, band=BAND) == pytest.approx([233.15, 873.15])
    outside = [0.999 * ends[0], 1.001 * ends[1], -1.0, 0.0, np.nan]
    assert np.isnan(planck.radiating_temperature_k(outside, band=BAND)).all()


def test_slope_is_the_slope():
    t = np.linspace(220.0, 960.0, 300)
    rise = planck.quadrature_radiance(t + 0.01, band=BAND)
    rise -= planck.quadrature_radiance(t - 0.01, band=BAND)
    assert planck.band_radiance_slope(t, band=BAND) == pytest.approx(rise / 0.02, rel=1e-6)


def test_shapes_are_kept():
    assert planck.band_radiance(300.0, band=BAND).shape == ()
    assert planck.band_radiance(np.full((2, 3, 70), 300.0), band=BAND).shape == (2, 3, 70)
    assert planck.band_radiance(np.full((4, 6), 300.0)[:, ::2], band=BAND).shape == (4, 3)
    assert planck.radiating_temperature_k(np.empty((0, 3)), band=BAND).shape == (0, 3)


def test_not_positive_is_refused():
    with pytest.raises(OutOfRangeError):
        planck.spectral_radiance(1e-5, 0.0)
    with pytest.raises(OutOfRangeError):
        planck.spectral_radiance(-1e-5, 300.0)
    with pytest.raises(OutOfRangeError):
        planck.band_fraction(0.0)


def test_band_fraction_is_smooth_where_its_series_meet():
    x = planck.C2 / np.array([1.9999, 2.0, 2.0001])
    first, middle, last = planck.band_fraction(x)
    assert middle == pytest.approx(0.5 * (first + last), rel=1e-8)


@pytest.mark.parametrize(
    "pairs",
    [
        ([7e-6, 8e-6, 9.5e-6, 12e-6, 14e-6, 15e-6], [0.0, 0.7, 1.0, 0.9, 0.6, 0.0]),
        ([7.5e-6, 7.6e-6, 13.4e-6, 13.5e-6], [0.0, 1.0, 1.0, 0.0]),
        (
            list(np.linspace(5e-6, 16e-6, 60)),
            list(np.exp(-((np.linspace(5, 16, 60) - 10) ** 2) / 6)),
        ),
    ],
)
def test_a_response_curve_is_inverted_within_a_millikelvin_of_quadrature(pairs):
    """Truth: adaptive integration of Planck's law times the curve, segment by segment."""
    wavelength, response = (np.array(one) for one in pairs)
    band = band_from_response(wavelength, response)
    for celsius in (-20.0, 25.0, 180.0, 371.0, 500.0):
        kelvin = celsius + 273.15
        radiance = sum(
            integrate.quad(
                lambda x, t=kelvin: np.interp(x, wavelength, response) * spectral_radiance(x, t),
                low,
                high,
                epsrel=1e-12,
            )[0]
            for low, high in pairwise(wavelength)
        )
        assert radiating_temperature_k(radiance, band=band) == pytest.approx(kelvin, abs=1e-3)
