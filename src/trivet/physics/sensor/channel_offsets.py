"""Offsets of a logger's channels, from a time when all its probes had one temperature."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError, ProbeLogError


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
