"""Agreement of a reading with what was so: bias, limits, resampled cooks, interval score."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from trivet.arrays import FloatArray
from trivet.errors import InputError, NotEnoughDataError, OutOfRangeError

MIN_CLUSTERS = 5  # own estimate: fewer say nothing of a spread


@dataclass(frozen=True)
class Agreement:
    """Bias and limits of agreement with their confidence intervals.

    All values carry the unit of the differences. ``n`` counts the independent differences: pairs,
    or cooks when the pairs were clustered.
    """

    n: int
    bias: float
    sd: float
    lower: float
    upper: float
    bias_interval: tuple[float, float]
    lower_interval: tuple[float, float]
    upper_interval: tuple[float, float]


def _finite(values: ArrayLike, name: str) -> FloatArray:
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise InputError(f"{name} has {array.ndim} axes: one is allowed")
    if not np.all(np.isfinite(array)):
        raise InputError(f"{name} holds values that are not finite: leave invalid moments out")
    return array


def _with_intervals(n: int, bias: float, sd: float, factor: float, confidence: float) -> Agreement:
    t = float(stats.t.ppf(0.5 + 0.5 * confidence, n - 1))
    bias_half = t * sd / np.sqrt(n)
    limit_half = t * sd * np.sqrt(3.0 / n)
    lower, upper = bias - factor * sd, bias + factor * sd
    return Agreement(
        n=n,
        bias=bias,
        sd=sd,
        lower=lower,
        upper=upper,
        bias_interval=(bias - bias_half, bias + bias_half),
        lower_interval=(lower - limit_half, lower + limit_half),
        upper_interval=(upper - limit_half, upper + limit_half),
    )


def agreement_limits(
    differences: ArrayLike,
    *,
    cook: ArrayLike | None = None,
    factor: float = 1.959963984540054,
    confidence: float = 0.95,
) -> Agreement:
    """Return bias and limits of agreement, of independent differences or of several a cook.

    differences : (pair,) reported minus reference [unit of choice]
    cook : (pair,) cook that each pair comes from; each its own when left out
    factor : limits lie this many standard deviations from the bias
    confidence : two-sided confidence of the three intervals
    Returns : in the unit of the differences; ``sd`` joins the variance between and within cooks,
        ``n`` counts cooks and the intervals use n - 1 degrees of freedom
    Raises : NotEnoughDataError with fewer than 5 cooks; InputError if the array is not
        one-dimensional and finite or the lengths differ
    Notes : For differences near normal whose spread does not grow with the mean. The standard error
        of a limit is about sqrt(3/n) sd: at n = 17 the limits are known to +/- 0.9 sd only. The
        bias is the mean of cook means, so a long cook weighs no more than a short one. Treating 20
        cooks of 1,000 frames as 20,000 pairs would make the interval of the bias some 30 times too
        narrow when frames of a cook agree.
    Source : Bland and Altman, Lancet i (1986) 307-310; J. Biopharm. Stat. 17 (2007) 571-582,
        section 3 (one-way variance components, unequal repeats)
    """
    array = _finite(differences, "differences")
    names = np.arange(array.size) if cook is None else np.asarray(cook)
    if names.shape != array.shape:
        raise InputError(f"cook has shape {names.shape}, differences {array.shape}")
    _, index = np.unique(names, return_inverse=True)
    repeats = np.bincount(index).astype(np.float64)
    n = repeats.size if array.size else 0
    if n < MIN_CLUSTERS:
        what = "differences" if cook is None else "cooks"
        raise NotEnoughDataError(f"too few: {n} {what}, agreement limits need {MIN_CLUSTERS}")
    means = np.bincount(index, weights=array) / repeats
    free = array.size - n
    if free:
        between_square = float(np.sum(repeats * (means - float(array.mean())) ** 2)) / (n - 1)
        within = float(np.sum((array - means[index]) ** 2)) / free
        size = (array.size - float(np.sum(repeats**2)) / array.size) / (n - 1)
        sd = float(np.sqrt(max(0.0, (between_square - within) / size) + within))
    else:
        sd = float(means.std(ddof=1))
    return _with_intervals(n, float(means.mean()), sd, factor, confidence)


def repeatability_coefficient(first: ArrayLike, second: ArrayLike) -> float:
    """Return the bound under which two readings of one thing differ, 95 %.

    first : (pair,) first reading of each thing [unit of choice]
    second : (pair,) second reading, same method [same]
    Returns : two root mean square differences, the mean difference taken as zero
    Raises : NotEnoughDataError with fewer than 5 pairs; InputError if the lengths differ
    Notes : A mean difference that is not zero inflates the coefficient: by 12 % when it is half of
        the standard deviation.
    Source : Bland and Altman, Lancet i (1986) 307-310, "Repeatability"
    """
    one, two = _finite(first, "first"), _finite(second, "second")
    if one.shape != two.shape:
        raise InputError(f"first has {one.size} readings and second {two.size}")
    if one.size < MIN_CLUSTERS:
        raise NotEnoughDataError(f"too few: {one.size} pairs, repeatability needs {MIN_CLUSTERS}")
    return 2.0 * float(np.sqrt(np.mean((one - two) ** 2)))


def cluster_bootstrap(
    values: ArrayLike,
    *,
    cook: ArrayLike,
    generator: np.random.Generator,
    statistic: Callable[[FloatArray], float] | None = None,
    draws: int = 2000,
    confidence: float = 0.95,
) -> tuple[float, float]:
    """Return a percentile interval from resampling whole cooks.

    values : (pair,) outcomes or differences [unit of choice]
    cook : (pair,) cook of each value; cooks are drawn with replacement, whole
    generator : source of randomness
    statistic : callable, optional: number from an array of values; the mean by default
    draws : resamples
    confidence : two-sided confidence
    Returns : lower and upper percentile of the statistic
    Raises : NotEnoughDataError with fewer than 5 cooks; InputError if the arrays differ in length
    Notes : Too narrow for few cooks (about 90 % true coverage at 10 cooks, nominal 95 %) and
        useless when no event was seen: then only the exact bound holds.
    Source : Davison and Hinkley, Bootstrap Methods and their Application (1997), 3.8
    """
    array = _finite(values, "values")
    names = np.asarray(cook)
    if names.shape != array.shape:
        raise InputError(f"cook has shape {names.shape}, values {array.shape}")
    groups = [array[names == name] for name in np.unique(names)]
    if len(groups) < MIN_CLUSTERS:
        raise NotEnoughDataError(f"too few: {len(groups)} cooks, a bootstrap needs {MIN_CLUSTERS}")
    picks = generator.integers(0, len(groups), size=(draws, len(groups)))
    if statistic is None:
        sums = np.array([group.sum() for group in groups])
        sizes = np.array([group.size for group in groups], dtype=np.float64)
        results = sums[picks].sum(axis=1) / sizes[picks].sum(axis=1)
    else:
        results = np.array([statistic(np.concatenate([groups[i] for i in row])) for row in picks])
    tail = 0.5 * (1.0 - confidence)
    low, high = np.quantile(results, [tail, 1.0 - tail])
    return float(low), float(high)


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
