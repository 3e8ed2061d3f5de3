"""The figures of a score: each a function of the pieces of one stratum, or of a part of it.

The independent cook (all cooks of one plan) is the unit: shares are means over cooks, error
percentiles are over evenly kept moments of all cooks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.agreement import agreement_limits
from trivet.physics.statistics.intervals import clopper_pearson, upper_bound_frac
from trivet.records.scoring import MetricValue, StratumPiece
from trivet.scoring.registry import METRICS, metric

StratumPieces = Sequence[StratumPiece]


def figures(pieces: StratumPieces) -> dict[str, MetricValue]:
    """Return every registered figure of some pieces of one stratum; NaN where nothing tells."""
    return {name: one.function(pieces) for name, one in METRICS["score"].items()}


def cook_shares(
    pieces: StratumPieces, count: Callable[[StratumPiece], tuple[int, int]]
) -> tuple[FloatArray, list[str]]:
    """Return the share of each independent cook that has any, and the cooks' names."""
    sums: dict[str, list[int]] = {}
    for one in pieces:
        part, whole = count(one)
        both = sums.setdefault(one.plan, [0, 0])
        both[0] += part
        both[1] += whole
    told = {plan: part / whole for plan, (part, whole) in sums.items() if whole}
    return np.array(list(told.values())), list(told)


def cook_errors(pieces: StratumPieces) -> tuple[FloatArray, FloatArray]:
    """Return the kept errors [K] and the plan of each."""
    plans = np.repeat([one.plan for one in pieces], [len(one.error_k) for one in pieces])
    return np.concatenate([np.asarray(one.error_k, np.float64) for one in pieces]), plans


def valid_share(one: StratumPiece) -> tuple[int, int]:
    """Return valid and all moments."""
    return one.valid, one.moments


def false_flag_share(one: StratumPiece) -> tuple[int, int]:
    """Return withheld and all moments whose number is right within 15 K."""
    return one.small_withheld, one.small_any


def p95(values: FloatArray) -> float:
    """Return the 95th percentile, NaN of nothing."""
    return float(np.quantile(values, 0.95)) if values.size else math.nan


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else math.nan


@metric("score", "valid", "fraction", "higher")
def _valid(pieces: StratumPieces) -> MetricValue:
    """Share of the heated moments with a reading of a surface that is there, withheld ones in the
    denominator; mean over cooks.
    """
    return MetricValue(_mean(cook_shares(pieces, valid_share)[0]))


@metric("score", "astray", "fraction", "lower")
def _astray(pieces: StratumPieces) -> MetricValue:
    """Share of the moments with a reading of a surface that is not there."""
    return MetricValue(sum(one.astray for one in pieces) / sum(one.moments for one in pieces))


@metric("score", "bias", "difference", "neither")
def _bias(pieces: StratumPieces) -> MetricValue:
    """Mean of the cooks' mean errors, with the 95 % limits of agreement: variance between and
    within cooks joined (Bland and Altman, 2007); no limits under 5 cooks.
    """
    error, plans = cook_errors(pieces)
    if not error.size:
        return MetricValue(math.nan)
    try:
        found = agreement_limits(error, cook=plans)
    except NotEnoughDataError:
        return MetricValue(float(np.mean([error[plans == one].mean() for one in np.unique(plans)])))
    return MetricValue(found.bias, found.lower, found.upper)


@metric("score", "median", "difference", "lower")
def _median(pieces: StratumPieces) -> MetricValue:
    """Median of the absolute error of valid readings."""
    error, _ = cook_errors(pieces)
    return MetricValue(float(np.median(np.abs(error))) if error.size else math.nan)


@metric("score", "p95", "difference", "lower", heading="P95")
def _p95(pieces: StratumPieces) -> MetricValue:
    """95th percentile of the absolute error of valid readings."""
    return MetricValue(p95(np.abs(cook_errors(pieces)[0])))


@metric("score", "covered", "fraction", "higher")
def _covered(pieces: StratumPieces) -> MetricValue:
    """Of one drawn moment a cook, how many stated 95 % intervals hold what was so; with the exact
    95 % interval (Clopper and Pearson, 1934).
    """
    drawn = _drawn(pieces)
    if not drawn:
        return MetricValue(math.nan)
    low, high = clopper_pearson(drawn.count(0), len(drawn))
    return MetricValue(
        (len(drawn) - drawn.count(0)) / len(drawn),
        1.0 - high,
        1.0 - low,
        len(drawn) - drawn.count(0),
        len(drawn),
    )


def _drawn(pieces: StratumPieces) -> list[int]:
    """Return whether the drawn interval holds, one draw an independent cook.

    The burner or repeat that is looked at is drawn by the plan's name, weighed by its
    readings, so that every reading of the cook is as likely.
    """
    plans: dict[str, list[StratumPiece]] = {}
    for one in pieces:
        if one.drawn >= 0:
            plans.setdefault(one.plan, []).append(one)
    found = []
    for plan, mine in plans.items():
        at = drawn_moment(f"plan {plan}", sum(one.valid for one in mine))
        for one in mine:
            if at < one.valid:
                found.append(one.drawn)
                break
            at -= one.valid
    return found


@metric("score", "interval_score", "difference", "lower", heading="interval score")
def _interval_score(pieces: StratumPieces) -> MetricValue:
    """Width of the stated interval plus 40 times what lies outside: neither too wide nor too narrow
    intervals can buy it.
    """
    scores = [one.score_k for one in pieces if math.isfinite(one.score_k)]
    return MetricValue(_mean(np.asarray(scores)))


@metric("score", "u95", "difference", "lower", heading="median U95")
def _u95(pieces: StratumPieces) -> MetricValue:
    """Median half-width of the stated 95 % interval."""
    u95 = np.concatenate([np.asarray(one.u95_k) for one in pieces])
    return MetricValue(float(np.median(u95)) if u95.size else math.nan)


@metric("score", "large", "fraction", "lower", heading="over 15 K shown")
def _large(pieces: StratumPieces) -> MetricValue:
    """Cooks with a valid reading wrong by over 15 K, with the exact one-sided 95 % bound of their
    share.
    """
    plans = {one.plan for one in pieces}
    large = {one.plan for one in pieces if one.large}
    bound = upper_bound_frac(len(large), len(plans))
    return MetricValue(len(large) / len(plans), math.nan, bound, len(large), len(plans))


@metric("score", "flagged", "fraction", "higher", heading="of over 15 K withheld")
def _flagged(pieces: StratumPieces) -> MetricValue:
    """Share of the moments whose number, shown or withheld, is wrong by over 15 K that are
    withheld; of so many cooks.
    """
    large = sum(one.large_any for one in pieces)
    withheld = sum(one.large_withheld for one in pieces)
    cooks = len({one.plan for one in pieces if one.large_any})
    return MetricValue(withheld / large if large else math.nan, of=cooks)


@metric("score", "false_flag", "fraction", "lower", heading="within 15 K withheld")
def _false_flag(pieces: StratumPieces) -> MetricValue:
    """Share of the moments whose number is right within 15 K that are withheld all the same; mean
    over cooks.
    """
    return MetricValue(_mean(cook_shares(pieces, false_flag_share)[0]))


@metric("score", "blind", "time", "lower", heading="longest blind")
def _blind(pieces: StratumPieces) -> MetricValue:
    """Longest stretch in the stratum without a reading, of all cooks."""
    return MetricValue(max(one.blind_s for one in pieces))


@metric("score", "lag", "time", "neither")
def _lag(pieces: StratumPieces) -> MetricValue:
    """What the error does with a change of the heating rate, offset and gain taken out; median over
    the cooks that tell; negative: the reading leads, as it does where a pan's unevenness grows
    with the rate.
    """
    lags = [one.lag_s for one in pieces if math.isfinite(one.lag_s)]
    return MetricValue(float(np.median(lags)) if lags else math.nan, of=len(lags))
