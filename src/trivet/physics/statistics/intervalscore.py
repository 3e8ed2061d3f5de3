"""The score of an interval: its width, and what it misses by."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import InputError, OutOfRangeError


def interval_score(
    error: ArrayLike, *, half_width: ArrayLike, coverage_frac: float = 0.95
) -> FloatArray:
    """Return the interval score of central intervals, smaller is better.

    error : (moment,) middle of the interval minus what was so [unit of choice]
    half_width : (moment,) half-width of the interval, not below zero [same]
    coverage_frac : what the interval claims to cover, 0 < c < 1
    Returns : (moment,) width plus 2 / (1 - c) times what lies outside of it [same]
    Raises : InputError if the arrays differ in shape; OutOfRangeError for a coverage outside 0 to 1
        or a negative half-width
    Notes : Proper: its mean is least where the ends are the true quantiles. For a normal error of
        standard deviation s the best mean at 95 % is 4.68 s, with a half-width of 1.96 s; half or
        twice that width costs 90 % or 68 % more.
    Source : Gneiting and Raftery, J. Am. Stat. Assoc. 102 (2007) 359-378, section 6.2
    """
    off, half = np.abs(np.asarray(error, np.float64)), np.asarray(half_width, np.float64)
    if off.shape != half.shape:
        raise InputError(f"error has shape {off.shape}, half_width {half.shape}")
    if not 0.0 < coverage_frac < 1.0 or np.any(half < 0.0):
        raise OutOfRangeError(
            f"coverage {coverage_frac}, half-widths from {half.min(initial=0.0)}: allowed 0 to 1, "
            "and 0 or more"
        )
    return np.asarray(2.0 * half + 2.0 / (1.0 - coverage_frac) * np.maximum(off - half, 0.0))
