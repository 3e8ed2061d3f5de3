"""The inverse undoes the forward model; the single-precision pass agrees with quadrature."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trivet.physics.radiation.inversion import InversionTerms, surface_temperature_stack_k
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k, sighted_surface_k
from trivet.physics.radiation.path import before_window
from trivet.physics.radiation.planck import (
    band_from_response,
    band_radiance,
    flat_band,
    quadrature_radiance,
    radiating_temperature_k,
)

BANDS = {
    "8-14": flat_band(8e-6, 14e-6),
    "7.5-13": flat_band(7.5e-6, 13e-6),
    "curve": band_from_response(
        np.array([5.0, 6.0, 8.0, 10.0, 12.0, 14.0, 15.0]) * 1e-6,
        np.array([0.0, 0.1, 0.8, 1.0, 0.9, 0.5, 0.0]),
    ),
}
KELVIN = 273.15


def scene_radiance(surface_k, terms, radiance):
    """Return the signal of a scene with any of the two radiance functions."""
    eps, tau = np.asarray(terms.emissivity), terms.transmittance
    surround = radiance(np.reshape(terms.surround_k, (-1, 1, 1)), band=terms.band)
    window = radiance(np.reshape(terms.window_k, (-1, 1, 1)), band=terms.band)
    leaving = eps * radiance(surface_k, band=terms.band) + (1.0 - eps) * surround
    return tau * leaving + (1.0 - tau) * window


def quadrature_truth(apparent_k, terms):
    """Return surface temperatures by quadrature and Newton's method, in double precision."""
    eps, tau, band = np.asarray(terms.emissivity), terms.transmittance, terms.band
    surround = quadrature_radiance(np.reshape(terms.surround_k, (-1, 1, 1)), band=band)
    window = quadrature_radiance(np.reshape(terms.window_k, (-1, 1, 1)), band=band)
    signal = quadrature_radiance(apparent_k, band=band)
    own = ((signal - (1.0 - tau) * window) / tau - (1.0 - eps) * surround) / eps
    t = np.full(own.shape, 500.0)
    for _ in range(60):
        here, ahead = (quadrature_radiance(t + h, band=band) for h in (0.0, 0.01))
        step = (own - here) / (ahead - here) * 0.01
        t = np.clip(t + step, 200.0, 1000.0)
        if np.abs(step).max() < 1e-9:
            return t
    raise AssertionError("Newton's method did not settle")


@pytest.fixture(name="rng")
def fixture_rng():
    return np.random.default_rng(20)


@pytest.mark.parametrize("name", BANDS)
def test_inverse_of_forward(name):
    band = BANDS[name]
    t = np.linspace(-20.0, 500.0, 2001) + KELVIN
    back = radiating_temperature_k(band_radiance(t, band=band), band=band)
    assert np.abs(back - t).max() < 1e-6
    truth = radiating_temperature_k(quadrature_radiance(t, band=band), band=band)
    assert np.abs(truth - t).max() < 1e-6


@settings(max_examples=150, deadline=None)
@given(
    surface_c=st.floats(-20.0, 500.0),
    emissivity=st.floats(0.3, 1.0),
    surround_c=st.floats(0.0, 120.0),
    transmittance=st.floats(0.4, 1.0),
    window_c=st.floats(0.0, 90.0),
)
def test_chain_of_surface_and_window(surface_c, emissivity, surround_c, transmittance, window_c):
    band = BANDS["8-14"]
    t = surface_c + KELVIN
    window = {"transmittance": transmittance, "window_k": window_c + KELVIN}
    grey = LineOfSight(emissivity, surround_c + KELVIN)
    stated = sighted_apparent_k(t, sight=replace(grey, **window), band=band)
    before = before_window(band_radiance(stated, band=band), band=band, **window)
    assert abs(sighted_surface_k(stated, sight=replace(grey, **window), band=band) - t) < 1e-5
    apparent = radiating_temperature_k(before, band=band)
    assert abs(sighted_surface_k(apparent, sight=grey, band=band) - t) < 1e-5


@settings(max_examples=60, deadline=None)
@given(
    seed=st.integers(0, 2**31),
    low=st.floats(0.3, 1.0),
    transmittance=st.floats(0.6, 1.0),
    surround_c=st.floats(0.0, 60.0),
    window_c=st.floats(0.0, 60.0),
)
def test_pass_agrees_with_double_precision(seed, low, transmittance, surround_c, window_c):
    rng = np.random.default_rng(seed)
    terms = InversionTerms(
        emissivity=rng.uniform(low, 1.0, (6, 8)),
        surround_k=surround_c + KELVIN,
        transmittance=transmittance,
        window_k=window_c + KELVIN,
        band=BANDS["8-14"],
    )
    t = rng.uniform(-20.0, 500.0, (3, 6, 8)) + KELVIN
    signal = scene_radiance(t, terms, band_radiance)
    apparent = radiating_temperature_k(signal, band=terms.band).astype(np.float32)
    out = surface_temperature_stack_k(apparent, terms=terms)
    # the rounding of the input itself, carried through the inversion
    sight = LineOfSight(terms.emissivity, terms.surround_k, transmittance, terms.window_k)
    truth = sighted_surface_k(apparent, sight=sight, band=terms.band)
    assert np.abs(out - truth).max() < 1e-3


@pytest.mark.parametrize("name", BANDS)
@pytest.mark.parametrize("counts", [True, False])
def test_pass_within_a_millikelvin_of_quadrature(name, counts, rng):
    times = 8
    terms = InversionTerms(
        emissivity=rng.uniform(0.3, 1.0, (24, 32)),
        surround_k=rng.uniform(285.0, 330.0, times),
        transmittance=0.75,
        window_k=rng.uniform(285.0, 320.0, times),
        band=BANDS[name],
        scale_k=0.02,
        offset_k=-5.0,
    )
    t = rng.uniform(-20.0, 500.0, (times, 24, 32)) + KELVIN
    signal = scene_radiance(t, terms, quadrature_radiance)
    apparent = radiating_temperature_k(signal, band=terms.band)
    if counts:
        stack = np.round((apparent + 5.0) / 0.02).astype(np.uint16)
        seen = stack * 0.02 - 5.0
    else:
        stack = apparent.astype(np.float32)
        seen = stack.astype(float)
    out = surface_temperature_stack_k(stack, terms=terms)
    error = np.abs(out - quadrature_truth(seen, terms))
    assert out.dtype == np.float32
    assert error.max() < 1e-3


def test_one_core_and_all_cores_give_the_same_bits(rng):
    emissivity = rng.uniform(0.5, 1.0, (60, 80))
    terms = InversionTerms(emissivity, 300.0, 0.9, 305.0, BANDS["8-14"], scale_k=0.02)
    stack = rng.integers(14000, 38000, (60, 60, 80)).astype(np.uint16)
    together = surface_temperature_stack_k(stack, terms=terms)
    single = np.stack([surface_temperature_stack_k(frame, terms=terms) for frame in stack])
    assert stack.size > 200_000
    assert np.array_equal(together, single, equal_nan=True)
    assert np.isfinite(together).any()
