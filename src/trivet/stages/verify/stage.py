"""The verdict: what the evidence says of each requirement, and nothing more."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from trivet.errors import EvidenceError, OutOfRangeError
from trivet.physics.statistics.intervals import lower_bound_frac, sample_size, upper_bound_frac
from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.records.requirement import COOK_GRADES, EVIDENCE_ORDER, Evidence, Requirement
from trivet.records.verdict import (
    CookOutcome,
    Decision,
    EvidenceLine,
    OutcomeState,
    ProofCook,
    RequirementVerdict,
    Verdict,
)
from trivet.scoring.predicted import predicted_line
from trivet.scoring.readings import agreement
from trivet.scoring.registry import limit_value, metric_of
from trivet.scoring.table import Rows, covered, reported, table

_TINY = 1e-12
"""Rounding of bounds that are equal on paper; own estimate: a hundred times a float's own."""
Cooks = Sequence[tuple[ProofCook, tuple[Rows, ...]]]
"""Cooks with the rows of the burners that the product reports."""


def verify(design: Design, *, prediction: Prediction, cooks: Sequence[ProofCook]) -> Verdict:
    """Return the decision about each requirement of a design, with its evidence.

    Parameters
    ----------
    design : Design
        Requirements with metric, limit, coverage, confidence, least evidence.
    prediction : Prediction
        Sealed before any recording was read.
    cooks : sequence of ProofCook
        Cooks kept for proof; nothing is fitted on them.

    Returns
    -------
    Verdict
        Met, not met or not proven, each with its lines of evidence; strata.

    Raises
    ------
    EvidenceError
        If two cooks bear one name, or a bench cook comes with a simulated truth.

    Notes
    -----
    Simulated and bench cooks are never pooled. Met needs a line that is met at
    the least grade asked or above, and no line of any grade that is not met. A
    safety requirement needs the bench, however many cooks were simulated. 59
    independent cooks without a failure prove 95 % at 95 %; 6 prove 61 %.

    References
    ----------
    JCGM 106:2012; ILAC-G8:09/2019, 4.2.3; Clopper and Pearson (1934).
    """
    _checked(cooks)
    rows = [(cook, reported(table(cook, design=design))) for cook in cooks]
    return Verdict(
        requirements=tuple(
            _judged(one, design=design, prediction=prediction, cooks=rows)
            for one in design.requirements
        ),
        strata=agreement((mine for _, mine in rows), design=design),
    )


def _checked(cooks: Sequence[ProofCook]) -> None:
    names = Counter(cook.name for cook in cooks)
    twice = [name for name, count in names.items() if count > 1]
    if twice:
        raise EvidenceError(f"cook {twice[0]!r} is given more than once: evidence counts once")
    for cook in cooks:
        if cook.evidence == "bench" and cook.truth is not None:
            raise EvidenceError(
                f"cook {cook.name!r} claims to be from the bench and holds a simulated truth"
            )
        if cook.evidence == "predicted":
            raise EvidenceError(f"cook {cook.name!r} is graded as predicted: no cook can be")


def _judged(
    requirement: Requirement, *, design: Design, prediction: Prediction, cooks: Cooks
) -> RequirementVerdict:
    missing = ""
    if metric_of(requirement).room == "prediction":
        lines: tuple[EvidenceLine, ...] = (
            predicted_line(requirement, prediction=prediction, design=design),
        )
    else:
        lines, missing = _cook_lines(requirement, design=design, cooks=cooks)
    decision, reason = decided(requirement, lines=lines, missing=missing)
    return RequirementVerdict(
        id=requirement.id,
        text=requirement.text,
        metric=requirement.metric,
        limit=requirement.limit,
        safety=requirement.safety,
        decision=decision,
        reason=reason,
        lines=lines,
    )


def _cook_lines(
    requirement: Requirement, *, design: Design, cooks: Cooks
) -> tuple[tuple[EvidenceLine, ...], str]:
    """Return a line a grade, and what kept cooks from saying anything."""
    function = metric_of(requirement).function
    lines, silent = [], Counter[str]()
    for grade in COOK_GRADES:
        outcomes: list[tuple[ProofCook, CookOutcome]] = []
        for cook, rows in cooks:
            if cook.evidence == grade:
                mine = tuple(covered(rows, requirement=requirement, design=design))
                outcome = function(mine, requirement=requirement, design=design)
                outcomes.append((cook, outcome))
                silent[outcome.note] += outcome.state is None
        line = _cook_line(requirement, grade, outcomes)
        if line is not None:
            lines.append(line)
    told = [note for note, count in silent.most_common(2) if note and count]
    return tuple(lines), "; ".join(told) or "no cook covers it"


def decided(
    requirement: Requirement, *, lines: Sequence[EvidenceLine], missing: str = ""
) -> tuple[Decision, str]:
    """Return the decision that the lines of evidence allow, and why.

    Parameters
    ----------
    requirement : Requirement
        Its least evidence, and whether it is about safety.
    lines : sequence of EvidenceLine
        One a grade.
    missing : str
        What kept cooks from giving a line.

    Returns
    -------
    tuple
        Decision and one sentence.

    Notes
    -----
    Evidence under the grade asked can only fail a requirement, never meet it.
    """
    least: Evidence = "bench" if requirement.safety else requirement.evidence
    rank = EVIDENCE_ORDER.index
    failing = [line for line in lines if line.decision == "not met"]
    if failing:
        worst = max(failing, key=lambda line: rank(line.evidence))
        return "not met", f"{worst.evidence}: {worst.text}"
    enough = [line for line in lines if rank(line.evidence) >= rank(least)]
    met = [line for line in enough if line.decision == "met"]
    if met:
        best = max(met, key=lambda line: rank(line.evidence))
        return "met", f"{best.evidence}: {best.text}"
    if enough:
        best = max(enough, key=lambda line: rank(line.evidence))
        return "not proven", f"{best.evidence}: {best.text}"
    why = "a safety requirement is never met without the bench" if requirement.safety else ""
    if lines:
        best = max(lines, key=lambda line: rank(line.evidence))
        have = f"only {best.evidence} evidence ({best.text}); {least} is needed"
        return "not proven", f"{have}; {why}" if why else have
    return "not proven", f"missing: {missing}; {least} evidence is needed"


# -- a line of evidence from cooks ---------------------------------------------------


@dataclass(frozen=True)
class IndependentCook:
    """One independent cook: all repeats of one plan, at their worst."""

    plan: str
    state: OutcomeState
    value: float


@dataclass(frozen=True)
class Tally:
    """Independent cooks of one grade."""

    trials: tuple[IndependentCook, ...]
    runs: int
    failed: int
    hanging: int
    confidence: float


def _trials(
    outcomes: Sequence[tuple[ProofCook, CookOutcome]], *, at_least: bool
) -> tuple[tuple[IndependentCook, ...], int]:
    """Join repeats: a plan is as good as its worst repeat. Return trials and runs."""
    plans: dict[str, dict[str, CookOutcome]] = defaultdict(dict)
    for cook, outcome in outcomes:
        if outcome.state is not None:
            plans[cook.plan].setdefault(cook.name, outcome)
    trials = []
    for plan, runs in plans.items():
        states = {one.state for one in runs.values()}
        state: OutcomeState = (
            "fail" if "fail" in states else "conditional" if "conditional" in states else "ok"
        )
        values = [one.value for one in runs.values() if not math.isnan(one.value)]
        worst = (min(values) if at_least else max(values)) if values else math.nan
        trials.append(IndependentCook(plan, state, worst))
    return tuple(trials), sum(len(runs) for runs in plans.values())


def _cook_line(
    requirement: Requirement,
    evidence: Evidence,
    outcomes: Sequence[tuple[ProofCook, CookOutcome]],
) -> EvidenceLine | None:
    """Return what the cooks of one grade say of a requirement, None if they say nothing.

    Repeats of one plan are one independent cook, as good as the worst repeat.  A cook inside
    the guard band counts against "met" and not for "not met" (JCGM 106:2012, clause 8).
    Nothing proves a share of 100 % or a rate of zero.
    """
    asked = metric_of(requirement)
    at_least, counted = asked.sense == "higher", asked.joined == "share"
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
    limit = limit_value(requirement)
    return 1.0 - limit if at_least else limit


def _decision(tally: Tally, allowed: float) -> tuple[Decision, float]:
    n = len(tally.trials)
    upper = upper_bound_frac(tally.failed + tally.hanging, n, confidence=tally.confidence)
    lower = lower_bound_frac(tally.failed, n, confidence=tally.confidence)
    if upper <= allowed + _TINY:
        return "met", upper
    if tally.failed and lower >= allowed - _TINY:
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
        upper_bound_frac(spared + 1, n, confidence=tally.confidence) <= allowed + _TINY
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
