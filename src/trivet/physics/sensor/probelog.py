"""What the probes of one log give away about one another: stuck, displaced, at odds, offset."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError, ProbeLogError

STUCK_MOVE_K, STUCK_S = 20.0, 120.0  # own estimate: a settled bath repeats a figure for a minute
FOLLOW_RISE_K = 15.0  # own estimate: a kitchen's air rises by 2 to 8 K over a cook
FOLLOW_SHARE, FOLLOW_CORRELATION = 0.3, 0.95  # own estimate: of a probe over the pan's edge
MIN_COMMON_MOMENTS = 5  # own estimate: fewer say nothing of two probes


@dataclass(frozen=True)
class Disagreement:
    """Two probes of one thing whose readings differ by more than their classes allow.

    ``first`` and ``second`` are the probes' places in the table that was given; difference (first
    minus second) and allowed half-width in kelvin.
    """

    first: int
    second: int
    difference_k: float
    allowed_k: float


def stuck_moments(readings_k: ArrayLike, *, time_s: ArrayLike) -> BoolArray:
    """Return at which moments a probe repeats one reading while the others move.

    readings_k : (time, probe) readings of one log; NaN in gaps [K]
    time_s : (time,) moments, increasing [s]
    Returns : (time, probe) true where a reading has been the same to the last digit for 120 s or
        more while the median of the other probes moved by 20 K or more
    Raises : ProbeLogError if the axes do not match
    Notes : A logger of 0.1 K shows one and the same figure for minutes in a settled bath; that is
        no fault, so the others must move. A probe at a boil beside one in a warming plate would be
        blamed if its logger counted whole kelvin: at 0.1 K a boil's bubbling moves the last digit
        within a minute or two. A room's probe may rest and is not to be asked. With one probe
        nothing is ever called stuck.
    Source : Common practice of logging, no source; the bounds are ours
    """
    readings = np.asarray(readings_k, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64)
    if readings.ndim != 2 or readings.shape[0] != time.size:
        raise ProbeLogError(f"readings {readings.shape} and moments {time.shape} do not match")
    stuck = np.zeros(readings.shape, dtype=np.bool_)
    for at in range(readings.shape[1] if readings.shape[1] > 1 else 0):
        others = np.delete(readings, at, axis=1)
        whole = np.isfinite(others).any(axis=1)
        middle = np.full(time.size, np.nan)
        middle[whole] = np.nanmedian(others[whole], axis=1)
        column = readings[:, at]
        edges = np.flatnonzero(np.concatenate([[True], column[1:] != column[:-1], [True]]))
        for first, last in pairwise(edges):
            part = middle[first:last][np.isfinite(middle[first:last])]
            held = time[last - 1] - time[first]
            if held >= STUCK_S and part.size and np.ptp(part) >= STUCK_MOVE_K:
                stuck[first:last, at] = True
    return stuck & np.isfinite(readings)


def follows(reading_k: ArrayLike, *, other_k: ArrayLike) -> bool:
    """Return whether a probe that should stay at the room's temperature follows a heated one.

    reading_k : (time,) readings of the room's probe [K]
    other_k : (time,) readings of a heated thing at the same moments [K]
    Returns : true where it rises by 15 K or more, by 30 % or more of the other's rise, and goes
        with it (correlation 0.95 or more)
    Raises : ProbeLogError if the axes do not match
    Notes : A kitchen's air rises by 2 to 8 K over a cook, a probe over the pan's edge by 20 K and
        more. The room's reading enters the attachment's uncertainty, and a displaced probe would
        make a bad one look good: 50 K of error in the air is 0.25 to 7.5 K of it at the contact.
    Source : Common practice, no source; the bounds are ours
    """
    own, other = np.asarray(reading_k, dtype=np.float64), np.asarray(other_k, dtype=np.float64)
    if own.shape != other.shape or own.ndim != 1:
        raise ProbeLogError(f"readings {own.shape} and {other.shape} must match, (time,)")
    both = np.isfinite(own) & np.isfinite(other)
    if np.count_nonzero(both) < MIN_COMMON_MOMENTS:
        return False
    own, other = own[both], other[both]
    rise, least = float(np.ptp(own)), max(FOLLOW_RISE_K, FOLLOW_SHARE * float(np.ptp(other)))
    return bool(rise >= least and np.corrcoef(own, other)[0, 1] >= FOLLOW_CORRELATION)


def disagreements(readings_k: ArrayLike, *, u_k: ArrayLike) -> tuple[Disagreement, ...]:
    """Return which probes of one thing contradict one another, and by how much.

    readings_k : (time, probe) corrected readings of probes that touch the same thing [K]
    u_k : (time, probe) standard uncertainty of each as a rectangle's, wire class, logger and
        attachment included [K]
    Returns : each pair whose median difference over the common moments
        exceeds the sum of both half-widths, sqrt(3) (u_1 + u_2)
    Raises : ProbeLogError if the axes do not match; OutOfRangeError if an uncertainty is not
        positive
    Notes : Half-widths are added, not their squares: two probes that are both within their classes
        never differ by more, so a probe within its class is never refused. Two of class 1, type K,
        immersed in water at 100 C (u 0.9 K each) may differ by 3.1 K. Which of two is wrong cannot
        be told; a third can.
    Source : Limits of error as hard bounds: IEC 60584-1, through the stated uncertainties; JCGM
        100:2008, 4.3.7 for half-width and standard uncertainty
    """
    readings, u = np.asarray(readings_k, dtype=np.float64), np.asarray(u_k, dtype=np.float64)
    if readings.ndim != 2 or readings.shape != u.shape:
        raise ProbeLogError(f"readings {readings.shape} and uncertainties {u.shape} must match")
    if np.any(u <= 0.0):
        raise OutOfRangeError("probes: every standard uncertainty must be above 0")
    found = []
    for first in range(readings.shape[1]):
        for second in range(first + 1, readings.shape[1]):
            apart = readings[:, first] - readings[:, second]
            allowed = np.sqrt(3.0) * (u[:, first] + u[:, second])
            both = np.isfinite(apart) & np.isfinite(allowed)
            if np.count_nonzero(both) < MIN_COMMON_MOMENTS:
                continue
            middle = float(np.median(apart[both]))
            bound = float(np.median(allowed[both]))
            if abs(middle) > bound:
                found.append(Disagreement(first, second, middle, bound))
    return tuple(found)


def blamed_probes(found: tuple[Disagreement, ...], *, n: int) -> tuple[int, ...]:
    """Return which probes the disagreements leave without trust.

    found : of one group of probes
    n : probes in the group
    Returns : the probe that contradicts more than half of the others, where those
        agree among themselves; otherwise every probe that is part of a disagreement
    Notes : Two probes that disagree are both left out; of three of which one is off, one.
    Source : Majority of three, common practice, no source
    """
    against = [sum(at in (one.first, one.second) for one in found) for at in range(n)]
    lone = [at for at in range(n) if 2 * against[at] > n - 1 and n > 2]
    rest = [one for one in found if not {one.first, one.second} & set(lone)]
    if lone and not rest and 2 * len(lone) < n:
        return tuple(lone)
    return tuple(at for at in range(n) if against[at])


@dataclass(frozen=True)
class ChannelOffsets:
    """What each channel reads over the mean of all, at each settled plateau.

    plateau_k : (plateau,) mean temperature of each plateau, rising [K]
    offset_k : (plateau, probe) channel minus mean of all channels [K]
    u_k : (plateau, probe) standard uncertainty of the offset, the mean of all taken as right [K]
    span_s : (plateau, 2) first and last moment of each plateau [s]
    """

    plateau_k: FloatArray
    offset_k: FloatArray
    u_k: FloatArray
    span_s: FloatArray


def common_temperature_offsets(
    readings_k: ArrayLike,
    *,
    time_s: ArrayLike,
    max_rate_kps: float = 0.005,
    min_plateau_s: float = 60.0,
) -> ChannelOffsets:
    """Return channel offsets from the settled parts of a common-temperature run.

    readings_k : (time, probe) readings of all probes in one well-stirred bath or block [K]
    time_s : (time,) moments, increasing [s]
    max_rate_kps : fastest change of the mean that counts as settled [K/s]
    min_plateau_s : shortest settled part to use [s]
    Returns : one row a plateau; plateaus within 2 K of each other are joined
    Raises : ProbeLogError if the axes do not match or time does not increase; NotEnoughDataError if
        there are under two probes or no settled part
    Notes : Only settled parts count: while a bath heats at 0.03 K/s its probes differ by their lag
        and place, which can be twice the offsets looked for. The mean of n channels of one class is
        itself uncertain by tolerance / sqrt(3 n) if their errors are independent; that part is
        common to all and not removed. The uncertainty is the scatter of the deviation over the
        plateau, not that over sqrt(n): the readings of a settling bath are not independent.
    Source : Comparison in a common bath, as in any guide to thermocouple calibration
    """
    readings = np.asarray(readings_k, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64)
    if readings.ndim != 2 or time.shape != readings.shape[:1]:
        raise ProbeLogError(f"readings {readings.shape} and moments {time.shape} do not match")
    if np.any(~(np.diff(time) > 0.0)):
        raise ProbeLogError("the moments of a common-temperature run must increase")
    if readings.shape[1] < 2:
        raise NotEnoughDataError("one probe has no other to be compared with; two are needed")
    mean = np.mean(readings, axis=1)
    spans = _settled(mean, time, max_rate_kps, min_plateau_s)
    if not spans:
        raise NotEnoughDataError(
            f"no settled part of {min_plateau_s:g} s under {max_rate_kps:g} K/s: the probes never "
            "had a common temperature. Hold the bath steady, with stirring, at two temperatures."
        )
    groups = _joined(spans, mean)
    rows = [np.concatenate([np.arange(a, b) for a, b in group]) for group in groups]
    deviation = readings - mean[:, None]
    return ChannelOffsets(
        plateau_k=np.array([np.mean(mean[row]) for row in rows]),
        offset_k=np.array([np.mean(deviation[row], axis=0) for row in rows]),
        u_k=np.array([np.std(deviation[row], axis=0, ddof=1) for row in rows]),
        span_s=np.array([[time[row[0]], time[row[-1]]] for row in rows]),
    )


def offset_at_k(
    temperature_k: ArrayLike, *, offsets: ChannelOffsets, probe: int
) -> tuple[FloatArray, FloatArray]:
    """Return a channel's offset and its standard uncertainty at a temperature.

    temperature_k : (...) reading of the channel [K]
    offsets : from :func:`common_temperature_offsets`
    probe : index of the channel
    Returns : (...), (...) offset to subtract from the reading [K]; standard uncertainty [K]
    Notes : A straight line between plateaus, the nearest plateau beyond them. What was not measured
        is paid for: between plateaus and beyond, half the change from plateau to plateau (or, with
        one plateau, 0.2 % of the distance from it) is added as the half-width of a rectangle.
    Source : JCGM 100:2008, 4.3.7 (a half-width read as a rectangle); the rule for it is ours
    """
    wanted = np.asarray(temperature_k, dtype=np.float64)
    value = np.interp(wanted, offsets.plateau_k, offsets.offset_k[:, probe])
    measured = np.interp(wanted, offsets.plateau_k, offsets.u_k[:, probe])
    away = np.min(np.abs(wanted[..., None] - offsets.plateau_k), axis=-1)
    if offsets.plateau_k.size == 1:
        half = 0.002 * away
    else:
        reach = np.ptp(offsets.plateau_k)
        change = np.ptp(offsets.offset_k[:, probe])
        half = 0.5 * change * np.minimum(away / (0.5 * reach), 2.0)
    blank = np.where(np.isfinite(wanted), 0.0, np.nan)
    return value + blank, np.hypot(measured, half / np.sqrt(3.0)) + blank


def _settled(
    mean: FloatArray, time: FloatArray, max_rate: float, min_span: float
) -> list[tuple[int, int]]:
    """Index ranges over which the mean stays within max_rate, its noise smoothed."""
    count = max(3, int(min_span / 4.0 / float(np.median(np.diff(time)))) | 1)
    half = count // 2
    calm = np.zeros(mean.size, dtype=bool)
    for at in range(mean.size):
        part = slice(max(at - half, 0), at + half + 1)
        moments = time[part] - np.mean(time[part])
        rate = np.sum(moments * mean[part]) / np.sum(moments**2)
        calm[at] = abs(rate) <= max_rate
    edges = np.flatnonzero(np.diff(np.concatenate([[0], calm.astype(int), [0]])))
    runs = [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    return [(a, b) for a, b in runs if b - a >= 3 and time[b - 1] - time[a] >= min_span]


def _joined(spans: list[tuple[int, int]], mean: FloatArray) -> list[list[tuple[int, int]]]:
    ordered = sorted(spans, key=lambda span: float(np.mean(mean[slice(*span)])))
    groups: list[list[tuple[int, int]]] = []
    for span in ordered:
        level = float(np.mean(mean[slice(*span)]))
        if groups and level - float(np.mean(mean[slice(*groups[-1][-1])])) < 2.0:
            groups[-1].append(span)
        else:
            groups.append([span])
    return [sorted(group) for group in groups]
