"""Trailing slope, flicker and hold, against numpy's own fit and the statistics of noise."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.image.trend import (
    Tail,
    flicker,
    flicker_memory,
    hold_duration_s,
    trailing_slope,
)

TIME = np.arange(400) / 4


def test_slope_equals_a_polynomial_fit() -> None:
    rng = np.random.default_rng(3)
    values = 300 + 1.7 * TIME + rng.normal(0, 0.5, TIME.size)
    values[100:105] = np.nan
    slope = trailing_slope(values, time_s=TIME, span_s=10.0)
    for k in (60, 120, 399):
        span = (TIME[k] - 10.0 - 1e-9 < TIME) & (TIME[k] >= TIME) & np.isfinite(values)
        assert slope[k] == pytest.approx(np.polyfit(TIME[span], values[span], 1)[0], abs=1e-9)


def test_slope_is_withheld_before_five_seconds() -> None:
    slope = trailing_slope(300 + TIME, time_s=TIME, span_s=10.0)
    assert np.isnan(slope[TIME < 5.0]).all()
    assert np.isfinite(slope[TIME >= 5.0]).all()


def test_flicker_is_the_noise_and_not_the_ramp() -> None:
    rng = np.random.default_rng(4)
    time_s = np.arange(20_000) / 4
    values = 300 + 3.0 * time_s + rng.normal(0, 0.25, time_s.size)
    seen = flicker(values, time_s=time_s, span_s=500.0)
    assert seen[-1] == pytest.approx(0.25, rel=0.06)


def test_hold_counts_from_its_beginning() -> None:
    condition = np.array([True, True, False, True, True, True])
    held = hold_duration_s(condition, time_s=np.arange(6.0))
    np.testing.assert_array_equal(held, [0.0, 1.0, 0.0, 1.0, 2.0, 3.0])


@pytest.mark.parametrize("length", [1, 7, 100])
def test_blocks_give_the_bits_of_the_whole(length: int) -> None:
    rng = np.random.default_rng(9)
    values = 300 + rng.normal(0, 1.0, TIME.size)
    values[50:55] = np.nan
    tail, memory, begun_s = Tail(10.0), flicker_memory(), np.full(1, np.nan)
    slopes, flickers, holds = [], [], []
    for begin in range(0, TIME.size, length):
        part = slice(begin, begin + length)
        joined, time_s, first = tail.extended(values[part], TIME[part])
        slopes.append(trailing_slope(joined, time_s=time_s, span_s=10.0, start=first))
        flickers.append(flicker(values[part], time_s=TIME[part], span_s=3.0, memory=memory))
        holds.append(hold_duration_s(values[part] < 301.0, time_s=TIME[part], begun_s=begun_s))
        assert tail.time_s.size <= 45
    for found, whole in (
        (slopes, trailing_slope(values, time_s=TIME, span_s=10.0)),
        (flickers, flicker(values, time_s=TIME, span_s=3.0)),
        (holds, hold_duration_s(values < 301.0, time_s=TIME)),
    ):
        np.testing.assert_array_equal(np.concatenate(found), whole)
