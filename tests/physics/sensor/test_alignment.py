"""Two clocks: offset and drift put in are found; what cannot be told is refused."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, RecordingError
from trivet.physics.sensor.alignment import (
    clock_from_events,
    clock_offset_by_correlation,
    reading_lag,
)


def test_events_give_offset_and_drift():
    other = np.array([10.0, 200.0, 610.0, 900.0])
    truth = other + 2.5 + 2e-3 * (other - other.mean())
    fit = clock_from_events(truth, other_s=other, sigma_s=0.1)
    assert fit.offset_s == pytest.approx(2.5)
    assert fit.drift_frac == pytest.approx(2e-3)
    assert np.max(np.abs(fit.residual_s)) < 1e-9


def test_stated_uncertainty_of_events_covers():
    """95 % of seeded draws within 1.96 sigma, by the exact interval of 400 draws: 92.4..97.0 %."""
    rng = np.random.default_rng(20)
    other = np.array([10.0, 200.0, 610.0, 900.0, 1000.0])
    inside = np.zeros(2)
    for _ in range(400):
        seen = other + 1.0 + rng.normal(0.0, 0.1, other.size)
        fit = clock_from_events(seen, other_s=other, sigma_s=0.1)
        sigma = np.sqrt(np.diag(fit.covariance))
        inside += np.abs([fit.offset_s - 1.0, fit.drift_frac]) < 1.96 * sigma
    assert np.all((inside >= 370) & (inside <= 389))


def test_offset_alone_from_one_event():
    fit = clock_from_events([12.0], other_s=[10.0], sigma_s=0.2, with_drift=False)
    assert (fit.offset_s, fit.drift_frac) == (2.0, 0.0)
    assert fit.covariance[0, 0] == pytest.approx(0.04)


def test_events_refuse_what_they_cannot_carry():
    with pytest.raises(NotEnoughDataError, match="2 shared events; 3 are needed"):
        clock_from_events([1.0, 50.0], other_s=[0.0, 49.0], sigma_s=0.1)
    with pytest.raises(NotEnoughDataError, match="a drift cannot be told"):
        clock_from_events([1.0, 1.5, 2.0], other_s=[0.0, 0.5, 1.0], sigma_s=0.1)
    with pytest.raises(RecordingError, match="same order"):
        clock_from_events([1.0, 2.0], other_s=[1.0], sigma_s=0.1)
    other = np.array([0.0, 100.0, 200.0, 300.0, 400.0])
    jumped = other + np.array([1.0, 1.0, 9.0, 1.0, 1.0])
    with pytest.raises(RecordingError, match=r"event 3 of 5.*clock jumped"):
        clock_from_events(jumped, other_s=other, sigma_s=0.1)


def _steps(time):
    """Heat on at 60 s, food at 200 s, off at 330 s: uneven, like a cook."""
    rise = np.clip(time - 60.0, 0.0, 90.0) * 1.5
    return (
        rise - 30.0 / (1.0 + np.exp(-(time - 200.0) / 3.0)) - np.clip(time - 330.0, 0, None) * 0.4
    )


def test_correlation_finds_the_offset():
    rng = np.random.default_rng(3)
    clock = np.arange(0.0, 420.0, 0.5)
    errors = []
    for offset in (-12.3, 0.0, 7.85, 21.4):
        other_time = clock - offset
        fit = clock_offset_by_correlation(
            _steps(clock) + rng.normal(0.0, 0.05, clock.size),
            reference_time_s=clock,
            other=2.0 * _steps(clock)[::2] + rng.normal(0.0, 0.05, clock[::2].size),
            other_time_s=other_time[::2],
            max_offset_s=40.0,
        )
        errors.append(abs(fit.offset_s - offset))
        assert errors[-1] < 4.0 * fit.sigma_s
        assert fit.correlation > 0.8
    assert max(errors) < 0.5


def test_correlation_sees_lag_and_offset_as_one():
    """A bead of first order and 4 s, no clock offset: its slope comes late by about its lag."""
    clock = np.arange(0.0, 420.0, 0.5)
    signal = _steps(clock)
    late = signal.copy()
    for at in range(1, late.size):
        late[at] = late[at - 1] + 0.5 / 4.0 * (signal[at] - late[at - 1])
    fit = clock_offset_by_correlation(
        signal, reference_time_s=clock, other=late, other_time_s=clock, max_offset_s=30.0
    )
    assert -4.5 < fit.offset_s < -2.0


def test_correlation_refuses_a_ramp_a_calm_and_a_repeat():
    clock = np.arange(0.0, 400.0, 0.5)
    rng = np.random.default_rng(4)

    def ask(one, two):
        return clock_offset_by_correlation(
            one, reference_time_s=clock, other=two, other_time_s=clock, max_offset_s=60.0
        )

    with pytest.raises(NotEnoughDataError, match="share no feature"):
        ask(300.0 + clock, 300.0 + clock)
    with pytest.raises(NotEnoughDataError, match="share no feature"):
        ask(rng.normal(size=clock.size), rng.normal(size=clock.size))
    cycling = np.sin(2 * np.pi * clock / 20.0)
    with pytest.raises(NotEnoughDataError, match="second peak"):
        ask(cycling, cycling)


def test_correlation_refuses_a_clock_that_turns_back():
    with pytest.raises(RecordingError, match="must increase"):
        clock_offset_by_correlation(
            np.zeros(20),
            reference_time_s=np.r_[0:10, 5:15].astype(float),
            other=np.zeros(20),
            other_time_s=np.arange(20.0),
            max_offset_s=3.0,
        )


def _heating(time_s):
    """2 K/s until 60 s, then none: rate of a burner that is turned down."""
    return 350.0 + 2.0 * np.minimum(time_s, 60.0) + 0.2 * np.maximum(time_s - 60.0, 0.0)


@pytest.mark.parametrize("lag_s", [0.0, 2.0, -1.0])
def test_a_delay_is_found_beside_offset_and_gain(lag_s: float) -> None:
    time_s = np.arange(0.0, 120.0, 0.25)
    noise = np.random.default_rng(1).normal(0.0, 0.1, time_s.size)
    reading = 3.0 + 1.05 * _heating(time_s - lag_s) + noise
    found = reading_lag(reading, reference=_heating(time_s), time_s=time_s)
    assert found.lag_s == pytest.approx(lag_s * 1.05, abs=0.2)


def test_a_ramp_and_a_plateau_tell_no_lag() -> None:
    time_s = np.arange(0.0, 60.0, 0.25)
    for so in (300.0 + 2.0 * time_s, np.full(time_s.size, 373.0)):
        with pytest.raises(NotEnoughDataError):
            reading_lag(so + 1.0, reference=so, time_s=time_s)
    with pytest.raises(NotEnoughDataError, match="under 20 s"):
        reading_lag(time_s[:8], reference=time_s[:8], time_s=time_s[:8])
