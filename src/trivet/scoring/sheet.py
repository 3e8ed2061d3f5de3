"""From the pieces of many cooks to the sheet of a score: figures by stratum, and goals."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import EvidenceError
from trivet.records.checks import Check, PanWord
from trivet.records.requirement import Evidence
from trivet.records.scoring import (
    STRATA,
    GoalLine,
    MetricValue,
    PartScore,
    ScoreDecision,
    ScoreSheet,
    StratumPiece,
    StratumScore,
)
from trivet.scoring.checks import FEWEST_COOKS, check_goals, check_scores
from trivet.scoring.panwords import confusion_rows
from trivet.scoring.pieces import (
    cook_errors,
    cook_shares,
    false_flag_counts,
    figures,
    p95,
    valid_counts,
)
from trivet.scoring.registry import METRICS
from trivet.scoring.resampling import resampled, seeded

SHOWN_POINTS = 200  # own estimate: more cover one another in a picture
FEWEST_DRAWS = 59
"""Draws from which coverage is judged: as many without a miss prove 95 % (exact, 95 %)."""
NOMINAL_COVERAGE = 0.95  # definition: a 95 % interval
WIDTH_PER_P95 = 2.5
"""Goal: median U95 over the goal for P95; own estimate: a wider interval tells little."""
FLAGGED_FRAC, FALSE_FLAG_FRAC = 0.99, 0.10
"""Goals: share of errors over 15 K that are withheld, and of right numbers that are; own estimate:
a wrong number shown costs ten times a right one withheld."""
FEWEST_PART = 5
"""Cooks from which a part of a stratum is shown; own estimate: fewer have no interval."""


def score_sheet(
    pieces: Sequence[StratumPiece],
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
    pieces : sequence of StratumPiece
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
    Intervals of the figures come from whole cooks
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


def _parts(pieces: Sequence[StratumPiece]) -> Iterator[PartScore]:
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


def _stratum(name: str, pieces: Sequence[StratumPiece], condition: str) -> StratumScore:
    generator = seeded(condition, name)
    error, plans = cook_errors(pieces)
    size, cooks = np.abs(error), plans.tolist()
    valid, judged = cook_shares(pieces, valid_counts), cook_shares(pieces, false_flag_counts)
    # One generator: the order of these decides the draws.
    ranges = {
        "median": resampled(size, cook=cooks, generator=generator, statistic=_median),
        "p95": resampled(size, cook=cooks, generator=generator, statistic=p95),
        "valid": resampled(valid[0], cook=valid[1], generator=generator),
        "false_flag": resampled(judged[0], cook=judged[1], generator=generator),
    }
    whole = part_score(pieces, name=name)
    found = {
        key: replace(one, low=ranges[key][0], high=ranges[key][1]) if key in ranges else one
        for key, one in whole.figures.items()
    }
    so, off = _points(pieces)
    return StratumScore(replace(whole, figures=found), so, off)


def _median(values: FloatArray) -> float:
    return float(np.median(values))


def part_score(pieces: Sequence[StratumPiece], *, name: str, part: str = "") -> PartScore:
    """Return the figures of one or more pieces of one stratum, or of a part of it."""
    return PartScore(
        name=name,
        part=part,
        cooks=len({one.plan for one in pieces}),
        moments=sum(one.moments for one in pieces),
        figures=figures(pieces),
    )


def _points(pieces: Sequence[StratumPiece]) -> tuple[FloatArray, FloatArray]:
    """Return some moments for a picture, evenly over all kept ones."""
    so = np.concatenate([np.asarray(one.so_k, np.float64) for one in pieces])
    error = np.concatenate([np.asarray(one.error_k, np.float64) for one in pieces])
    if so.size > SHOWN_POINTS:
        at = np.linspace(0, so.size - 1, SHOWN_POINTS).round().astype(np.int64)
        so, error = so[at], error[at]
    return so, error


# -- goals ----------------------------------------------------------------------


def goal_lines(one: StratumScore) -> Iterator[GoalLine]:
    """Yield each goal of a stratum with what was found: met, not met, or too few cooks to tell.

    A figure is met or not met when the 95 % interval from resampled cooks lies on one side of
    its goal; else more cooks would be needed.  Coverage is compatible while its exact interval
    (Clopper and Pearson, 1934) holds 95 %; under 59 draws that says nothing.  A reading wrong
    by over 15 K in a stratum that allows none fails it, however few the cooks; such a stratum
    is not measurable, so nothing is withheld from it wrongly.
    """
    kind = next(kind for kind in STRATA if kind.name == one.whole.name)
    for what, name, limit, unit in (
        ("median error", "median", kind.median_k, "K"),
        ("P95 of valid", "p95", kind.p95_k, "K"),
        ("valid share", "valid", kind.valid_frac, "%"),
    ):
        if math.isfinite(limit):
            yield _bounded(one.whole, what, name, limit, unit)
    if math.isfinite(kind.p95_k):
        yield _width(one.whole, WIDTH_PER_P95 * kind.p95_k)
    if kind.none_large:
        yield _none_large(one.whole)
    if one.whole["covered"].of:
        yield _coverage(one.whole)
    if one.whole["flagged"].of:
        yield _flagged(one.whole)
    if not kind.none_large and math.isfinite(one.whole["false_flag"].value):
        what = "right within 15 K yet withheld"
        yield _bounded(one.whole, what, "false_flag", FALSE_FLAG_FRAC, "%")


def _bounded(whole: PartScore, what: str, name: str, limit: float, unit: str) -> GoalLine:
    """Return the goal of a figure that has an interval over resampled cooks."""
    found, up = whole[name], METRICS["score"][name].sense == "higher"
    good, bad = found.high <= limit, found.low > limit
    if up:
        good, bad = found.low >= limit, found.high < limit
    few = whole.cooks < FEWEST_COOKS or math.isnan(found.low) or not (good or bad)
    goal = f"{'≥' if up else '≤'} {_scale(unit) * limit:.0f} {unit}"
    decision: ScoreDecision = "too few" if few else "met" if good else "not met"
    return GoalLine(whole.name, what, goal, _shown(found.value, unit), decision, _ends(found, unit))


def _width(whole: PartScore, limit: float) -> GoalLine:
    width = whole["u95"].value
    few = whole.cooks < FEWEST_COOKS or math.isnan(width)
    decision: ScoreDecision = "too few" if few else "met" if width <= limit else "not met"
    goal, cooks = f"≤ {limit:.1f} K", f"{whole.cooks} cooks"
    return GoalLine(whole.name, "median U95", goal, _shown(width, "K"), decision, cooks)


def _none_large(whole: PartScore) -> GoalLine:
    large, what = whole["large"], "valid readings wrong by over 15 K"
    decision: ScoreDecision = "met" if whole.cooks >= FEWEST_COOKS else "too few"
    return GoalLine(
        whole.name,
        what,
        "none",
        f"{large.count} of {whole.cooks} cooks",
        "not met" if large.count else decision,
        f"at most {_shown(large.high, '%')} of cooks",
    )


def _coverage(whole: PartScore) -> GoalLine:
    covered = whole["covered"]
    holds = covered.low <= NOMINAL_COVERAGE <= covered.high
    side = "wide" if covered.low > NOMINAL_COVERAGE else "narrow"
    exact = _ends(covered, "%")
    return GoalLine(
        whole.name,
        "coverage of the 95 % interval",
        "compatible with 95 %",
        f"{covered.count} of {covered.of}",
        "not met" if not holds else "too few" if covered.of < FEWEST_DRAWS else "met",
        exact if holds else f"{exact}: intervals too {side}",
    )


def _flagged(whole: PartScore) -> GoalLine:
    flagged = whole["flagged"]
    reached: ScoreDecision = "met" if flagged.value >= FLAGGED_FRAC else "not met"
    return GoalLine(
        whole.name,
        "errors over 15 K withheld",
        f"≥ {100 * FLAGGED_FRAC:.0f} %",
        _shown(flagged.value, "%"),
        "too few" if flagged.of < FEWEST_COOKS and reached == "met" else reached,
        f"of the moments of {flagged.of} cooks; {whole['large'].count} cooks show one",
    )


def _scale(unit: str) -> float:
    return 100.0 if unit == "%" else 1.0


def _ends(found: MetricValue, unit: str) -> str:
    if math.isnan(found.low):
        return "no interval"
    low, high = _scale(unit) * found.low, _scale(unit) * found.high
    return f"95 %: {low:.1f} to {high:.1f} {unit}"


def _shown(value: float, unit: str) -> str:
    if math.isnan(value):
        return "no reading" if unit == "K" else "unknown"
    return f"{_scale(unit) * value:.1f} {unit}"
