"""Read a pan's pixels frame by frame: what is open, what is covered, how hot, how even."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

from trivet.kernels.image.panfinder import BurnerRegion, PanTrack

FloatArray = npt.NDArray[np.float64]

COLUMNS = (
    "pixels",
    "open_pixels",
    "saturated",
    "dead",
    "mean_k",
    "p5_k",
    "p95_k",
    "hottest_k",
    "covered_frac",
    "new_covered_frac",
    "covered_k",
    "whole_k",
)


@dataclass(frozen=True)
class PanPixels:
    """Statistics of the pan's pixels; arrays (time,), in apparent temperature.

    ``pixels`` inside the trimmed rim, of them ``open_pixels`` not covered by food
    or a hand; ``saturated`` and ``dead`` counts; mean, 5th and 95th percentile of
    the open ones; ``hottest_k`` over about 5 cm2; the covered share, the share
    covered for less than 2.5 s, the mean of the covered ones, and of all.
    """

    pixels: FloatArray
    open_pixels: FloatArray
    saturated: FloatArray
    dead: FloatArray
    mean_k: FloatArray
    p5_k: FloatArray
    p95_k: FloatArray
    hottest_k: FloatArray
    covered_frac: FloatArray
    new_covered_frac: FloatArray
    covered_k: FloatArray
    whole_k: FloatArray
    covered: npt.NDArray[np.bool_]
    """(time, pixel) under food or a hand."""


@dataclass(frozen=True)
class ReadingRule:
    """Constants of the reading."""

    trim_m: float
    """Distance from the rim within which pixels mix with what lies outside. [m]"""
    hottest_m2: float = 5e-4
    drop_k: float = 15.0
    """A pixel that falls by more than this within about 2 s has been covered. [K]"""
    sees_food: bool = True
    """False for liquids, whose surface moves."""


def read_pixels(
    scene_k: FloatArray,
    *,
    track: PanTrack,
    time_s: FloatArray,
    region: BurnerRegion,
    rule: ReadingRule,
) -> PanPixels:
    """Return the statistics of the pan's pixels for every frame, causally.

    A pixel counts where its centre lies inside the rim by ``trim_m``. It is
    covered from the moment it falls by ``drop_k`` faster than a pan can cool
    (5 K/s; bare pans on a dead burner cool below 2 K/s) until it has regained
    three quarters of the fall or comes within ``drop_k`` of the open ones.

    Parameters
    ----------
    scene_k : (time, pixel)
        Apparent temperature before the window; NaN dead, +inf saturated. [K]
    track : PanTrack
    time_s : (time,)
    region : BurnerRegion
    rule : ReadingRule

    Returns
    -------
    PanPixels

    Notes
    -----
    Percentiles are of order statistics, without interpolation; with fewer than
    20 open pixels P5 and P95 are the extremes.

    References
    ----------
    Cooling rate: 30 W/m2/K of loss at 250 K excess over 4 kJ/m2/K of a light pan
    is 1.9 K/s (own estimate).
    """
    covered = np.zeros(scene_k.shape, dtype=np.bool_)
    table = _read(
        scene_k,
        (track.x_m, track.y_m, track.radius_m),
        time_s,
        (region.x_m, region.y_m, region.pitch_m),
        (rule.trim_m, rule.hottest_m2, rule.drop_k, rule.sees_food),
        covered,
    )
    columns = {name: table[:, k] for k, name in enumerate(COLUMNS)}
    return PanPixels(**columns, covered=covered)


@njit(cache=True)
def _read(scene: Any, track: Any, time: Any, place: Any, rule: Any, mask: Any) -> Any:  # noqa: PLR0917
    frames, pixels = scene.shape
    table = np.zeros((frames, 12))
    table[:, 4:8] = np.nan
    table[:, 10:12] = np.nan
    peak = np.full(pixels, -np.inf)
    before, since = np.zeros(pixels), np.full(pixels, np.nan)
    for t in range(frames):
        step = time[t] - time[t - 1] if t else 0.0
        _cover(scene[t], peak, before, since, (time[t], step, rule[2], rule[3]))
        if not math.isnan(track[2][t]):
            _row(
                scene[t],
                since,
                (track[0][t], track[1][t], track[2][t], time[t]),
                (place, rule),
                table[t],
            )
            _uncover(scene[t], since, table[t, 4] - rule[2])
        for p in range(pixels):
            mask[t, p] = not math.isnan(since[p])
    return table


@njit(cache=True)
def _cover(frame: Any, peak: Any, before: Any, since: Any, now: Any) -> None:
    time, step, drop, sees_food = now
    for p in range(frame.size):
        value = frame[p]
        if math.isnan(value):
            continue
        if not math.isnan(since[p]):
            if value > before[p] - 0.25 * drop:
                since[p] = np.nan
                peak[p] = value
            continue
        peak[p] = max(value, peak[p] - 5.0 * step)
        if sees_food and value < peak[p] - drop:
            since[p] = time
            before[p] = peak[p]


@njit(cache=True)
def _uncover(frame: Any, since: Any, level: float) -> None:
    if math.isnan(level):
        return
    for p in range(frame.size):
        if not math.isnan(since[p]) and frame[p] > level:
            since[p] = np.nan


@njit(cache=True)
def _row(frame: Any, since: Any, pan: Any, fixed: Any, out: Any) -> None:
    (x, y, pitch), rule = fixed
    cx, cy, radius, time = pan
    inner, outer = radius - rule[0], radius - 0.5 * pitch
    values, wide = np.empty(x.size), np.empty(x.size)
    count, wide_count, covered, fresh, cold, whole = 0, 0, 0, 0, 0.0, 0.0
    for p in range(x.size):
        distance = math.hypot(x[p] - cx, y[p] - cy)
        if distance > outer and distance > inner:
            continue
        value, hidden = frame[p], not math.isnan(since[p])
        if math.isnan(value):
            out[3] += 1.0
            continue
        if value == np.inf:
            out[2] += 1.0
        if not hidden:
            wide[wide_count] = value
            wide_count += 1
        if distance > inner:
            continue
        out[0] += 1.0
        whole += value
        if hidden:
            covered += 1
            cold += value
            fresh += 1 if time - since[p] < 2.5 else 0
        elif math.isfinite(value):
            values[count] = value
            count += 1
    out[1] = count
    if out[0] > 0:
        out[8], out[9] = covered / out[0], fresh / out[0]
        out[11] = whole / out[0]
    if covered:
        out[10] = cold / covered
    if count:
        ordered = np.sort(values[:count])
        out[4] = np.mean(ordered)
        out[5] = ordered[int(0.05 * count)]
        out[6] = ordered[min(math.ceil(0.95 * count), count) - 1]
    if wide_count:
        top = np.sort(wide[:wide_count])
        take = min(wide_count, max(1, round(rule[1] / (pitch * pitch))))
        out[7] = np.mean(top[wide_count - take :])
