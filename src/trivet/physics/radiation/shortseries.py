"""Planck's series cut to what readings need, as polynomials for compiled loops."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.polynomial import chebyshev

from trivet.physics.compiled import family
from trivet.physics.radiation.planck import Band
from trivet.physics.radiation.series import Series

compiled = family(Path(__file__), contract=True)

LANES = 64
"""Values worked on abreast; always all of them, so that each lane is the same code."""
POWERS = 24
"""Powers of every polynomial: a fixed number, so that they stay in registers."""


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


def _short(series: Series) -> ShortSeries:
    powers = np.zeros(POWERS)
    kept = chebyshev.cheb2poly(series.coefficients[:POWERS])
    powers[: kept.size] = kept
    return ShortSeries(series.low, series.high, tuple(powers.tolist()))


@compiled
def evaluate_lanes(value: Any, series: Any, out: Any) -> None:
    """Fill ``out`` with a series at LANES values; NaN outside its interval."""
    low, high, a = series
    centre, scale = 0.5 * (low + high), 2.0 / (high - low)
    for i in range(LANES):
        x = (value[i] - centre) * scale
        y = ((((a[23] * x + a[22]) * x + a[21]) * x + a[20]) * x + a[19]) * x + a[18]
        y = (((((y * x + a[17]) * x + a[16]) * x + a[15]) * x + a[14]) * x + a[13]) * x + a[12]
        y = (((((y * x + a[11]) * x + a[10]) * x + a[9]) * x + a[8]) * x + a[7]) * x + a[6]
        y = (((((y * x + a[5]) * x + a[4]) * x + a[3]) * x + a[2]) * x + a[1]) * x + a[0]
        out[i] = y if low <= value[i] <= high else np.nan
