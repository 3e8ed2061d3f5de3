"""What a pan shows at the very place of a probe, and by how much that may be beside the truth.

A pixel sees its footprint through blur, a probe touches a spot whose place is known to some
millimetres: on a pan that is hottest over the flames the two differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray

PLACE_U_M = 5e-3
"""Standard uncertainty of where a probe is, against what the head sees: the sheet's figures, the
pan's place and the pose together (common practice, no source)."""
CURVED_SHARE = 0.5
"""Standard uncertainty of the correction for curvature, as a share of it: pixels that are as wide
as what they resolve show a part of it only (own estimate)."""
MIN_PLANE, MIN_CURVED = 4, 7
"""Pixels from which a slope shows, and from which a curvature does."""


@dataclass(frozen=True)
class Around:
    """Pixels round a probe and how wide each sees."""

    x_m: FloatArray
    """(pixel,) from the probe's place. [m]"""
    y_m: FloatArray
    pitch_m: float
    """Width of a footprint. [m]"""
    blur_px: float
    """Standard deviation of the blur. [pixel]"""


@dataclass(frozen=True)
class Beside:
    """A short mean of the pixels round a probe, arrays (moment,)."""

    at_k: FloatArray
    """At the probe's place, blur taken out. [K]"""
    steep_k: FloatArray
    """What a footprint hides: half of what its width changes the signal by, and the curvature."""
    doubt_k: FloatArray
    """(moment, 2) for one standard uncertainty of the place, and of the curvature. [K]"""


def beside(mean_k: FloatArray, *, around: Around) -> Beside:
    """Return what pixels show at a probe's place from a surface through them.

    Parameters
    ----------
    mean_k : (moment, pixel)
        Signal. [K]
    around : Around

    Returns
    -------
    Beside
        NaN where fewer than four pixels, or pixels on one line, cannot show a slope.

    Notes
    -----
    A footprint of width p with a blur of b pixels averages over a variance of
    (1/12 + b^2) p^2 on each axis, so that it reads 1/2 of that times the Laplacian above
    the place itself; 1 K/mm and 0.05 K/mm2 at 23 mm and 0.5 pixels are 5 K for 5 mm and 9 K.

    References
    ----------
    Taylor's series of the surface; variances add.
    """
    bent = around.x_m.size >= MIN_CURVED
    x, y = around.x_m / around.pitch_m, around.y_m / around.pitch_m
    columns = [np.ones_like(x), x, y] + ([x * x, x * y, y * y] if bent else [])
    lever = np.column_stack(columns)
    unknown = np.full(mean_k.shape[0], np.nan)
    if x.size < MIN_PLANE or np.linalg.matrix_rank(lever, tol=1e-6) < lever.shape[1]:
        return Beside(unknown, unknown, np.column_stack([unknown, unknown]))
    whole = np.isfinite(mean_k.sum(axis=1, keepdims=True))
    terms = np.where(whole, np.where(whole, mean_k, 0.0) @ np.linalg.pinv(lever).T, np.nan)
    slope_k = np.hypot(terms[:, 1], terms[:, 2])
    curved_k = 0.0 * slope_k
    if bent:
        curved_k = (1.0 / 12.0 + around.blur_px**2) * (terms[:, 3] + terms[:, 5])
    place = slope_k * PLACE_U_M / around.pitch_m
    return Beside(
        at_k=terms[:, 0] - curved_k,
        steep_k=np.hypot(0.5 * slope_k, curved_k),
        doubt_k=np.column_stack([place, CURVED_SHARE * curved_k]),
    )


def short_means(
    frames_k: npt.NDArray[np.floating[Any]],
    *,
    time_s: FloatArray,
    moments_s: FloatArray,
    half_s: float,
) -> FloatArray:
    """Return the mean of each pixel round each moment, NaN where a frame has no value."""
    found = np.full((moments_s.size, frames_k.shape[1]), np.nan)
    for k, moment in enumerate(moments_s):
        first, last = np.searchsorted(time_s, moment + half_s * np.array([-1, 1]))
        if last > first:
            found[k] = frames_k[first:last].mean(axis=0, dtype=np.float64)
    return found
