"""Causal trends of a signal: slope over a trailing span, flicker, longest hold."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

FloatArray = npt.NDArray[np.float64]


def trailing_slope(
    values: FloatArray, *, time_s: FloatArray, span_s: float, least_s: float = 5.0
) -> FloatArray:
    """Return the least-squares slope over the trailing span at every moment.

    Parameters
    ----------
    values : (time,)
        Any unit; NaN moments are left out.
    time_s : (time,)
    span_s : length of the trailing span. [s]
    least_s : a slope from a shorter stretch is withheld. [s]

    Returns
    -------
    (time,)
        Unit of ``values`` per second; NaN where withheld.

    Notes
    -----
    White noise sigma at rate f gives u(slope) = sigma sqrt(12 / (f span^3)): 0.1 K
    at 4 Hz over 10 s is 5 mK/s.

    References
    ----------
    Ordinary least squares on a uniform grid, textbook form.
    """
    return np.asarray(_slope(values, time_s, span_s, least_s))


@njit(cache=True)
def _slope(values: Any, time: Any, span: float, least: float) -> Any:
    out = np.full(values.size, np.nan)
    first = 0
    for t in range(values.size):
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
            out[t] = stv / stt
    return out


def flicker(
    values: FloatArray, *, time_s: FloatArray, span_s: float, cap: float = math.inf
) -> FloatArray:
    """Return the standard deviation of what second differences leave, over a trailing span.

    A second difference removes any steady or linear course, so what remains is
    noise or a flicker faster than the frame rate.

    Parameters
    ----------
    values : (time,)
    time_s : (time,)
    span_s : time constant of the trailing mean square. [s]
    cap : a second difference counts as no more than this, so that one step is not flicker.

    Returns
    -------
    (time,)
        Unit of ``values``; 0 for the first two moments.

    Notes
    -----
    For white noise of standard deviation s the result is s within about
    s / sqrt(frames in the span).

    References
    ----------
    var(x0 - 2 x1 + x2) = 6 s^2 for white noise.
    """
    return np.asarray(_flicker(values, time_s, span_s, cap))


@njit(cache=True)
def _flicker(values: Any, time: Any, span: float, cap: float) -> Any:
    out = np.zeros(values.size)
    square = 0.0
    for t in range(2, values.size):
        second = values[t] - 2.0 * values[t - 1] + values[t - 2]
        if math.isfinite(second):
            second = min(abs(second), cap)
            gain = 1.0 - math.exp(-(time[t] - time[t - 1]) / span)
            square += gain * (second * second / 6.0 - square)
        out[t] = math.sqrt(square)
    return out


def held_s(condition: npt.NDArray[np.bool_], *, time_s: FloatArray) -> FloatArray:
    """Return for how long a condition has held without a break, at every moment.

    Parameters
    ----------
    condition : (time,)
    time_s : (time,)

    Returns
    -------
    (time,)
        Seconds since it began to hold; 0 where it does not.

    Notes
    -----
    Exact; the first moment of a hold counts 0 s.

    References
    ----------
    Own definition.
    """
    rising = np.where(condition, -np.inf, time_s)
    begun = np.maximum.accumulate(rising)
    # Before the first break the hold began with the recording.
    begun = np.where(np.isneginf(begun), time_s[0], begun)
    return np.where(condition, time_s - begun, 0.0)
