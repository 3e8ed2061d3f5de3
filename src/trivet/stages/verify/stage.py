"""The verdict: what the evidence says of each requirement, and nothing more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from trivet.errors import EvidenceError
from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.records.requirement import EVIDENCE_ORDER, METRICS, Evidence, Requirement
from trivet.records.verdict import (
    Decision,
    EvidenceLine,
    ProofCook,
    RequirementVerdict,
    Verdict,
)
from trivet.scoring.agreement import strata
from trivet.scoring.cookmetrics import COUNTED, VALUED
from trivet.scoring.outcomes import CookOutcome
from trivet.scoring.predictions import predicted_line
from trivet.stages.verify.lines import cook_line

COOK_GRADES: tuple[Evidence, ...] = ("simulated", "bench")


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
    return Verdict(
        requirements=tuple(
            _judged(one, design=design, prediction=prediction, cooks=cooks)
            for one in design.requirements
        ),
        strata=strata(cooks, design=design),
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
    requirement: Requirement, *, design: Design, prediction: Prediction, cooks: Sequence[ProofCook]
) -> RequirementVerdict:
    missing = ""
    if METRICS[requirement.metric].source == "prediction":
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
    requirement: Requirement, *, design: Design, cooks: Sequence[ProofCook]
) -> tuple[tuple[EvidenceLine, ...], str]:
    """Return a line a grade, and what kept cooks from saying anything."""
    counted = requirement.metric in COUNTED
    metric = COUNTED[requirement.metric] if counted else VALUED[requirement.metric]
    lines, silent = [], Counter[str]()
    for grade in COOK_GRADES:
        outcomes: list[tuple[ProofCook, CookOutcome]] = []
        for cook in cooks:
            if cook.evidence == grade:
                outcome = metric(cook, requirement=requirement, design=design)
                outcomes.append((cook, outcome))
                silent[outcome.note] += outcome.state is None
        line = cook_line(requirement, evidence=grade, outcomes=outcomes, counted=counted)
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

    References
    ----------
    House rule; JCGM 106:2012 for the guard bands within the lines.
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
