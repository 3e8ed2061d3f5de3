"""From the outcomes of cooks to one line of evidence, with an exact bound."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from trivet.errors import OutOfRangeError
from trivet.physics.statistics.intervals import lower_bound_frac, sample_size, upper_bound_frac
from trivet.records.requirement import METRICS, Evidence, Requirement
from trivet.records.verdict import Decision, EvidenceLine, ProofCook
from trivet.scoring.outcomes import CookOutcome, State


@dataclass(frozen=True)
class Trial:
    """One independent cook: all repeats of one plan, at their worst."""

    plan: str
    state: State
    value: float


@dataclass(frozen=True)
class Tally:
    """Independent cooks of one grade."""

    trials: tuple[Trial, ...]
    runs: int
    failed: int
    hanging: int
    confidence: float


def _trials(
    outcomes: Sequence[tuple[ProofCook, CookOutcome]], *, at_least: bool
) -> tuple[tuple[Trial, ...], int]:
    """Join repeats: a plan is as good as its worst repeat. Return trials and runs."""
    plans: dict[str, dict[str, CookOutcome]] = defaultdict(dict)
    for cook, outcome in outcomes:
        if outcome.state is not None:
            plans[cook.plan].setdefault(cook.name, outcome)
    trials = []
    for plan, runs in plans.items():
        states = {one.state for one in runs.values()}
        state: State = (
            "fail" if "fail" in states else "conditional" if "conditional" in states else "ok"
        )
        values = [one.value for one in runs.values() if not math.isnan(one.value)]
        worst = (min(values) if at_least else max(values)) if values else math.nan
        trials.append(Trial(plan, state, worst))
    return tuple(trials), sum(len(runs) for runs in plans.values())


def cook_line(
    requirement: Requirement,
    *,
    evidence: Evidence,
    outcomes: Sequence[tuple[ProofCook, CookOutcome]],
    counted: bool,
) -> EvidenceLine | None:
    """Return what the cooks of one grade say of a requirement, None if they say nothing.

    Parameters
    ----------
    requirement : Requirement
        Limit, coverage, confidence.
    evidence : Evidence
        Grade of all these cooks; grades are never pooled.
    outcomes : sequence of (ProofCook, CookOutcome)
        Outcomes of the cooks.
    counted : bool
        True where the limit is a share of cooks; False where it holds for the
        coverage share of cooks.

    Returns
    -------
    EvidenceLine or None
        Value, exact one-sided bound, decision.

    Notes
    -----
    Repeats of one plan are one independent cook, as good as the worst repeat.
    A cook inside the guard band counts against "met" and not for "not met".
    Nothing proves a share of 100 % or a rate of zero.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934); JCGM 106:2012, clause 8.
    """
    at_least = METRICS[requirement.metric].sense == "at_least"
    trials, runs = _trials(outcomes, at_least=at_least and not counted)
    if not trials:
        return None
    tally = Tally(
        trials=trials,
        runs=runs,
        failed=sum(one.state == "fail" for one in trials),
        hanging=sum(one.state == "conditional" for one in trials),
        confidence=float(requirement.confidence_frac),
    )
    allowed = _allowed_frac(requirement, counted=counted, at_least=at_least)
    decision, upper = _decision(tally, allowed)
    value, bound = (
        _share(tally, upper, at_least) if counted else _quantile(tally, allowed, at_least)
    )
    return EvidenceLine(
        evidence=evidence,
        value=value,
        bound=bound,
        cooks=len(trials),
        failures=tally.failed,
        text=_text(tally, upper, allowed, evidence, decision),
        decision=decision,
        sources=tuple(sorted({cook.name for cook, one in outcomes if one.state is not None})),
    )


def _allowed_frac(requirement: Requirement, *, counted: bool, at_least: bool) -> float:
    """Return the share of cooks that may fail."""
    if not counted:
        return 1.0 - float(requirement.coverage_frac)
    return 1.0 - requirement.limit_value if at_least else requirement.limit_value


def _decision(tally: Tally, allowed: float) -> tuple[Decision, float]:
    n = len(tally.trials)
    upper = upper_bound_frac(tally.failed + tally.hanging, n, confidence=tally.confidence)
    lower = lower_bound_frac(tally.failed, n, confidence=tally.confidence)
    if upper <= allowed + 1e-12:
        return "met", upper
    if tally.failed and lower >= allowed - 1e-12:
        return "not met", upper
    return "not proven", upper


def _share(tally: Tally, upper: float, at_least: bool) -> tuple[float, float]:
    """Return the share of cooks that the metric counts, and its bound."""
    failing = (tally.failed + tally.hanging) / len(tally.trials)
    return (1.0 - failing, 1.0 - upper) if at_least else (failing, upper)


def _quantile(tally: Tally, allowed: float, at_least: bool) -> tuple[float, float]:
    """Return the value that the coverage share of cooks attains, and its confidence bound.

    Order statistics: if the claim stands with m cooks worse than it, the next
    worst bounds the quantile whatever the distribution; NaN with too few cooks.
    """
    # Worst first; a cook that gave no value is worse than any that did.
    silent = -math.inf if at_least else math.inf
    values = sorted(
        (silent if math.isnan(one.value) else one.value for one in tally.trials),
        reverse=not at_least,
    )
    n = len(values)
    spared = -1
    while spared + 1 < n and (
        upper_bound_frac(spared + 1, n, confidence=tally.confidence) <= allowed + 1e-12
    ):
        spared += 1
    bound = values[spared] if spared >= 0 else math.nan
    return values[min(n - 1, math.floor(allowed * n + 1e-9))], bound


def _text(
    tally: Tally, upper: float, allowed: float, evidence: Evidence, decision: Decision
) -> str:
    n = len(tally.trials)
    cooks = f"{n} independent cook{'s' if n != 1 else ''}"
    repeats = f" ({tally.runs} runs; repeats of a plan count once)" if tally.runs != n else ""
    hanging = f", {tally.hanging} undecided within the guard band" if tally.hanging else ""
    within = ", within the simulator" if evidence == "simulated" else ""
    text = (
        f"{tally.failed} of {cooks}{repeats} failed{hanging}: at most {100 * upper:.1f} % "
        f"at {100 * tally.confidence:.0f} % confidence{within}"
    )
    if decision == "not proven":
        text += f"; {_needed(allowed, tally)}"
    return text


def _needed(allowed: float, tally: Tally) -> str:
    try:
        needed = sample_size(
            allowed,
            confidence=tally.confidence,
            allowed_failures=tally.failed + tally.hanging,
        )
    except OutOfRangeError:
        return "no number of cooks proves this"
    return f"at most {100 * allowed:.3g} % would take {needed} with as many failures"
