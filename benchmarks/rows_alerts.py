"""Ten thousand cooks through the alert rules, against pandas cook by cook."""

from __future__ import annotations

import statistics
import time
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trivet.arrays import IntArray
from trivet.device.alertmemory import changes_of_cooks
from trivet.device.alertwords import HEAT_ON, AlertSettings, settings_array

COOKS, SAMPLES, PERIOD_MS = 10_000, 4_800, 250
BASELINE_COOKS = 40
ROUNDS = 3
GOAL = 60.0

LEVEL = AlertSettings("level", set_dk=5431, deadband_dk=80, on_ms=1000, off_ms=10_000)
AHEAD = AlertSettings(
    "time_to_limit",
    set_dk=5031,
    lead_ms=60_000,
    deadband_dk=50,
    on_ms=2000,
    off_ms=10_000,
    gate_dk=3831,
    window_ms=10_000,
)


def made_cooks(count: int, *, generator: np.random.Generator) -> NDArray[np.int16]:
    """Return readings (cook, time) in 0.1 K: heating, cooling and noise, all invented."""
    t = np.arange(SAMPLES, dtype=np.float32) * PERIOD_MS / 1000.0
    out = np.empty((count, SAMPLES), dtype=np.int16)
    for i in range(count):
        rise = generator.uniform(80.0, 330.0)
        lag = generator.uniform(60.0, 400.0)
        swing = generator.uniform(0.0, 25.0) * np.sin(t / generator.uniform(20.0, 120.0))
        noise = generator.standard_normal(SAMPLES, dtype=np.float32) * 0.3
        out[i] = 10.0 * (295.0 + rise * (1.0 - np.exp(-t / lag)) + swing + noise) + 0.5
    return out


def by_machine(cooks: NDArray[np.int16]) -> list[IntArray]:
    """Return each cook's changes by the device's own machine: (moment, alert, on)."""
    settings = settings_array((LEVEL, AHEAD))
    found = changes_of_cooks(
        np.arange(SAMPLES, dtype=np.int64) * PERIOD_MS,
        reading_dk=cooks,
        word=np.full(SAMPLES, HEAT_ON, dtype=np.int64),
        settings=settings,
    )
    return [changes[:, :3] for changes in found]


def by_pandas(reading: NDArray[np.int16]) -> IntArray:
    """Return one cook's changes as a competent user of pandas finds them.

    Rolling sums give the least-squares rate; a condition that held for its
    delay sets the state, one that failed for its delay clears it, the last
    setting is carried forward. Sums of integers stay exact in float64.
    """
    y = pd.Series(reading, dtype="float64")
    level = _states(y >= LEVEL.set_dk, y < LEVEL.set_dk - LEVEL.deadband_dk, LEVEL)
    n = AHEAD.window_ms // PERIOD_MS + 1
    place = pd.Series(np.arange(SAMPLES, dtype="float64"))
    count = y.rolling(n, min_periods=1).count()
    sum_y, sum_ty = y.rolling(n, min_periods=1).sum(), (place * y).rolling(n, min_periods=1).sum()
    sum_t = place.rolling(n, min_periods=1).sum()
    sum_tt = (place * place).rolling(n, min_periods=1).sum()
    spread = (count * sum_tt - sum_t * sum_t) * PERIOD_MS
    ahead = (count * sum_ty - sum_t * sum_y) * AHEAD.lead_ms - (AHEAD.set_dk - y) * spread
    known = (count - 1) * PERIOD_MS >= 5000
    gated = y >= AHEAD.gate_dk
    high = (y >= AHEAD.set_dk) | (gated & known & (ahead >= 0))
    low = (y < AHEAD.set_dk) & (~gated | (known & (ahead < -AHEAD.deadband_dk * spread)))
    rate = _states(high, low, AHEAD)
    rows = [
        (moment, index, int(state.iloc[moment]))
        for index, state in enumerate((level, rate))
        for moment in np.flatnonzero(state.diff().fillna(state.iloc[0]))
    ]
    return np.array(sorted(rows), dtype=np.int64).reshape(-1, 3)


def _states(high: pd.Series, low: pd.Series, alert: AlertSettings) -> pd.Series:
    held = high.rolling(alert.on_ms // PERIOD_MS + 1).min() == 1
    failed = low.rolling(alert.off_ms // PERIOD_MS + 1).min() == 1
    marks = pd.Series(np.nan, index=high.index)
    marks[held] = 1.0
    marks[failed] = 0.0
    return marks.ffill().fillna(0.0)


def rows() -> list[dict[str, Any]]:
    """Time both in turn; every cook of the baseline must give the same alert times."""
    cooks = made_cooks(COOKS, generator=np.random.default_rng(20))
    by_machine(cooks[:4])
    ours, theirs = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        found = by_machine(cooks)
        ours.append(time.perf_counter() - start)
        start = time.perf_counter()
        plain = [by_pandas(cooks[i]) for i in range(BASELINE_COOKS)]
        theirs.append((time.perf_counter() - start) / BASELINE_COOKS)
    changes = sum(len(one) for one in plain)
    same = all(np.array_equal(a, b) for a, b in zip(found, plain, strict=False))
    if not same or changes == 0:
        raise AssertionError("the machine and pandas disagree about the alert times")
    ours_s, theirs_s = statistics.median(ours), statistics.median(theirs) * COOKS
    return [
        {
            "name": "alert rules, 10,000 cooks x 4,800 samples",
            "baseline": "pandas, cook by cook",
            "ratio": theirs_s / ours_s,
            "goal": GOAL,
            "detail": f"{ours_s:.2f} s against {theirs_s:.0f} s (from {BASELINE_COOKS} cooks);"
            f" identical times of {changes} changes; level and time to limit; 1 thread",
        }
    ]
