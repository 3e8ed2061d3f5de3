"""Quantiles of weighed normal distributions, moment by moment."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.compiled import family

compiled = family(Path(__file__))

MIN_U_K = 1e-3
MIN_SHARE = 1e-11
"""Parts under this share of the whole are left out."""
FAR = 8.0
"""Standard deviations beyond which a normal distribution has ended."""
CLOSE_K = 1e-9
STEEPEST = 0.5 * FAR
"""A Newton step s leaves at most STEEPEST s^2 / u."""
STEPS = 200
ROOT_HALF = math.sqrt(0.5)
DENSITY = 1.0 / math.sqrt(2.0 * math.pi)


def mixture_quantiles(
    centre_k: FloatArray,
    *,
    u_k: FloatArray,
    weight: FloatArray,
    levels: tuple[float, ...],
    last_k: FloatArray | None = None,
) -> FloatArray:
    """Return quantiles of a mixture of normal distributions at every moment.

    centre_k, u_k : (time, part) mean and standard deviation of each part; NaN leaves a part out [K]
    weight : (time, part)
    levels : probabilities of the quantiles [-]
    last_k : (level,), optional where the search begins, NaN anywhere; continued in place from block
        to block [K]
    Returns : (time, level) [K]; NaN where no part stands
    Notes : Newton steps held inside a shrinking bracket, to 1e-9 K where the density is over 1e-6
        /K; a standard deviation under 1 mK counts as 1 mK.
    Source : Finite mixture of normal distributions, textbook form
    """
    out = np.empty((centre_k.shape[0], len(levels)))
    at = np.full(len(levels), np.nan) if last_k is None else last_k
    _quantiles((centre_k, u_k, weight), np.array(levels), at, out)
    return out


@compiled
def _quantiles(mixture: Any, levels: Any, at: Any, out: Any) -> None:
    centre, u, weight = mixture
    parts = np.empty((3, centre.shape[1]))
    for t in range(out.shape[0]):
        count, total = _standing(centre[t], u[t], weight[t], parts)
        for n in range(levels.size):
            at[n] = _quantile(parts, count, levels[n] * total, at[n]) if count else np.nan
            out[t, n] = at[n]


@compiled
def _standing(centre: Any, u: Any, weight: Any, parts: Any) -> Any:
    """Lay out centre, 1 / u and share of the parts that stand; return their number and sum."""
    whole = 0.0
    for k in range(centre.size):
        if math.isfinite(centre[k]):
            whole += weight[k]
    count, total = 0, 0.0
    for k in range(centre.size):
        if math.isfinite(centre[k]) and weight[k] > MIN_SHARE * whole:
            spread = u[k] if math.isfinite(u[k]) else 1.0
            parts[0, count] = centre[k]
            parts[1, count] = 1.0 / max(spread, MIN_U_K)
            parts[2, count] = weight[k]
            total += weight[k]
            count += 1
    return count, total


@compiled
def _quantile(parts: Any, count: int, wanted: float, guess: float) -> float:
    low, high, sharpest = np.inf, -np.inf, 0.0
    for k in range(count):
        sharpest = max(sharpest, parts[1, k])
        low = min(low, parts[0, k] - FAR / parts[1, k])
        high = max(high, parts[0, k] + FAR / parts[1, k])
    at = guess if low < guess < high else 0.5 * (low + high)
    before = high - low
    for _ in range(STEPS):
        reached, density = _distribution(parts, count, at)
        if reached > wanted:
            high = at
        else:
            low = at
        # A step that leaves the bracket, or hardly shrinks, gives way to halving.
        step = (wanted - reached) / density if density > 0.0 else np.inf
        newton = low < at + step < high and abs(step) <= 0.5 * before
        if not newton:
            step = 0.5 * (low + high) - at
        before = abs(step)
        at += step
        left = min(before, STEEPEST * sharpest * step * step) if newton else before
        if left < CLOSE_K:
            break
    return at


@compiled
def _distribution(parts: Any, count: int, at: float) -> Any:
    """Mixture's distribution and density at a point."""
    reached, density = 0.0, 0.0
    for k in range(count):
        z = (at - parts[0, k]) * parts[1, k]
        if z >= FAR:
            reached += parts[2, k]
        elif z > -FAR:
            reached += parts[2, k] * 0.5 * math.erfc(-z * ROOT_HALF)
            density += parts[2, k] * parts[1, k] * DENSITY * math.exp(-0.5 * z * z)
    return reached, density
