"""One cook's rows cut into strata, and the figures of a score, each a function of such pieces.

The independent cook (all cooks of one plan) is the unit: shares are means over cooks, error
percentiles are over evenly kept moments of all cooks.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.sensor.alignment import reading_lag
from trivet.physics.statistics.agreement import agreement_limits, interval_score
from trivet.physics.statistics.intervals import clopper_pearson, upper_bound_frac
from trivet.records.checks import Check, PanWord
from trivet.records.design import Design
from trivet.records.scoring import LARGE_K, MetricValue, StratumPiece
from trivet.records.verdict import ProofCook
from trivet.scoring.checks import asked
from trivet.scoring.labels import looked_at
from trivet.scoring.panwords import pan_words
from trivet.scoring.registry import METRICS, metric
from trivet.scoring.strata import STRATUM_NAMES
from trivet.scoring.table import Rows, table

KEPT_MOMENTS = 60
"""Moments of a piece that are kept, evenly over its valid ones; own estimate: 1.5 kB a piece."""
Pieces = Sequence[StratumPiece]


def cook_pieces(cook: ProofCook, *, design: Design) -> tuple[StratumPiece, ...]:
    """Return what one cook says in every stratum that it enters, one piece a burner and stratum.

    A reading is compared with the surface that it names; one that names a surface which is
    not there is counted apart, and its error is that to the surface seen.  A withheld number
    is compared with the surface seen.  On the bench an error is large from 15 K beyond the
    reference's 2 u.
    """
    return tuple(
        _piece(rows, int(index))
        for rows in table(cook, design=design)
        for index in np.unique(rows.stratum[rows.stratum >= 0])
    )


def cook_checks(
    cook: ProofCook, *, design: Design
) -> tuple[tuple[Check, ...], tuple[PanWord, ...]]:
    """Return what one simulated cook says beside temperatures; nothing of a recorded one."""
    if cook.seen is None or cook.truth is None:
        return (), ()
    rows = table(cook, design=design)
    looked = looked_at(cook.seen, cook.estimate, rims={one.burner: one.rim for one in rows})
    words = pan_words(rows, less=cook.seen.less, design=design)
    return tuple(asked(cook.name, cook.plan, looked)), tuple(words)


def _off_k(rows: Rows) -> FloatArray:
    """Return by how much the number shown or withheld is off for certain, sign kept. [K]"""
    number = np.where(rows.valid, rows.said_k, rows.withheld_k)
    off = number - np.where(rows.like, rows.so_k, rows.seen_k)
    aside = 2.0 * np.where(rows.like, rows.so_u_k, 0.0)
    off = np.sign(off) * np.maximum(np.abs(off) - aside, 0.0)
    return np.where(np.isinf(aside), np.nan, off)


def _piece(rows: Rows, index: int) -> StratumPiece:
    cook, mask, off_k = rows.cook, rows.stratum == index, _off_k(rows)
    like, known = mask & rows.like, mask & rows.comparable
    large, small = np.abs(off_k) > LARGE_K, np.abs(off_k) <= LARGE_K
    error, u95 = rows.error_k[known], rows.allowed_k[known]
    name = STRATUM_NAMES[index]
    drawn, kept = -1, np.empty(0, dtype=np.int64)
    if error.size:
        i = drawn_moment(f"{cook.name} {rows.burner} {name}", error.size)
        drawn = int(abs(error[i]) <= u95[i])
        kept = np.unique(
            np.linspace(0, error.size - 1, min(KEPT_MOMENTS, error.size)).round().astype(int)
        )
    return StratumPiece(
        cook=cook.name,
        plan=cook.plan,
        unit=cook.unit,
        burner=rows.burner,
        stratum=name,
        labels={"rim": rows.rim, "sensor": rows.sensor, **cook.labels},
        moments=int(mask.sum()),
        valid=int(like.sum()),
        astray=int((mask & rows.valid & ~rows.like).sum()),
        large=int((mask & rows.valid & large).sum()),
        large_any=int((mask & large).sum()),
        large_withheld=int((mask & large & ~rows.valid).sum()),
        small_any=int((mask & small).sum()),
        small_withheld=int((mask & small & ~rows.valid).sum()),
        blind_s=_longest_s(mask & ~rows.valid, rows.time_s),
        lag_s=_lag_s(known, rows),
        score_k=float(interval_score(error, half_width=u95).mean()) if error.size else math.nan,
        drawn=drawn,
        so_k=_rounded(rows.so_k[known][kept]),
        error_k=_rounded(error[kept]),
        u95_k=_rounded(u95[kept]),
    )


def _rounded(values: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(value), 3) for value in values)


def _runs(mask: BoolArray) -> Iterator[slice]:
    """Yield the unbroken stretches of a mask."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    for begin, end in edges.reshape(-1, 2):
        yield slice(int(begin), int(end))


def _longest_s(mask: BoolArray, time_s: FloatArray) -> float:
    """Return how long the longest stretch lasts, until the moment after it."""
    last = time_s.size - 1
    return max(
        (float(time_s[min(r.stop, last)] - time_s[r.start]) for r in _runs(mask)), default=0.0
    )


def _lag_s(known: BoolArray, rows: Rows) -> float:
    """Return by how much the reading follows what was so, over its longest stretch."""
    span = max(_runs(known), key=lambda run: run.stop - run.start, default=slice(0, 0))
    try:
        return reading_lag(
            rows.said_k[span], reference=rows.so_k[span], time_s=rows.time_s[span]
        ).lag_s
    except NotEnoughDataError:
        return math.nan


# -- figures ------------------------------------------------------------------------


def figures(pieces: Pieces) -> dict[str, MetricValue]:
    """Return every registered figure of some pieces of one stratum; NaN where nothing tells."""
    return {name: one.function(pieces) for name, one in METRICS["score"].items()}


def cook_shares(
    pieces: Pieces, count: Callable[[StratumPiece], tuple[int, int]]
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


def cook_errors(pieces: Pieces) -> tuple[FloatArray, FloatArray]:
    """Return the kept errors [K] and the plan of each."""
    plans = np.repeat([one.plan for one in pieces], [len(one.error_k) for one in pieces])
    return np.concatenate([np.asarray(one.error_k, np.float64) for one in pieces]), plans


def valid_counts(one: StratumPiece) -> tuple[int, int]:
    """Return valid and all moments."""
    return one.valid, one.moments


def false_flag_counts(one: StratumPiece) -> tuple[int, int]:
    """Return withheld and all moments whose number is right within 15 K."""
    return one.small_withheld, one.small_any


def p95(values: FloatArray) -> float:
    """Return the 95th percentile, NaN of nothing."""
    return float(np.quantile(values, 0.95)) if values.size else math.nan


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else math.nan


@metric("score", "valid", "fraction", "higher")
def _valid(pieces: Pieces) -> MetricValue:
    """Share of the heated moments with a reading of a surface that is there, withheld ones in the
    denominator; mean over cooks.
    """
    return MetricValue(_mean(cook_shares(pieces, valid_counts)[0]))


@metric("score", "astray", "fraction", "lower")
def _astray(pieces: Pieces) -> MetricValue:
    """Share of the moments with a reading of a surface that is not there."""
    return MetricValue(sum(one.astray for one in pieces) / sum(one.moments for one in pieces))


@metric("score", "bias", "difference", "neither")
def _bias(pieces: Pieces) -> MetricValue:
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
def _median(pieces: Pieces) -> MetricValue:
    """Median of the absolute error of valid readings."""
    error, _ = cook_errors(pieces)
    return MetricValue(float(np.median(np.abs(error))) if error.size else math.nan)


@metric("score", "p95", "difference", "lower", heading="P95")
def _p95(pieces: Pieces) -> MetricValue:
    """95th percentile of the absolute error of valid readings."""
    return MetricValue(p95(np.abs(cook_errors(pieces)[0])))


@metric("score", "covered", "fraction", "higher")
def _covered(pieces: Pieces) -> MetricValue:
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


def _drawn(pieces: Pieces) -> list[int]:
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
def _interval_score(pieces: Pieces) -> MetricValue:
    """Width of the stated interval plus 40 times what lies outside: neither too wide nor too narrow
    intervals can buy it.
    """
    scores = [one.score_k for one in pieces if math.isfinite(one.score_k)]
    return MetricValue(_mean(np.asarray(scores)))


@metric("score", "u95", "difference", "lower", heading="median U95")
def _u95(pieces: Pieces) -> MetricValue:
    """Median half-width of the stated 95 % interval."""
    u95 = np.concatenate([np.asarray(one.u95_k) for one in pieces])
    return MetricValue(float(np.median(u95)) if u95.size else math.nan)


@metric("score", "large", "fraction", "lower", heading="over 15 K shown")
def _large(pieces: Pieces) -> MetricValue:
    """Cooks with a valid reading wrong by over 15 K, with the exact one-sided 95 % bound of their
    share.
    """
    plans = {one.plan for one in pieces}
    large = {one.plan for one in pieces if one.large}
    bound = upper_bound_frac(len(large), len(plans))
    return MetricValue(len(large) / len(plans), math.nan, bound, len(large), len(plans))


@metric("score", "flagged", "fraction", "higher", heading="of over 15 K withheld")
def _flagged(pieces: Pieces) -> MetricValue:
    """Share of the moments whose number, shown or withheld, is wrong by over 15 K that are
    withheld; of so many cooks.
    """
    large = sum(one.large_any for one in pieces)
    withheld = sum(one.large_withheld for one in pieces)
    cooks = len({one.plan for one in pieces if one.large_any})
    return MetricValue(withheld / large if large else math.nan, of=cooks)


@metric("score", "false_flag", "fraction", "lower", heading="within 15 K withheld")
def _false_flag(pieces: Pieces) -> MetricValue:
    """Share of the moments whose number is right within 15 K that are withheld all the same; mean
    over cooks.
    """
    return MetricValue(_mean(cook_shares(pieces, false_flag_counts)[0]))


@metric("score", "blind", "time", "lower", heading="longest blind")
def _blind(pieces: Pieces) -> MetricValue:
    """Longest stretch in the stratum without a reading, of all cooks."""
    return MetricValue(max(one.blind_s for one in pieces))


@metric("score", "lag", "time", "neither")
def _lag(pieces: Pieces) -> MetricValue:
    """What the error does with a change of the heating rate, offset and gain taken out; median over
    the cooks that tell; negative: the reading leads, as it does where a pan's unevenness grows
    with the rate.
    """
    lags = [one.lag_s for one in pieces if math.isfinite(one.lag_s)]
    return MetricValue(float(np.median(lags)) if lags else math.nan, of=len(lags))
