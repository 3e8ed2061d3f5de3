"""Two clocks that saw the same cook, and a reading that comes late.

A probe logger and a camera rarely share a clock. At 3 K/s one second between them is three kelvin
of false error, so the offset is measured: from events that both saw (a lid clap, a shutter), or
from the shape of two signals. A reading's lag shows in the error that it makes while its rate
changes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError, RecordingError

FEATURE_CORRELATION = 0.6  # under this the two slopes do not show the same thing
RIVAL_SHARE = 0.95  # a second peak this close to the first leaves the answer open


@dataclass(frozen=True)
class ClockFit:
    """How the other clock runs against the reference clock.

    ``reference = other + offset_s + drift_frac * (other - pivot_s)``.

    offset_s : offset at the pivot [s]
    drift_frac : seconds gained a second; 0 where it was not fitted
    pivot_s : moment on the other clock at which offset and drift are uncorrelated [s]
    covariance : (2, 2) of offset and drift [s2, s, 1]
    residual_s : (event,) what each event is left off by [s]
    """

    offset_s: float
    drift_frac: float
    pivot_s: float
    covariance: FloatArray
    residual_s: FloatArray


@dataclass(frozen=True)
class CorrelationFit:
    """Offset at which two signals match best.

    offset_s : add to the other clock to get the reference clock; it holds the sum of the clocks'
        offset and the difference of the two sensors' lags [s]
    sigma_s : standard uncertainty from the width of the peak and what is left [s]
    correlation : height of the peak, 0 to 1
    rival : height of the next peak as a share of the first
    """

    offset_s: float
    sigma_s: float
    correlation: float
    rival: float


def clock_from_events(
    reference_s: ArrayLike, *, other_s: ArrayLike, sigma_s: float, with_drift: bool = True
) -> ClockFit:
    """Return offset and drift of a clock from events that both clocks saw.

    reference_s : (event,) moments on the reference clock [s]
    other_s : (event,) the same events on the other clock, in the same order [s]
    sigma_s : standard uncertainty of the difference of one pair: with frames every dt, at least dt
        / sqrt(12) [s]
    with_drift : fit the drift too; needs three events, spread in time
    Returns : least-squares offset and drift with their covariance
    Raises : NotEnoughDataError if there are too few events for what is asked, or they fall
        together; RecordingError if the moments do not match one to one, or one pair contradicts the
        rest by more than 5 sigma: a wrong pairing or a clock that jumped
    Notes : With n events over a span S the offset is known to sigma / sqrt(n) and the drift to
        about sigma * sqrt(12 / n) / S: four events of 0.1 s over 20 min give 0.05 s and 1.4e-4, the
        size of a poor crystal's drift. Two events give an offset without a check of it.
    Source : Weighted straight-line fit, any text on least squares
    """
    reference = np.asarray(reference_s, dtype=np.float64)
    other = np.asarray(other_s, dtype=np.float64)
    _check_events(reference, other, sigma_s=sigma_s, least=3 if with_drift else 1)
    pivot = float(np.mean(other))
    away = other - pivot
    spread = float(np.sum(away**2))
    difference = reference - other
    offset = float(np.mean(difference))
    drift = float(np.sum(away * difference) / spread) if with_drift else 0.0
    residual = difference - offset - drift * away
    worst = int(np.argmax(np.abs(residual)))
    if abs(residual[worst]) > 5.0 * sigma_s:
        raise RecordingError(
            f"event {worst + 1} of {other.size} (other clock {other[worst]:.3f} s) is "
            f"{residual[worst]:+.3f} s off the line through the rest, over 5 x {sigma_s:g} s. "
            "Either the events are paired wrongly or a clock jumped; leave it out or split the "
            "recording there."
        )
    variance = sigma_s**2
    slope_variance = variance / spread if with_drift else 0.0
    return ClockFit(
        offset_s=offset,
        drift_frac=drift,
        pivot_s=pivot,
        covariance=np.diag([variance / other.size, slope_variance]),
        residual_s=residual,
    )


def clock_offset_by_correlation(
    reference: ArrayLike,
    *,
    reference_time_s: ArrayLike,
    other: ArrayLike,
    other_time_s: ArrayLike,
    max_offset_s: float,
    step_s: float = 0.5,
) -> CorrelationFit:
    """Return the clock offset at which two signals of the same event match best.

    reference, other : (n,), (m,) signals that rise and fall together, in any units
    reference_time_s, other_time_s : (n,), (m,) their moments, each on its own clock, increasing [s]
    max_offset_s : largest offset to consider [s]
    step_s : grid on which the slopes are compared [s]
    Returns : offset, its uncertainty, and how clear the peak is
    Raises : NotEnoughDataError if the overlap is under ten steps, the signals have no feature (a
        steady ramp matches itself at any offset), the peak is under 0.6, lies at the end of the
        search, or a second peak comes within 5 % of it; RecordingError if a time axis does not
        increase or does not match its signal
    Notes : Correlation sees only the sum of clock offset and the difference of the sensors' lags: a
        bead of 1.5 s seems 1.5 s late by the clock. Take the lag out first
        (:func:`trivet.physics.sensor.probes.lag_corrected_k`) or use sharp events instead.
        On a step seen every 0.5 s in noise of 1 % the offset is good to about 0.1 s.
    Source : Normalised cross-correlation of slopes with a parabola through the peak
    """
    first = _slope_on_grid(reference, reference_time_s, step_s)
    second = _slope_on_grid(other, other_time_s, step_s)
    lags, heights = _correlation(first, second, max_offset_s, step_s)
    best = int(np.argmax(heights))
    _refuse_unclear(lags, heights, best, step_s)
    before, peak, after = heights[best - 1 : best + 2]
    curvature = before - 2.0 * peak + after
    shift = 0.5 * (before - after) / curvature if curvature < 0.0 else 0.0
    width = np.sqrt(-peak / curvature) * step_s if curvature < 0.0 else step_s
    left_over = np.sqrt(max(1.0 - peak**2, 0.0) / max(second[1].size, 1))
    grid_sigma = step_s / np.sqrt(12.0) / 2.0
    return CorrelationFit(
        offset_s=float(lags[best] + shift * step_s),
        sigma_s=float(np.hypot(width * left_over / max(peak, 1e-9), grid_sigma)),
        correlation=float(peak),
        rival=_rival(heights, best),
    )


def _check_events(reference: FloatArray, other: FloatArray, *, sigma_s: float, least: int) -> None:
    if reference.shape != other.shape or reference.ndim != 1:
        raise RecordingError(
            f"{reference.size} events on the reference clock and {other.size} on the other; "
            "give each event on both clocks, in the same order"
        )
    if sigma_s <= 0.0:
        raise RecordingError(f"uncertainty of an event {sigma_s} s; allowed: above 0")
    if reference.size < least:
        raise NotEnoughDataError(
            f"{reference.size} shared events; {least} are needed"
            + (" to fit offset and drift with a check" if least > 1 else "")
        )
    if least > 1 and np.ptp(other) < 20.0 * sigma_s:
        raise NotEnoughDataError(
            f"the shared events span {np.ptp(other):.2f} s, under 20 x {sigma_s:g} s; "
            "a drift cannot be told from them: spread them over the cook or fit the offset alone"
        )


def _slope_on_grid(
    signal: ArrayLike, time: ArrayLike, step: float
) -> tuple[FloatArray, FloatArray]:
    """Moments of a regular grid and the signal's slope there, per step."""
    values = np.asarray(signal, dtype=np.float64)
    moments = np.asarray(time, dtype=np.float64)
    if values.shape != moments.shape or values.ndim != 1:
        raise RecordingError(f"signal {values.shape} and moments {moments.shape} must match, (n,)")
    if np.any(~(np.diff(moments) > 0.0)):
        raise RecordingError("the signal's moments must increase from one to the next")
    good = np.isfinite(values)
    if np.count_nonzero(good) < 10:
        raise NotEnoughDataError("under ten readings: nothing to correlate")
    start = np.ceil(moments[good][0] / step) * step
    grid = np.arange(start, moments[good][-1], step)
    resampled = np.interp(grid, moments[good], values[good])
    return grid[1:-1], 0.5 * (resampled[2:] - resampled[:-2])


def _correlation(
    first: tuple[FloatArray, FloatArray],
    second: tuple[FloatArray, FloatArray],
    reach: float,
    step: float,
) -> tuple[FloatArray, FloatArray]:
    """Correlation of the slopes for each whole-step offset within reach."""
    shift = round((first[0][0] - second[0][0]) / step)
    most = int(reach / step)
    lags, heights = [], []
    for lag in range(-most, most + 1):
        begin = shift - lag  # where the first grid starts within the second
        low, high = max(begin, 0), min(begin + first[1].size, second[1].size)
        if high - low < max(10, min(first[1].size, second[1].size) // 2):
            continue
        one, two = first[1][low - begin : high - begin], second[1][low:high]
        scale = float(np.std(one) * np.std(two))
        joint = float(np.mean((one - np.mean(one)) * (two - np.mean(two))))
        quiet = scale <= 1e-9 * float(np.mean(np.abs(one)) * np.mean(np.abs(two)) + 1e-12)
        heights.append(0.0 if quiet else joint / scale)
        lags.append(lag * step)
    if len(lags) < 3:
        raise NotEnoughDataError(
            "the two signals overlap by under half of the shorter one at nearly every offset; "
            "check the clocks or search a smaller range"
        )
    return np.array(lags), np.array(heights)


def _refuse_unclear(lags: FloatArray, heights: FloatArray, best: int, step: float) -> None:
    if heights[best] < FEATURE_CORRELATION:
        raise NotEnoughDataError(
            f"best correlation {heights[best]:.2f}, under {FEATURE_CORRELATION}: the signals share "
            "no feature. Use shared events, or a part of the cook where the heat changes."
        )
    flat = np.count_nonzero(heights > RIVAL_SHARE * heights[best])
    rival = _rival(heights, best)
    if rival > RIVAL_SHARE:
        raise NotEnoughDataError(
            f"a second peak reaches {rival:.0%} of the first: a repeating signal fits several "
            f"offsets. Use shared events or search closer to {lags[best]:+.1f} s."
        )
    if best in (0, heights.size - 1):
        raise NotEnoughDataError(
            f"the best match lies at the end of the search ({lags[best]:+.1f} s); widen it"
        )
    if flat > max(0.3 * heights.size, 5):
        raise NotEnoughDataError(
            f"the match is as good within {flat * step:.0f} s: no feature sharp enough to time"
        )


def _rival(heights: FloatArray, best: int) -> float:
    """Height of the best local peak other than the first, as a share of it."""
    inner = heights[1:-1]
    peaks = np.flatnonzero((inner > heights[:-2]) & (inner >= heights[2:])) + 1
    peaks = peaks[peaks != best]
    outside = []
    for peak in peaks:
        valley = np.min(heights[min(peak, best) : max(peak, best) + 1])
        if valley < 0.9 * heights[peak]:
            outside.append(heights[peak])
    return float(max(outside, default=0.0) / heights[best])


LAG_GRID_S, MIN_LAG_STEPS = 1.0, 20  # own estimate: under 20 s of readings tell no lag
MIN_CHANGE_KPS = 0.05  # own estimate: rms of the rate beyond what goes with the temperature
MAX_LAG_U_S = 1.0  # own estimate: a lag known no better than this is none


class ReadingLag(NamedTuple):
    """How late a reading is."""

    lag_s: float
    """Positive: it comes later. [s]"""
    u_s: float
    """Standard uncertainty. [s]"""


def reading_lag(reading: FloatArray, *, reference: FloatArray, time_s: FloatArray) -> ReadingLag:
    """Return by how much a reading follows what was so.

    Least squares of error = a + b reference - lag rate: an offset and an error in proportion to the
    temperature are taken out first, so that only what goes with a *change* of the rate counts.

    reading, reference : (time,) what was said and what was so, without gaps [K]
    time_s : (time,) rising [s]
    Returns : lag and its standard uncertainty, residuals taken as an AR(1) process [s]
    Raises : NotEnoughDataError under 20 s, or where the lag is uncertain by more than 1 s: a steady
        ramp or a constant tells nothing
    Notes : Exact for a pure delay that is short against the changes of the rate: 2 s late on a pan
        that goes from 2 K/s to none within 10 s is found as 2.0 s. Two seconds of rounding of the
        probe's rate take 5 % off.
    Source : Least squares (Frisch-Waugh), textbook form; own derivation (first order of reference(t
        - lag))
    """
    if time_s.size < 2 or time_s[-1] - time_s[0] < MIN_LAG_STEPS * LAG_GRID_S:
        raise NotEnoughDataError("under 20 s of readings: no lag can be told")
    grid = np.arange(time_s[0], time_s[-1], LAG_GRID_S)
    said, truth = (np.interp(grid, time_s, one) for one in (reading, reference))
    rate = np.gradient(truth, LAG_GRID_S)
    known = np.stack([np.ones(grid.size), truth - truth.mean()], axis=1)
    change, error = (one - known @ np.linalg.pinv(known) @ one for one in (rate, said - truth))
    if np.sqrt(np.mean(change**2)) < MIN_CHANGE_KPS:
        raise NotEnoughDataError("the rate does not change by itself: no lag can be told")
    lag_s = -float(change @ error / (change @ change))
    left = error + lag_s * change
    follows = float(np.clip(left[1:] @ left[:-1] / max(left @ left, 1e-30), 0.0, 0.98))
    variance = left @ left / (grid.size - 3) * (1.0 + follows) / (1.0 - follows)
    u_s = float(np.sqrt(variance / (change @ change)))
    if not u_s <= MAX_LAG_U_S:
        raise NotEnoughDataError(f"the lag is uncertain by {u_s:.1f} s: the rate hardly changes")
    return ReadingLag(lag_s, u_s)
