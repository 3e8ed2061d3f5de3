"""Claims and requirements: each decision with its evidence, one grade at a time."""

from __future__ import annotations

from collections import Counter

from trivet.present.texts import (
    NONE,
    failure_rate,
    joined,
    metric_bound,
    metric_limit,
    metric_value,
    share,
)
from trivet.records.design import Design, Display
from trivet.records.dossier import Claim, Section, Table
from trivet.records.requirement import EVIDENCE_ORDER, METRICS, Evidence, Requirement
from trivet.records.verdict import EvidenceLine, RequirementVerdict, Verdict

WITHIN = "within the simulator"
GRADE_TITLES: dict[Evidence, str] = {
    "predicted": "Predicted evidence",
    "simulated": "Simulated evidence",
    "bench": "Bench evidence",
}
GRADE_NOTES: dict[Evidence, str] = {
    "predicted": "Calculated from the design and sealed before any recording was read.",
    "simulated": "Every figure here holds within the simulator only; a bound says how few cooks"
    " were run there, not how well the simulator matches a kitchen.",
    "bench": "Independent cooks: all repeats of one plan count as one, at their worst.",
}


def summary(verdict: Verdict) -> str:
    """Return the outcome in two sentences."""
    counts = Counter(one.decision for one in verdict.requirements)
    total = len(verdict.requirements)
    parts = [f"{counts[word]} {word}" for word in ("met", "not met", "not proven") if counts[word]]
    head = f"Of {total} requirement{'s' if total != 1 else ''}, {joined(parts or ['none judged'])}."
    if verdict.passes and total:
        return f"{head} Every requirement is met by the evidence that it asks for."
    unproven = [one for one in verdict.requirements if one.safety and one.decision == "not proven"]
    if unproven:
        ids = joined(one.id for one in unproven)
        return f"{head} The design is not shown to do its job; safety is not proven for {ids}."
    return f"{head} The design is not shown to do its job."


def claims(design: Design, *, verdict: Verdict) -> tuple[Claim, ...]:
    """Return the lines of the first page in the order of the design."""
    asked = {one.id: one for one in design.requirements}
    return tuple(
        Claim(
            id=one.id,
            text=one.text,
            decision=one.decision,
            reason=one.reason,
            limit=metric_limit(one.limit, one.metric, design.display),
            evidence=_grades(one, asked.get(one.id)),
        )
        for one in verdict.requirements
    )


def _grades(one: RequirementVerdict, asked: Requirement | None) -> str:
    """Return the grades at hand, and the grade asked for where it is missing."""
    held = {line.evidence for line in one.lines}
    text = ", ".join(grade for grade in EVIDENCE_ORDER if grade in held) or "none"
    if asked is None:
        return text
    least = EVIDENCE_ORDER.index("bench" if asked.safety else asked.evidence)
    needed = EVIDENCE_ORDER[least]
    exact = asked.metric in METRICS and METRICS[asked.metric].source == "prediction"
    short = not any(EVIDENCE_ORDER.index(grade) >= least for grade in held)
    if short and not (exact and not asked.safety):
        return f"{text}; {needed} needed"
    return text


def requirement_section(design: Design, *, verdict: Verdict) -> Section:
    """Return every requirement, then the evidence in one table a grade."""
    tables = [_asked_table(design, verdict)]
    for grade in EVIDENCE_ORDER:
        rows = [
            _evidence_row(design, one, line)
            for one in verdict.requirements
            for line in one.lines
            if line.evidence == grade
        ]
        if rows:
            tables.append(
                Table(
                    GRADE_TITLES[grade],
                    ("Requirement", "Limit", "Result", "Bound", "Decision", "In words"),
                    tuple(rows),
                    GRADE_NOTES[grade],
                    grade,
                )
            )
    bare = [one.id for one in verdict.requirements if not one.lines]
    words = [
        "A requirement is met when the end of the confidence interval, with its guard band,"
        " lies on the right side of the limit and the grade of evidence is the one asked for."
        " Simulated and bench evidence are judged apart and never pooled; a safety requirement"
        " supported by simulation alone is not proven, however many cooks were run."
    ]
    if bare:
        words.append(f"There is no evidence at all for {joined(bare)}.")
    return Section("Requirements and their evidence", tuple(words), tuple(tables))


def _asked_table(design: Design, verdict: Verdict) -> Table:
    asked = {one.id: one for one in design.requirements}
    rows: list[tuple[str, ...]] = []
    for one in verdict.requirements:
        wanted = asked.get(one.id)
        meaning = METRICS[one.metric].meaning if one.metric in METRICS else one.metric
        rows.append(
            (
                one.id + (" (safety)" if one.safety else ""),
                f"{one.text} ({meaning})",
                metric_limit(one.limit, one.metric, design.display),
                _how_sure(wanted),
                wanted.evidence if wanted else NONE,
                one.decision,
            )
        )
    judged = {one.id for one in verdict.requirements}
    for one_asked in design.requirements:
        if one_asked.id not in judged:
            limit = metric_limit(one_asked.limit, one_asked.metric, design.display)
            how = _how_sure(one_asked)
            rows.append(
                (one_asked.id, one_asked.text, limit, how, one_asked.evidence, "not judged")
            )
    columns = ("Requirement", "What must hold", "Limit", "How sure", "Least evidence", "Decision")
    return Table("What was asked", columns, tuple(rows))


def _how_sure(wanted: Requirement | None) -> str:
    if wanted is None or wanted.metric not in METRICS:
        return NONE
    if METRICS[wanted.metric].source == "prediction":
        return "calculated"
    cover = share(wanted.coverage_frac, 0)
    return f"{cover} coverage, {share(wanted.confidence_frac, 0)} confidence"


def _evidence_row(design: Design, one: RequirementVerdict, line: EvidenceLine) -> tuple[str, ...]:
    asked = next((item for item in design.requirements if item.id == one.id), None)
    confidence = float(asked.confidence_frac) if asked else 0.95
    return (
        one.id,
        metric_limit(one.limit, one.metric, design.display),
        metric_value(line.value, one.metric, design.display),
        _bound(line, one.metric, design.display),
        line.decision,
        _in_words(line, confidence),
    )


def _in_words(line: EvidenceLine, confidence: float) -> str:
    """Return the verdict's sentence; a count that came without a bound is given one."""
    if line.cooks and "%" not in line.text:
        return f"{line.text}; failed {failure_rate(line.failures, line.cooks, confidence)}"
    return line.text


def _bound(line: EvidenceLine, metric: str, display: Display) -> str:
    if line.evidence == "predicted" and line.bound == line.value:
        return "calculated"
    bound = metric_bound(line.bound, metric, display)
    if line.bound != line.bound:
        return bound
    return f"{bound} {WITHIN}" if line.evidence == "simulated" else bound
