"""From the pieces of many cooks to figures a stratum, resampled by cook."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import EvidenceError, NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.agreement import agreement_limits, cluster_bootstrap
from trivet.physics.statistics.intervals import clopper_pearson, upper_bound_frac
from trivet.records.checks import Check, PanWord
from trivet.records.requirement import Evidence
from trivet.records.scoring import STRATA, PartScore, Piece, ScoreSheet, StratumScore
from trivet.scoring.checksheet import check_goals, check_scores
from trivet.scoring.goals import goal_lines
from trivet.scoring.shiny import confusion_rows

DRAWS = 500
"""Resamples of whole cooks: the ends of a 95 % interval rest on a dozen of them."""
SHOWN_POINTS = 200
FEWEST_PART = 5
"""Cooks from which a part of a stratum is shown."""


def score_sheet(
    pieces: Sequence[Piece],
    *,
    condition: str,
    evidence: Evidence,
    failed: Sequence[str] = (),
    checks: Sequence[Check] = (),
    words: Sequence[PanWord] = (),
) -> ScoreSheet:
    """Return how good readings were under one condition, stratum by stratum.

    Parameters
    ----------
    pieces : sequence of Piece
        Of all cooks, of one grade of evidence.
    condition : str
        Which cooks they are.
    evidence : Evidence
        Their grade.
    failed : sequence of str
        Cooks that gave nothing, and why.
    checks, words : sequence of Check, sequence of PanWord
        What the simulated ones say beside temperatures.

    Returns
    -------
    ScoreSheet
        Figures a stratum and part, and the goals.

    Raises
    ------
    EvidenceError
        If a piece occurs twice: evidence counts once.

    Notes
    -----
    Shares are means over independent cooks; error percentiles are over evenly kept
    moments of all cooks. Repeats of a plan are one independent cook, and one moment
    of it is drawn for the coverage. Intervals of the figures come from whole cooks
    drawn again (500 times), by a generator seeded with stratum and condition.

    References
    ----------
    Clopper and Pearson (1934); Bland and Altman (2007); Davison and Hinkley (1997), 3.8.
    """
    keys = [(one.cook, one.burner, one.stratum) for one in pieces]
    if len(set(keys)) < len(keys):
        twice = next(key for key in keys if keys.count(key) > 1)
        raise EvidenceError(f"cook {twice[0]!r} is given more than once: evidence counts once")
    strata = tuple(
        _stratum(kind.name, mine, condition)
        for kind in STRATA
        if (mine := [one for one in pieces if one.stratum == kind.name])
    )
    answered = check_scores(checks, condition=condition)
    lines = [line for one in strata for line in goal_lines(one)] + [*check_goals(answered)]
    return ScoreSheet(
        condition=condition,
        evidence=evidence,
        cooks=len({one.cook for one in pieces}),
        independent=len({one.plan for one in pieces}),
        units=len({one.unit for one in pieces}),
        failed=tuple(failed),
        strata=strata,
        parts=tuple(_parts(pieces)),
        goals=tuple(lines),
        checks=answered,
        confusion=confusion_rows(words),
    )


def _parts(pieces: Sequence[Piece]) -> Iterator[PartScore]:
    """Yield every stratum by the values of each label that differs, and all with a cut rim."""
    for kind in STRATA:
        mine = [one for one in pieces if one.stratum == kind.name]
        for label in dict.fromkeys(key for one in mine for key in one.labels):
            values = sorted({one.labels.get(label, "unknown") for one in mine})
            if len(values) < 2:
                continue
            for value in values:
                part = [one for one in mine if one.labels.get(label, "unknown") == value]
                if len({one.plan for one in part}) >= FEWEST_PART:
                    yield part_score(part, name=kind.name, part=f"{label}: {value}")
    for rim in ("cut", "whole"):
        edge = [one for one in pieces if one.labels.get("rim") == rim]
        if edge:
            yield part_score(edge, name="all strata", part=f"rim: {rim}")


def _stratum(name: str, pieces: Sequence[Piece], condition: str) -> StratumScore:
    seed = hashlib.sha256(f"{condition}\n{name}".encode()).digest()[:8]
    generator = np.random.default_rng(int.from_bytes(seed, "big"))
    error = np.concatenate([np.abs(one.error_k) for one in pieces])
    plans = np.repeat([one.plan for one in pieces], [len(one.error_k) for one in pieces])
    valid, cooks = _shares(pieces, lambda one: (one.valid, one.moments))
    false, judged = _shares(pieces, lambda one: (one.small_withheld, one.small_any))
    so, off = _points(pieces)

    def spread(
        values: FloatArray,
        cook: Sequence[str],
        statistic: Callable[[FloatArray], float] | None = None,
    ) -> tuple[float, float]:
        try:
            return cluster_bootstrap(
                values,
                cook=np.asarray(cook),
                generator=generator,
                statistic=statistic,
                draws=DRAWS,
            )
        except NotEnoughDataError:
            return math.nan, math.nan

    return StratumScore(
        whole=part_score(pieces, name=name),
        median_range_k=spread(error, plans.tolist(), lambda x: float(np.median(x))),
        p95_range_k=spread(error, plans.tolist(), _p95),
        valid_range_frac=spread(valid, cooks),
        false_flag_range_frac=spread(false, judged),
        so_k=so,
        error_k=off,
    )


def part_score(pieces: Sequence[Piece], *, name: str, part: str = "") -> PartScore:
    """Return the figures of some pieces of one stratum.

    Parameters
    ----------
    pieces : sequence of Piece
        One or more.
    name : str
        Of the stratum.
    part : str
        Of which part of it.

    Returns
    -------
    PartScore
        NaN where nothing tells. [K, s, -]

    Notes
    -----
    See :func:`score_sheet`.

    References
    ----------
    As there.
    """
    signed = [np.asarray(one.error_k) for one in pieces if one.error_k]
    error = np.concatenate(signed) if signed else np.empty(0)
    u95 = np.concatenate([np.asarray(one.u95_k) for one in pieces])
    bias, low, high = _agreement(pieces, error)
    drawn = _drawn(pieces)
    misses = drawn.count(0)
    ends = clopper_pearson(misses, len(drawn)) if drawn else (math.nan, math.nan)
    plans = {one.plan for one in pieces}
    large = {one.plan for one in pieces if one.large}
    moments = sum(one.moments for one in pieces)
    large_any = sum(one.large_any for one in pieces)
    lags = [one.lag_s for one in pieces if math.isfinite(one.lag_s)]
    scores = [one.score_k for one in pieces if math.isfinite(one.score_k)]
    return PartScore(
        name=name,
        part=part,
        cooks=len(plans),
        moments=moments,
        valid_frac=_mean(_shares(pieces, lambda one: (one.valid, one.moments))[0]),
        astray_frac=sum(one.astray for one in pieces) / moments,
        bias_k=bias,
        low_loa_k=low,
        high_loa_k=high,
        median_k=float(np.median(np.abs(error))) if error.size else math.nan,
        p95_k=_p95(np.abs(error)),
        covered=len(drawn) - misses,
        drawn=len(drawn),
        covered_low_frac=1.0 - ends[1],
        covered_high_frac=1.0 - ends[0],
        interval_score_k=_mean(np.asarray(scores)),
        median_u95_k=float(np.median(u95)) if u95.size else math.nan,
        large_cooks=len(large),
        large_high_frac=upper_bound_frac(len(large), len(plans)),
        flagged_frac=sum(one.large_withheld for one in pieces) / large_any
        if large_any
        else math.nan,
        flagged_of=len({one.plan for one in pieces if one.large_any}),
        false_flag_frac=_mean(_shares(pieces, lambda one: (one.small_withheld, one.small_any))[0]),
        blind_s=max(one.blind_s for one in pieces),
        lag_s=float(np.median(lags)) if lags else math.nan,
        lag_cooks=len(lags),
    )


def _p95(values: FloatArray) -> float:
    return float(np.quantile(values, 0.95)) if values.size else math.nan


def _mean(values: FloatArray) -> float:
    return float(values.mean()) if values.size else math.nan


def _agreement(pieces: Sequence[Piece], error: FloatArray) -> tuple[float, float, float]:
    """Return bias as the mean of cook means, and limits of agreement."""
    if not error.size:
        return math.nan, math.nan, math.nan
    plans = np.repeat([one.plan for one in pieces], [len(one.error_k) for one in pieces])
    try:
        found = agreement_limits(error, cook=plans)
    except NotEnoughDataError:
        means = [error[plans == plan].mean() for plan in np.unique(plans)]
        return float(np.mean(means)), math.nan, math.nan
    return found.bias, found.lower, found.upper


def _drawn(pieces: Sequence[Piece]) -> list[int]:
    """Return whether the drawn interval holds, one draw an independent cook.

    The burner or repeat that is looked at is drawn by the plan's name, weighed by its
    readings, so that every reading of the cook is as likely.
    """
    plans: dict[str, list[Piece]] = {}
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


def _shares(
    pieces: Sequence[Piece], count: Callable[[Piece], tuple[int, int]]
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


def _points(pieces: Sequence[Piece]) -> tuple[FloatArray, FloatArray]:
    """Return some moments for a picture, evenly over all kept ones."""
    so = np.concatenate([np.asarray(one.so_k, np.float64) for one in pieces])
    error = np.concatenate([np.asarray(one.error_k, np.float64) for one in pieces])
    if so.size > SHOWN_POINTS:
        at = np.linspace(0, so.size - 1, SHOWN_POINTS).round().astype(np.int64)
        so, error = so[at], error[at]
    return so, error
