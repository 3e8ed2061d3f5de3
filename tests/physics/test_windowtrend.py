"""A window that fouls: how often it is called, and how soon; draws from a plain normal."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.sensor.window import cusum_limit, cusum_run, window_trend

COOKS = 0.012 * 0.86


def _calls(loss, *, n, runs, spread=COOKS, seed=0):
    rng = np.random.default_rng(seed)
    calls = []
    for _ in range(runs):
        tau = 0.86 * np.ones(n)
        tau[5:] *= 1 - np.asarray(loss)
        found = window_trend(tau + rng.normal(0, spread, n), u=np.full(n, spread))
        calls.append(np.nan if found.lost_at is None else found.lost_at - 5)
    return np.array(calls)


def test_limit_meets_the_chance_it_was_set_for():
    limit = cusum_limit(1.0, false_frac=0.05, n=50)
    assert cusum_run(limit, allowance=1.0, shift=0.0, n=50)[0] == pytest.approx(0.05, abs=0.001)
    rng = np.random.default_rng(0)
    sums = np.zeros(4000)
    called = np.zeros(4000, dtype=bool)
    for _ in range(50):
        sums = np.maximum(sums + rng.normal(size=4000) - 1.0, 0.0)
        called |= sums > limit
    assert called.mean() == pytest.approx(0.05, abs=0.015)
    assert cusum_limit(1.0, false_frac=0.05, n=50, baseline_u=0.5) > limit


def test_a_sudden_loss_is_found_soon_and_dated():
    calls = _calls(0.05, n=25, runs=100)
    assert np.mean(calls < 20) >= 0.97
    assert np.nanmedian(calls) <= 3
    rng = np.random.default_rng(5)
    tau = np.where(np.arange(20) < 9, 0.86, 0.86 * 0.93) + rng.normal(0, 0.004, 20)
    found = window_trend(tau, u=np.full(20, 0.004))
    assert found.since == 9
    assert found.loss_frac == pytest.approx(0.07, abs=0.01)


@pytest.mark.slow
def test_five_per_cent_within_20_cooks_at_under_one_per_cent_false():
    """At 1.2 % a cook, sudden or creeping; the false share over 100 cooks, 95 % bound."""
    from trivet.physics.statistics.intervals import upper_bound_frac

    assert np.mean(_calls(0.05, n=25, runs=600, seed=1) < 20) >= 0.99
    creeping = 0.05 * np.minimum(np.arange(1, 26) / 20, 1.0)
    assert np.mean(_calls(creeping, n=30, runs=600, seed=2) < 20) >= 0.93
    false = int(np.isfinite(_calls(0.0, n=25, runs=2000, seed=3)).sum())
    assert upper_bound_frac(false, 2000, confidence=0.95) < 0.01


def test_too_little_and_nonsense_are_refused():
    with pytest.raises(NotEnoughDataError, match="needed: 3"):
        window_trend([0.86, 0.85], u=[0.01, 0.01])
    with pytest.raises(OutOfRangeError):
        window_trend([0.86] * 6, u=[0.0] * 6)
    with pytest.raises(OutOfRangeError):
        cusum_limit(1.0, false_frac=1.0, n=10)
    with pytest.raises(OutOfRangeError):
        cusum_run(0.0, allowance=1.0, shift=0.0, n=10)
