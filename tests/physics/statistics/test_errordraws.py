"""The fused equation against the plain one; Sobol shares against a known function."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k, sighted_surface_k
from trivet.physics.radiation.planck import band_from_response, flat_band
from trivet.physics.statistics.errordraws import (
    FIELDS,
    TermSpread,
    reading_errors_k,
    sobol_points,
    total_order_shares,
)

BAND = flat_band(8e-6, 14e-6)
BELIEVED = {
    "emissivity": 0.9,
    "reflected_k": 308.0,
    "transmittance": 0.86,
    "window_k": 315.0,
    "source_frac": 0.95,
    "around_k": 333.0,
    "offset_k": 0.0,
    "gain": 0.0,
    "step_k": 2.0,
    "column_frac": 0.97,
    "column_k": 340.0,
    "mirrored_frac": 0.05,
    "housing_k": 312.0,
}
WIDTHS = {
    "emissivity": 0.05,
    "reflected_k": 20.0,
    "transmittance": 0.04,
    "window_k": 10.0,
    "source_frac": 0.04,
    "around_k": 30.0,
    "offset_k": 3.0,
    "gain": 0.03,
    "step_k": 1.5,
    "column_frac": 0.02,
    "mirrored_frac": 0.03,
}


def sight(values):
    return LineOfSight(**{key: value for key, value in values.items() if key != "step_k"})


def nominal(cases):
    return np.tile([BELIEVED[name] for name in FIELDS], (cases, 1))


@pytest.mark.parametrize(
    "band", [BAND, band_from_response([7e-6, 9e-6, 12e-6, 15e-6], [0.0, 0.8, 1.0, 0.1])]
)
def test_fused_and_plain_equations_agree(band):
    truth = np.array([330.0, 403.15, 503.15])
    names = list(WIDTHS)
    units = np.random.default_rng(3).uniform(-1.0, 1.0, (len(names), 130))
    scale = np.array([[WIDTHS[name]] * truth.size for name in names])
    got = reading_errors_k(
        truth,
        nominal=nominal(truth.size),
        spread=TermSpread(np.array([FIELDS.index(n) for n in names]), 0.0 * scale, scale),
        units=units,
        band=band,
    )
    moved = {
        name: BELIEVED[name] + WIDTHS.get(name, 0.0) * units[names.index(name)]
        if name in names
        else BELIEVED[name]
        for name in BELIEVED
    }
    stated = sighted_apparent_k(truth[:, None] - moved["step_k"], sight=sight(moved), band=band)
    read = sighted_surface_k(stated, sight=sight(BELIEVED), band=band) + BELIEVED["step_k"]
    assert np.abs(got - (read - truth[:, None])).max() < 1e-6


def offset_only(units, **keywords):
    one = np.ones((1, 1))
    return reading_errors_k(
        np.array([503.15]),
        nominal=nominal(1),
        spread=TermSpread(np.array([FIELDS.index("offset_k")]), 0.0 * one, one),
        units=np.array([units]),
        band=BAND,
        **keywords,
    )[0]


def test_what_has_no_temperature_is_infinite_on_its_side():
    error = offset_only([-400.0, 0.0, 900.0])
    assert error[0] == -math.inf
    assert abs(error[1]) < 1e-6
    assert error[2] == math.inf


def test_beyond_the_range_is_clipped():
    stated = float(sighted_apparent_k(501.15, sight=sight(BELIEVED), band=BAND))
    error = offset_only([0.0, 5.0], range_k=(-math.inf, stated + 2.0))
    assert abs(error[0]) < 1e-6
    assert error[1] == math.inf


def test_unknown_widths_do_not_move():
    nan = np.full((1, 1), np.nan)
    error = reading_errors_k(
        np.array([503.15]),
        nominal=nominal(1),
        spread=TermSpread(np.array([0]), nan, nan),
        units=np.array([[0.3, 0.9]]),
        band=BAND,
    )
    assert np.abs(error).max() < 1e-6


def test_shapes_that_do_not_fit_are_refused():
    with pytest.raises(InputError):
        reading_errors_k(
            np.array([503.15, 400.0]),
            nominal=nominal(1),
            spread=TermSpread(np.array([0]), np.zeros((1, 2)), np.zeros((1, 2))),
            units=np.zeros((1, 4)),
            band=BAND,
        )


def test_shares_of_ishigami_function():
    # Total-order indices of sin x1 + 7 sin^2 x2 + 0.1 x3^4 sin x1 on (-pi, pi)^3:
    # 0.5576, 0.4424, 0.2437 (Ishigami and Homma 1990, from memory).
    groups = [[0], [1], [2]]
    points = sobol_points(3, groups=groups, generator=np.random.default_rng(5), count=4096)
    x = np.pi * (2.0 * points - 1.0)
    values = np.sin(x[0]) + 7 * np.sin(x[1]) ** 2 + 0.1 * x[2] ** 4 * np.sin(x[0])
    shares = total_order_shares(values[None, :], groups=3)
    assert shares[:, 0] == pytest.approx([0.5576, 0.4424, 0.2437], abs=0.015)


def test_grouped_inputs_share_one_index():
    groups = [[0, 1], [2]]
    points = sobol_points(3, groups=groups, generator=np.random.default_rng(5))
    values = points[0] + points[1] + points[2]  # equal parts: two thirds and one third
    shares = total_order_shares(values[None, :], groups=2)
    assert shares[:, 0] == pytest.approx([2 / 3, 1 / 3], abs=0.02)


def test_an_output_that_does_not_vary_has_no_shares():
    points = sobol_points(2, groups=[[0], [1]], generator=np.random.default_rng(1), count=64)
    assert np.isnan(total_order_shares(np.ones((1, points.shape[1])), groups=2)).all()


def test_only_powers_of_two_are_points():
    with pytest.raises(InputError, match="power of two"):
        sobol_points(2, groups=[[0]], generator=np.random.default_rng(1), count=100)
