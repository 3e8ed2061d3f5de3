"""When frames are taken, which of them arrive, and what their stamps say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.records.cook import SensorFaults
from trivet.records.sensorcard import SensorCard

MIN_STEP = 0.05
"""Stamps keep this share of a frame's time between them, however the clock jitters."""


@dataclass(frozen=True)
class FrameTimes:
    """The frames that arrive: true moments, stamps, and which frame each one shows.

    ``kept`` (arrived,) index of each among the frames taken; ``shown`` (arrived,)
    index of the frame that it shows: an earlier one while the reader is stuck.
    """

    taken_s: FloatArray
    kept: IntArray
    shown: IntArray
    stamp_s: FloatArray


def frame_times(
    end_s: float, *, card: SensorCard, faults: SensorFaults, generator: np.random.Generator
) -> FrameTimes:
    """Return the frames of a cook with the declared faults of sensor, reader and clock."""
    rate = float(card.frame_rate_hz)
    count = max(2, int(np.floor(end_s * rate + 1e-9)) + 1)
    taken = np.arange(count) / rate
    lost = generator.uniform(size=count) < float(faults.dropped_frac)
    jitter = float(faults.clock_jitter_s) * generator.standard_normal(count)
    for gap in faults.gaps:
        lost |= _within(taken, float(gap.at_s), float(gap.for_s))
    lost[[0, -1]] = False  # a recording has a first and a last frame
    shown = np.arange(count)
    for stretch in faults.stuck:
        held = np.flatnonzero(_within(taken, float(stretch.at_s), float(stretch.for_s)))
        shown[held] = max(0, int(held[0]) - 1) if held.size else 0
    kept = np.flatnonzero(~lost)
    stamp = taken * (1.0 + float(faults.clock_drift_frac)) + jitter
    floor = np.arange(count) * MIN_STEP / rate  # rises by the least step: never backwards
    stamp = np.maximum.accumulate(stamp - floor) + floor
    return FrameTimes(taken, kept, shown[kept], stamp[kept])


def _within(time_s: FloatArray, at_s: float, for_s: float) -> BoolArray:
    return np.asarray((time_s >= at_s) & (time_s < at_s + for_s))
