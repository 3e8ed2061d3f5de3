"""Exact bounds on rates, the cooks that a claim needs, tolerance factors, the bias that shows."""

from __future__ import annotations

import math

from scipy import optimize, special, stats

from trivet.errors import InputError, OutOfRangeError


def _checked_counts(failures: int, n: int, confidence: float) -> None:
    if n < 1:
        raise InputError(f"n is {n}: a rate needs at least one trial")
    if not 0 <= failures <= n:
        raise InputError(f"failures is {failures}: allowed 0 to n = {n}")
    _checked_confidence(confidence)


def _checked_confidence(value: float, name: str = "confidence") -> None:
    if not 0.0 < value < 1.0:
        raise OutOfRangeError(f"{name} is {value}: allowed more than 0 and less than 1")


def clopper_pearson(failures: int, n: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return the exact two-sided interval of a binomial rate.

    failures : trials that failed, 0 to n
    n : independent trials; repeats within one cook are not trials
    confidence : two-sided confidence, each tail holds half of the rest
    Returns : lower and upper bound of the rate
    Raises : InputError if the counts are impossible; OutOfRangeError if the confidence is not
        inside (0, 1)
    Notes : Conservative: true coverage is never under the confidence and reaches 99 % and more for
        nominal 95 % at n = 20 and rates below 2 %. 0 of 20 gives an upper bound of 16.8 %, 0 of 59
        6.1 %.
    Source : Clopper and Pearson, Biometrika 26 (1934) 404-413, through the beta quantile
    """
    _checked_counts(failures, n, confidence)
    tail = 0.5 * (1.0 - confidence)
    low = 0.0 if failures == 0 else float(stats.beta.ppf(tail, failures, n - failures + 1))
    high = 1.0 if failures == n else float(stats.beta.isf(tail, failures + 1, n - failures))
    return low, high


def upper_bound_frac(failures: int, n: int, *, confidence: float = 0.95) -> float:
    """Return the exact one-sided upper bound of a binomial rate.

    failures : trials that failed, 0 to n
    n : independent trials
    confidence : one-sided confidence
    Returns : largest rate that still gives at most this many failures with probability 1 -
        confidence
    Raises : InputError if the counts are impossible; OutOfRangeError if the confidence is not
        inside (0, 1)
    Notes : 0 of 20 bounds the rate at 13.9 %, 0 of 39 at 7.4 %, 0 of 59 at 4.95 %; the rule of
        three, 3/n, is 5 % too high at n = 30 and 0.6 % at n = 300.
    Source : Clopper and Pearson, Biometrika 26 (1934), one tail
    """
    _checked_counts(failures, n, confidence)
    if failures == n:
        return 1.0
    return float(stats.beta.isf(1.0 - confidence, failures + 1, n - failures))


def lower_bound_frac(failures: int, n: int, *, confidence: float = 0.95) -> float:
    """Return the exact one-sided lower bound of a binomial rate.

    failures : trials that showed the outcome counted, 0 to n
    n : independent trials
    confidence : one-sided confidence
    Returns : smallest rate compatible with this many
    Raises : InputError if the counts are impossible; OutOfRangeError if the confidence is not
        inside (0, 1)
    Notes : 59 of 59 proves at least 95.05 % at 95 % confidence; 20 of 20 only 86.1 %.
    Source : Clopper and Pearson, Biometrika 26 (1934), one tail
    """
    _checked_counts(failures, n, confidence)
    return 1.0 - upper_bound_frac(n - failures, n, confidence=confidence)


def sample_size(
    rate_frac: float, *, confidence: float = 0.95, allowed_failures: int = 0, largest: int = 10**7
) -> int:
    """Return the fewest independent trials that can prove a rate.

    rate_frac : claim: the failure rate is at most this, 0 < rate < 1
    confidence : one-sided confidence
    allowed_failures : failures with which the claim shall still stand
    largest : give up beyond this many
    Returns : trials n with P(at most allowed_failures | rate) <= 1 - confidence
    Raises : OutOfRangeError if the claim is zero or one, or needs more than ``largest`` trials;
        InputError if allowed_failures is negative
    Notes : 10 / 5 / 2 / 1 / 0.1 % at 95 % need 29 / 59 / 149 / 299 / 2,995 trials without a
        failure; 5 % with one failure needs 93. No number of trials proves a rate of zero.
    Source : Cumulative binomial; with no failure the success-run theorem
    """
    _checked_confidence(confidence)
    if not 0.0 < rate_frac < 1.0:
        raise OutOfRangeError(
            f"rate_frac is {rate_frac}: no number of cooks proves a rate of zero or one; "
            "claim a rate between them"
        )
    if allowed_failures < 0:
        raise InputError(f"allowed_failures is {allowed_failures}: allowed 0 or more")
    risk = (1.0 - confidence) * (1.0 + 1e-12)
    low, high = allowed_failures, allowed_failures + 1
    while stats.binom.cdf(allowed_failures, high, rate_frac) > risk:
        low, high = high, 2 * high
        if low > largest:
            raise OutOfRangeError(f"a rate of {rate_frac} needs more than {largest} trials")
    while high - low > 1:
        middle = (low + high) // 2
        if stats.binom.cdf(allowed_failures, middle, rate_frac) > risk:
            low = middle
        else:
            high = middle
    return high


def normal_tolerance_factor(
    n: int, *, content_frac: float = 0.95, confidence: float = 0.95
) -> float:
    """Return k so that mean + k sd bounds a share of a normal population.

    n : independent values behind mean and standard deviation, 2 or more
    content_frac : share of the population to lie below the bound
    confidence : one-sided confidence of the statement
    Returns : one-sided tolerance factor k
    Raises : InputError if n is under 2; OutOfRangeError if content or confidence is not inside (0,
        1)
    Notes : 95 % content at 95 %: 4.20 for n = 5, 2.40 for 20, 2.07 for 50, against 1.645 for a
        known population. Not for rates: values must be near normal.
    Source : NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.6.3 (noncentral t)
    """
    if n < 2:
        raise InputError(f"n is {n}: a tolerance bound needs at least 2 values")
    _checked_confidence(confidence)
    _checked_confidence(content_frac)
    shift = float(special.ndtri(content_frac)) * math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, shift)) / math.sqrt(n)


def detectable_bias(
    n: int, *, sd: float = 1.0, confidence: float = 0.95, power: float = 0.8
) -> float:
    """Return the bias that a two-sided t test of n values finds with the given power.

    n : independent values, one a cook, 2 or more
    sd : their standard deviation, 1 gives the bias as a multiple of it [any]
    confidence : one less the chance of calling a bias where there is none
    power : chance of calling the bias where it is there
    Returns : the bias, in the unit of ``sd``
    Raises : InputError if n is under 2; OutOfRangeError if confidence or power is not inside (0,
        1), or power is not over 1 - confidence
    Notes : Near 2.8 sd / sqrt(n) for many values; 3.26 / 1.16 / 0.66 / 0.40 sd for n = 3 / 8 / 20 /
        50 at 95 % and a power of 80 %. The values must be near normal and independent: repeats of
        one cook are not.
    Source : Noncentral t; Cohen, Statistical Power Analysis (1988), chapter 2
    """
    if n < 2:
        raise InputError(f"n is {n}: a bias needs at least 2 values to stand against")
    _checked_confidence(confidence)
    _checked_confidence(power, "power")
    if power <= 1.0 - confidence:
        raise OutOfRangeError(f"power is {power}: allowed more than {1.0 - confidence:g}")
    limit = float(special.stdtrit(n - 1, 0.5 + 0.5 * confidence))

    def short(shift: float) -> float:  # the square of a noncentral t is a noncentral F
        return 1.0 - float(special.ncfdtr(1, n - 1, shift * shift, limit * limit)) - power

    high = limit
    while short(high) < 0.0:
        high *= 1.5
    shift = float(optimize.brentq(short, 1e-6, high))
    return sd * shift / math.sqrt(n)
