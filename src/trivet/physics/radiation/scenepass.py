"""Frames to the scene before the window: temperature and radiance of every pixel.

Planck's series are cut to what readings need and turned into polynomials for compiled loops.
"""

from __future__ import annotations

import math
from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.polynomial import chebyshev

from trivet.arrays import Float32Array, FloatArray
from trivet.physics.compiled import family
from trivet.physics.radiation.planck import Band, ChebyshevSeries, band_radiance

compiled = family(Path(__file__), contract=True)

SERIES_LANES = 64  # own estimate: values abreast; always all, so that each lane is the same code
POWERS = 24  # own estimate: of every polynomial, a fixed number, so that they stay in registers


class ShortSeries(NamedTuple):
    """A polynomial in x = (value - centre) / half on [low, high], lowest power first."""

    low: float
    high: float
    powers: tuple[float, ...]


class BandSeries(NamedTuple):
    """The three series of a band: root of radiance, its slope, temperature of a root."""

    forward: ShortSeries
    slope: ShortSeries
    inverse: ShortSeries


@lru_cache(maxsize=64)
def band_series(band: Band) -> BandSeries:
    """Return the shortened series of a band.

    Notes : Within 1e-8 K of the full series from -40 to 600 C for bands between 5 and 15 um
        (tests/physics).
    Source : :mod:`trivet.physics.radiation.planck`
    """
    return BandSeries(_short(band.forward), _short(band.slope), _short(band.inverse))


def _short(series: ChebyshevSeries) -> ShortSeries:
    powers = np.zeros(POWERS)
    kept = chebyshev.cheb2poly(series.coefficients[:POWERS])
    powers[: kept.size] = kept
    return ShortSeries(series.low, series.high, tuple(powers.tolist()))


@compiled
def evaluate_lanes(value: Any, series: Any, out: Any) -> None:
    """Fill ``out`` with a series at SERIES_LANES values; NaN outside its interval."""
    low, high, a = series
    centre, scale = 0.5 * (low + high), 2.0 / (high - low)
    for i in range(SERIES_LANES):
        x = (value[i] - centre) * scale
        y = ((((a[23] * x + a[22]) * x + a[21]) * x + a[20]) * x + a[19]) * x + a[18]
        y = (((((y * x + a[17]) * x + a[16]) * x + a[15]) * x + a[14]) * x + a[13]) * x + a[12]
        y = (((((y * x + a[11]) * x + a[10]) * x + a[9]) * x + a[8]) * x + a[7]) * x + a[6]
        y = (((((y * x + a[5]) * x + a[4]) * x + a[3]) * x + a[2]) * x + a[1]) * x + a[0]
        out[i] = y if low <= value[i] <= high else np.nan


class SceneFrames(NamedTuple):
    """The scene of some frames.

    temperature_k : (time, pixel) apparent, before the window [K]; NaN dead, +inf saturated
    radiance : (time, pixel) [W/m2/sr]; NaN where the temperature is not finite
    """

    temperature_k: FloatArray
    radiance: FloatArray


def empty_scene(frames: int, pixels: int) -> SceneFrames:
    """Return room for the scene of some frames.

    frames, pixels : size of the block
    Returns : not filled
    Notes : 16 bytes a pixel and frame.
    """
    return SceneFrames(np.empty((frames, pixels)), np.empty((frames, pixels)))


def fill_scene(
    apparent_k: Float32Array,
    *,
    offset_k: FloatArray,
    window_k: FloatArray,
    transmittance: float,
    band: Band,
    out: SceneFrames,
) -> SceneFrames:
    """Take offset and window off frames; return the filled part of ``out``.

    Solves L(apparent - offset) = tau L_scene + (1 - tau) L(T_window) for the scene.

    apparent_k : (time, pixel), float32 readings as the head gives them [K]
    offset_k, window_k : (time,) offset of the readings; temperature of the window [K]
    transmittance : of the window in the band
    out : room for at least as many frames
    Returns : views of ``out``
    Notes : About 8 ns a pixel on one core; within 1e-8 K of the full series. An error of 0.01 in
        tau of 0.85 is 1.2 % of the difference of the radiances of scene and window.
    Source : Radiometric equation of a window; see docs/reading.md
    """
    frames = apparent_k.shape[0]
    part = SceneFrames(out.temperature_k[:frames], out.radiance[:frames])
    own = (1 - transmittance) * np.atleast_1d(band_radiance(window_k, band=band))
    _fill(apparent_k, (offset_k, own), transmittance, band_series(band), part)
    return part


@compiled
def _fill(apparent: Any, moments: Any, tau: float, series: Any, out: Any) -> None:
    offset, own = moments
    value, root = np.empty(SERIES_LANES), np.empty(SERIES_LANES)
    radiance, scene = np.empty(SERIES_LANES), np.empty(SERIES_LANES)
    pixels = apparent.shape[1]
    for t in range(apparent.shape[0]):
        for start in range(0, pixels, SERIES_LANES):
            count = min(SERIES_LANES, pixels - start)
            value[:] = 300.0
            for i in range(count):
                value[i] = np.float64(apparent[t, start + i]) - offset[t]
            evaluate_lanes(value, series.forward, root)
            for i in range(SERIES_LANES):
                square = root[i] * root[i]
                radiance[i] = (square * square - own[t]) / tau
                root[i] = np.sqrt(np.sqrt(radiance[i]))
            evaluate_lanes(root, series.inverse, scene)
            for i in range(count):
                given = math.isfinite(value[i])
                out.temperature_k[t, start + i] = scene[i] if given else value[i]
                seen = math.isfinite(scene[i])
                out.radiance[t, start + i] = radiance[i] if seen else np.nan
