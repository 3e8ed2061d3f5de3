"""Causal trends of a signal: slope over a trailing span, flicker, longest hold.

Each can be computed in blocks: what a later block needs of an earlier one is a :class:`Tail` or a
small array that is continued in place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.physics.compiled import family

compiled = family(Path(__file__).parent)

MARGIN_S = 1.0  # own estimate: kept beyond the span, whatever the rate of the frames
# Places of a flicker's memory.
SEEN, LAST, BEFORE, LAST_S, SQUARE = range(5)


def _nothing() -> FloatArray:
    return np.empty(0)


@dataclass
class Tail:
    """The stretch of a signal that trends over a trailing span still need."""

    span_s: float
    time_s: FloatArray = field(default_factory=_nothing)
    values: FloatArray = field(default_factory=_nothing)

    def extended(
        self, values: FloatArray, time_s: FloatArray
    ) -> tuple[FloatArray, FloatArray, int]:
        """Return values and times of tail and block together, and where the block begins.

        The tail is then that of the block's end: its length depends on the span and the rate of the
        frames only.
        """
        begins = self.time_s.size
        values = np.concatenate([self.values, values])
        time_s = np.concatenate([self.time_s, time_s])
        first = int(np.searchsorted(time_s, time_s[-1] - self.span_s - MARGIN_S))
        self.time_s, self.values = time_s[first:].copy(), values[first:].copy()
        return values, time_s, begins


def trailing_slope(
    values: FloatArray,
    *,
    time_s: FloatArray,
    span_s: float,
    least_s: float = 5.0,
    start: int = 0,
) -> FloatArray:
    """Return the least-squares slope over the trailing span at every moment.

    values : (time,) any unit; NaN moments are left out
    time_s : (time,) moments, increasing [s]
    span_s : length of the trailing span [s]
    least_s : a slope from a shorter stretch is withheld [s]
    start : first moment that is asked for.
    Returns : (time - start,) unit of ``values`` per second; NaN where withheld
    Notes : White noise sigma at rate f gives u(slope) = sigma sqrt(12 / (f span^3)): 0.1 K at 4 Hz
        over 10 s is 5 mK/s.
    Source : Ordinary least squares on a uniform grid, textbook form
    """
    out = np.full(values.size - start, np.nan)
    _slope(values, time_s, (span_s, least_s), start, out)
    return out


@compiled
def _slope(values: Any, time: Any, spans: Any, start: int, out: Any) -> None:
    span, least = spans
    first = 0
    for t in range(start, values.size):
        while time[t] - time[first] > span:
            first += 1
        count, mt, mv = 0, 0.0, 0.0
        for k in range(first, t + 1):
            if math.isfinite(values[k]):
                count += 1
                mt += time[k]
                mv += values[k]
        if count < 3:
            continue
        mt, mv = mt / count, mv / count
        stt, stv, begin = 0.0, 0.0, np.inf
        for k in range(first, t + 1):
            if math.isfinite(values[k]):
                begin = min(begin, time[k])
                stt += (time[k] - mt) ** 2
                stv += (time[k] - mt) * (values[k] - mv)
        if time[t] - begin >= least and stt > 0:
            out[t - start] = stv / stt


def row_mean(values: FloatArray) -> FloatArray:
    """Return the mean of each row, summed in order, so that a moment does not depend on its block.

    values : (time, n)
    Returns : (time,) unit of ``values``; NaN where any is
    """
    total = np.zeros(values.shape[0])
    for k in range(values.shape[1]):
        total = total + values[:, k]
    return np.asarray(total / values.shape[1])


def flicker_memory() -> FloatArray:
    """Return the memory of a flicker of which nothing has been seen.

    Returns : (5,)
    Notes : The last two values, the last time and the mean square.
    """
    return np.zeros(5)


def flicker(
    values: FloatArray,
    *,
    time_s: FloatArray,
    span_s: float,
    cap: float = math.inf,
    memory: FloatArray | None = None,
) -> FloatArray:
    """Return the standard deviation of what second differences leave, over a trailing span.

    A second difference removes any steady or linear course, so what remains is noise or a flicker
    faster than the frame rate.

    values : (time,)
    time_s : (time,) moments, increasing [s]
    span_s : time constant of the trailing mean square [s]
    cap : a second difference counts as no more than this, so that one step is not flicker.
    memory : (5,), optional from :func:`flicker_memory`, continued in place from block to block
    Returns : (time,) unit of ``values``; 0 for the first two moments
    Notes : For white noise of standard deviation s the result is s within about s / sqrt(frames in
        the span).
    Source : var(x0 - 2 x1 + x2) = 6 s^2 for white noise
    """
    out = np.empty(values.size)
    _flicker(values, time_s, (span_s, cap), flicker_memory() if memory is None else memory, out)
    return out


@compiled
def _flicker(values: Any, time: Any, limits: Any, memory: Any, out: Any) -> None:
    span, cap = limits
    for t in range(values.size):
        second = values[t] - 2.0 * memory[LAST] + memory[BEFORE]
        if memory[SEEN] >= 2.0 and math.isfinite(second):
            second = min(abs(second), cap)
            gain = 1.0 - math.exp(-(time[t] - memory[LAST_S]) / span)
            memory[SQUARE] += gain * (second * second / 6.0 - memory[SQUARE])
        memory[BEFORE], memory[LAST], memory[LAST_S] = memory[LAST], values[t], time[t]
        memory[SEEN] = min(memory[SEEN] + 1.0, 2.0)
        out[t] = math.sqrt(memory[SQUARE])


def hold_duration_s(
    condition: BoolArray, *, time_s: FloatArray, begun_s: FloatArray | None = None
) -> FloatArray:
    """Return for how long a condition has held without a break, at every moment.

    condition : (time,)
    time_s : (time,) moments, increasing [s]
    begun_s : (1,), optional; when the hold began, NaN before the first moment; continued in place
        from block to block [s]
    Returns : (time,) seconds since it began to hold; 0 where it does not
    Notes : Exact; the first moment of a hold counts 0 s. Before the first break the hold began with
        the recording.
    """
    first = time_s[0] if begun_s is None or np.isnan(begun_s[0]) else begun_s[0]
    begun = np.maximum.accumulate(np.where(condition, first, time_s))
    if begun_s is not None:
        begun_s[0] = begun[-1]
    return np.where(condition, time_s - begun, 0.0)
