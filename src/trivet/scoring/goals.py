"""The goals of each stratum, and whether so many cooks show them met."""

from __future__ import annotations

import math
from collections.abc import Iterator

from trivet.records.scoring import STRATA, GoalLine, ScoreDecision, StratumScore

FEWEST = 20
"""Cooks from which an accuracy goal is judged; 20 without a failure prove 86 %."""
FEWEST_DRAWS = 59
"""Draws from which coverage is judged: as many without a miss prove 95 % (exact, 95 %)."""
COVERAGE = 0.95
WIDTH_PER_P95 = 2.5
FLAGGED_FRAC, FALSE_FLAG_FRAC = 0.99, 0.10


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
    cooks = one.whole.cooks

    def line(what: str, goal: str, found: str, decision: ScoreDecision, text: str) -> GoalLine:
        return GoalLine(kind.name, what, goal, found, decision, text)

    for what, value, ends, limit in (
        ("median error", one.whole.median_k, one.median_range_k, kind.median_k),
        ("P95 of valid", one.whole.p95_k, one.p95_range_k, kind.p95_k),
    ):
        if math.isfinite(limit):
            decision = _beside(ends, limit, cooks=cooks)
            yield line(what, f"≤ {limit:.0f} K", _kelvin(value), decision, _ends(ends, "K"))
    if math.isfinite(kind.valid_frac):
        low, high = one.valid_range_frac
        yield line(
            "valid share",
            f"≥ {100 * kind.valid_frac:.0f} %",
            _percent(one.whole.valid_frac),
            _beside((-high, -low), -kind.valid_frac, cooks=cooks),
            _ends((100 * low, 100 * high), "%"),
        )
    if math.isfinite(kind.p95_k):
        limit, width = WIDTH_PER_P95 * kind.p95_k, one.whole.median_u95_k
        few = cooks < FEWEST or math.isnan(width)
        yield line(
            "median U95",
            f"≤ {limit:.1f} K",
            _kelvin(width),
            "too few" if few else "met" if width <= limit else "not met",
            f"{cooks} cooks",
        )
    if kind.none_large:
        none: ScoreDecision = "met" if cooks >= FEWEST else "too few"
        yield line(
            "valid readings wrong by over 15 K",
            "none",
            f"{one.whole.large_cooks} of {cooks} cooks",
            "not met" if one.whole.large_cooks else none,
            f"at most {_percent(one.whole.large_high_frac)} of cooks",
        )
    yield from _honesty(one, measurable=not kind.none_large)


def _honesty(one: StratumScore, *, measurable: bool) -> Iterator[GoalLine]:
    """Yield what is asked of every stratum: intervals that cover, and errors that are flagged."""
    whole = one.whole
    holds = whole.covered_low_frac <= COVERAGE <= whole.covered_high_frac
    few = whole.drawn < FEWEST_DRAWS
    side = "wide" if whole.covered_low_frac > COVERAGE else "narrow"
    exact = _ends((100 * whole.covered_low_frac, 100 * whole.covered_high_frac), "%")
    if whole.drawn:
        yield GoalLine(
            whole.name,
            "coverage of the 95 % interval",
            "compatible with 95 %",
            f"{whole.covered} of {whole.drawn}",
            "not met" if not holds else "too few" if few else "met",
            exact if holds else f"{exact}: intervals too {side}",
        )
    flagged, of = whole.flagged_frac, whole.flagged_of
    if of:
        reached: ScoreDecision = "met" if flagged >= FLAGGED_FRAC else "not met"
        yield GoalLine(
            whole.name,
            "errors over 15 K withheld",
            f"≥ {100 * FLAGGED_FRAC:.0f} %",
            _percent(flagged),
            "too few" if of < FEWEST and reached == "met" else reached,
            f"of the moments of {of} cooks; {whole.large_cooks} cooks show one",
        )
    if measurable and math.isfinite(whole.false_flag_frac):
        low, high = one.false_flag_range_frac
        yield GoalLine(
            whole.name,
            "right within 15 K yet withheld",
            f"≤ {100 * FALSE_FLAG_FRAC:.0f} %",
            _percent(whole.false_flag_frac),
            _beside((low, high), FALSE_FLAG_FRAC, cooks=whole.cooks),
            _ends((100 * low, 100 * high), "%"),
        )


def _beside(ends: tuple[float, float], limit: float, *, cooks: int) -> ScoreDecision:
    """Return on which side of an upper limit an interval lies."""
    low, high = ends
    if cooks < FEWEST or math.isnan(low):
        return "too few"
    if high <= limit:
        return "met"
    return "not met" if low > limit else "too few"


def _ends(ends: tuple[float, float], unit: str) -> str:
    if math.isnan(ends[0]):
        return "no interval"
    return f"95 %: {ends[0]:.1f} to {ends[1]:.1f} {unit}"


def _kelvin(value: float) -> str:
    return "no reading" if math.isnan(value) else f"{value:.1f} K"


def _percent(value: float) -> str:
    return "unknown" if math.isnan(value) else f"{100 * value:.1f} %"
