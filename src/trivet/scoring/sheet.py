"""From the pieces of many cooks to the sheet of a score: figures by stratum, and goals."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import EvidenceError, NotEnoughDataError
from trivet.physics.statistics.agreement import cluster_bootstrap
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
from trivet.scoring.checks import FEWEST_COOKS, RESAMPLES, check_goals, check_scores
from trivet.scoring.figures import (
    cook_errors,
    cook_shares,
    false_flag_share,
    figures,
    p95,
    valid_share,
)
from trivet.scoring.panwords import confusion_rows

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
    seed = hashlib.sha256(f"{condition}\n{name}".encode()).digest()[:8]
    generator = np.random.default_rng(int.from_bytes(seed, "big"))
    error, plans = cook_errors(pieces)

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
                draws=RESAMPLES,
            )
        except NotEnoughDataError:
            return math.nan, math.nan

    # One generator: the order of these decides the draws.
    ranges = {
        "median": spread(np.abs(error), plans.tolist(), lambda x: float(np.median(x))),
        "p95": spread(np.abs(error), plans.tolist(), p95),
        "valid": spread(*cook_shares(pieces, valid_share)),
        "false_flag": spread(*cook_shares(pieces, false_flag_share)),
    }
    whole = part_score(pieces, name=name)
    found = {
        key: replace(one, low=ranges[key][0], high=ranges[key][1]) if key in ranges else one
        for key, one in whole.figures.items()
    }
    so, off = _points(pieces)
    return StratumScore(replace(whole, figures=found), so, off)


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
    """Yield each goal of a stratum with what was found.

    Parameters
    ----------
    one : StratumScore
        Its figures.

    Yields
    ------
    GoalLine
        Met, not met, or too few cooks to tell.

    Notes
    -----
    A figure is met or not met when the 95 % interval from resampled cooks lies on one
    side of its goal; else more cooks would be needed. Coverage is compatible while its
    exact interval holds 95 %; under 59 draws that says nothing. A reading wrong by over
    15 K in a stratum that allows none fails it, however few the cooks; such a stratum is
    not measurable, so nothing is withheld from it wrongly.

    References
    ----------
    House rule; Clopper and Pearson (1934).
    """
    kind = next(kind for kind in STRATA if kind.name == one.whole.name)
    cooks, width = one.whole.cooks, one.whole["u95"].value

    def line(what: str, goal: str, found: str, decision: ScoreDecision, text: str) -> GoalLine:
        return GoalLine(kind.name, what, goal, found, decision, text)

    for what, error, limit in (
        ("median error", one.whole["median"], kind.median_k),
        ("P95 of valid", one.whole["p95"], kind.p95_k),
    ):
        if math.isfinite(limit):
            decision = _beside((error.low, error.high), limit, cooks=cooks)
            ends = _ends(error, "K")
            yield line(what, f"≤ {limit:.0f} K", _kelvin(error.value), decision, ends)
    if math.isfinite(kind.valid_frac):
        valid = one.whole["valid"]
        yield line(
            "valid share",
            f"≥ {100 * kind.valid_frac:.0f} %",
            _percent(valid.value),
            _beside((-valid.high, -valid.low), -kind.valid_frac, cooks=cooks),
            _ends(valid, "%"),
        )
    if math.isfinite(kind.p95_k):
        limit = WIDTH_PER_P95 * kind.p95_k
        few = cooks < FEWEST_COOKS or math.isnan(width)
        yield line(
            "median U95",
            f"≤ {limit:.1f} K",
            _kelvin(width),
            "too few" if few else "met" if width <= limit else "not met",
            f"{cooks} cooks",
        )
    if kind.none_large:
        large = one.whole["large"]
        none: ScoreDecision = "met" if cooks >= FEWEST_COOKS else "too few"
        yield line(
            "valid readings wrong by over 15 K",
            "none",
            f"{large.count} of {cooks} cooks",
            "not met" if large.count else none,
            f"at most {_percent(large.high)} of cooks",
        )
    yield from _honesty(one, measurable=not kind.none_large)


def _honesty(one: StratumScore, *, measurable: bool) -> Iterator[GoalLine]:
    """Yield what is asked of every stratum: intervals that cover, and errors that are flagged."""
    whole, covered, flagged = one.whole, one.whole["covered"], one.whole["flagged"]
    if covered.of:
        holds = covered.low <= NOMINAL_COVERAGE <= covered.high
        side = "wide" if covered.low > NOMINAL_COVERAGE else "narrow"
        exact = _ends(covered, "%")
        yield GoalLine(
            whole.name,
            "coverage of the 95 % interval",
            "compatible with 95 %",
            f"{covered.count} of {covered.of}",
            "not met" if not holds else "too few" if covered.of < FEWEST_DRAWS else "met",
            exact if holds else f"{exact}: intervals too {side}",
        )
    if flagged.of:
        reached: ScoreDecision = "met" if flagged.value >= FLAGGED_FRAC else "not met"
        yield GoalLine(
            whole.name,
            "errors over 15 K withheld",
            f"≥ {100 * FLAGGED_FRAC:.0f} %",
            _percent(flagged.value),
            "too few" if flagged.of < FEWEST_COOKS and reached == "met" else reached,
            f"of the moments of {flagged.of} cooks; {whole['large'].count} cooks show one",
        )
    false = whole["false_flag"]
    if measurable and math.isfinite(false.value):
        yield GoalLine(
            whole.name,
            "right within 15 K yet withheld",
            f"≤ {100 * FALSE_FLAG_FRAC:.0f} %",
            _percent(false.value),
            _beside((false.low, false.high), FALSE_FLAG_FRAC, cooks=whole.cooks),
            _ends(false, "%"),
        )


def _beside(ends: tuple[float, float], limit: float, *, cooks: int) -> ScoreDecision:
    """Return on which side of an upper limit an interval lies."""
    low, high = ends
    if cooks < FEWEST_COOKS or math.isnan(low):
        return "too few"
    if high <= limit:
        return "met"
    return "not met" if low > limit else "too few"


def _ends(found: MetricValue, unit: str) -> str:
    if math.isnan(found.low):
        return "no interval"
    scale = 100.0 if unit == "%" else 1.0
    return f"95 %: {scale * found.low:.1f} to {scale * found.high:.1f} {unit}"


def _kelvin(value: float) -> str:
    return "no reading" if math.isnan(value) else f"{value:.1f} K"


def _percent(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{100 * value:.1f} %"
