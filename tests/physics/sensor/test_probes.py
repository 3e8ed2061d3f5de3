"""A probe on a surface: lag, clock, wire and swapped poles."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.sensor.probes import ProbeErrors, probe_reading_k, swapped_poles_k


def test_probe_on_a_ramp():
    """At 3 K/s a lag of 2 s and a clock 0.5 s early leave 3 x (0.5 - 2) K; 5 % are missing."""
    time = np.arange(0.0, 100.0, 0.05)
    errors = ProbeErrors(offset_k=0.7, low_frac=0.05, lag_s=2.0, clock_s=0.5, noise_k=0.0)
    read = probe_reading_k(
        300.0 + 3.0 * time,
        step_s=0.05,
        air_k=300.0,
        errors=errors,
        generator=np.random.default_rng(0),
    )
    n = 1500
    assert read[n] == pytest.approx(300.0 + 0.95 * 3.0 * (time[n] + 0.5 - 2.0) + 0.7, abs=0.1)


def test_probe_clock_and_class():
    """A clock that gains 1 % is 1 s ahead after 100 s; half of class 1 at 500 C is 1 K."""
    time = np.arange(0.0, 100.05, 0.05)
    errors = ProbeErrors(0.0, 0.0, 0.0, 0.0, 0.0, clock_drift_frac=0.01, wire_frac=0.5)
    got = probe_reading_k(
        773.15 + 0.1 * time,
        step_s=0.05,
        air_k=300.0,
        errors=errors,
        generator=np.random.default_rng(0),
        tolerance_k=2.0,
    )
    assert got[1600] == pytest.approx(773.15 + 0.1 * 80.8 + 1.0, abs=1e-6)


def test_swapped_poles_fall_as_the_pan_heats():
    """Type K by its IEC 60584-1 table: 4.096 mV at 100 C, 0.798 mV at 20 C, -2.500 mV at -68.0 C.

    Table values from memory.
    """
    got = swapped_poles_k(np.array([293.15, 373.15]), kind="K", cold_junction_k=293.15)
    assert got[0] == pytest.approx(293.15, abs=0.01)
    assert got[1] - 273.15 == pytest.approx(-67.5, abs=1.0)
    assert np.isnan(swapped_poles_k(np.array([900.0]), kind="K", cold_junction_k=293.15)).all()
