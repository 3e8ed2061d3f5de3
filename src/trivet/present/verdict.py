"""The verdict: each decision with its evidence, and agreement stratum by stratum."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

from trivet.present.numbers import (
    NONE,
    UNKNOWN,
    Formatter,
    covered_rate,
    failure_rate,
    joined,
    number,
    read_only,
    share,
)
from trivet.present.parts import ALL, claim_section, tabulate
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, Claim, Grade, Section, Table
from trivet.records.requirement import EVIDENCE_ORDER, Evidence, Requirement
from trivet.records.verdict import EvidenceLine, RequirementVerdict, Stratum, Verdict
from trivet.scoring.registry import REQUIRABLE

AGAINST: dict[Grade, str] = {"simulated": "the simulator's truth", "bench": "reference probes"}
WITHIN = "within the simulator"
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


def verdict_sections(design: Design, *, verdict: Verdict) -> tuple[Section, ...]:
    """Return the decisions, then the evidence, as the terminal shows them."""
    head = claim_section(summary(verdict), claims(design, verdict=verdict))
    return head, requirement_section(design, verdict=verdict)


def claims(design: Design, *, verdict: Verdict) -> tuple[Claim, ...]:
    """Return the lines of the first page in the order of the design."""
    show = Formatter(design.display)
    asked = {one.id: one for one in design.requirements}
    return tuple(
        Claim(
            id=one.id,
            text=one.text,
            decision=one.decision,
            reason=one.reason,
            limit=show.metric_limit(one.limit, one.metric),
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
    exact = asked.metric in REQUIRABLE and REQUIRABLE[asked.metric].room == "prediction"
    short = not any(EVIDENCE_ORDER.index(grade) >= least for grade in held)
    if short and not (exact and not asked.safety):
        return f"{text}; {needed} needed"
    return text


def requirement_section(design: Design, *, verdict: Verdict) -> Section:
    """Return every requirement, then the evidence in one table a grade."""
    show = Formatter(design.display)
    tables = [_asked_table(design, verdict)]
    asked = {one.id: one for one in design.requirements}
    for grade in EVIDENCE_ORDER:
        rows = [(one, line) for one in verdict.requirements for line in one.lines]
        mine = [(one, line) for one, line in rows if line.evidence == grade]
        if mine:
            tables.append(_evidence_table(show, asked, mine, grade))
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
    show = Formatter(design.display)
    asked = {one.id: one for one in design.requirements}
    judged = {one.id: one for one in verdict.requirements}

    def what(one: RequirementVerdict | Requirement) -> str:
        if one.metric not in REQUIRABLE or one.id not in judged:
            return one.text
        return f"{one.text} ({REQUIRABLE[one.metric].meaning})"

    unjudged = [one for one in design.requirements if one.id not in judged]
    both: list[RequirementVerdict | Requirement] = [*judged.values(), *unjudged]
    return tabulate(
        "What was asked",
        both,
        {
            "Requirement": lambda one: one.id + (" (safety)" if one.safety else ""),
            "What must hold": what,
            "Limit": lambda one: show.metric_limit(one.limit, one.metric),
            "How sure": lambda one: _how_sure(asked.get(one.id)),
            "Least evidence": lambda one: asked[one.id].evidence if one.id in asked else NONE,
            "Decision": lambda one: judged[one.id].decision if one.id in judged else "not judged",
        },
    )


def _how_sure(wanted: Requirement | None) -> str:
    if wanted is None or wanted.metric not in REQUIRABLE:
        return NONE
    if REQUIRABLE[wanted.metric].room == "prediction":
        return "calculated"
    cover = share(wanted.coverage_frac, 0)
    return f"{cover} coverage, {share(wanted.confidence_frac, 0)} confidence"


def _evidence_table(
    show: Formatter,
    asked: Mapping[str, Requirement],
    rows: Sequence[tuple[RequirementVerdict, EvidenceLine]],
    grade: Evidence,
) -> Table:
    return tabulate(
        "Evidence",
        rows,
        {
            "Requirement": lambda row: row[0].id,
            "Limit": lambda row: show.metric_limit(row[0].limit, row[0].metric),
            "Result": lambda row: show.metric_value(row[1].value, row[0].metric),
            "Bound": lambda row: _bound(row[1], row[0].metric, show),
            "Decision": lambda row: row[1].decision,
            "In words": lambda row: _in_words(row[1], asked.get(row[0].id)),
        },
        note=GRADE_NOTES[grade],
        evidence=grade,
        brief_rows=ALL,
    )


def _in_words(line: EvidenceLine, asked: Requirement | None) -> str:
    """Return the verdict's sentence; a count that came without a bound is given one."""
    confidence = float(asked.confidence_frac) if asked else 0.95
    if line.cooks and "%" not in line.text:
        return f"{line.text}; failed {failure_rate(line.failures, line.cooks, confidence)}"
    return line.text


def _bound(line: EvidenceLine, metric: str, show: Formatter) -> str:
    if line.evidence == "predicted" and line.bound == line.value:
        return "calculated"
    bound = show.metric_bound(line.bound, metric)
    if line.bound != line.bound:
        return bound
    return f"{bound} {WITHIN}" if line.evidence == "simulated" else bound


def agreement_section(design: Design, *, verdict: Verdict) -> Section:
    """Return tables and charts of agreement, one grade of evidence at a time."""
    grades = [grade for grade in AGAINST if any(one.evidence == grade for one in verdict.strata)]
    tables, charts = [], []
    for grade in grades:
        strata = [one for one in verdict.strata if one.evidence == grade]
        tables.append(_agreement_table(design, strata, grade))
        drawn = [one for one in strata if math.isfinite(one.bias_k)]
        if drawn:
            charts.append(_agreement_chart(drawn, grade))
    words = (
        "Bias and 95 % limits of agreement hold within a stratum: one grade of evidence, one"
        " surface, one kind of base contents. A small error on few valid moments is not a"
        " pass, so the share of moments with a reading stands beside it."
        if grades
        else "No proof cook has a stratum to compare: agreement is unknown."
    )
    return Section("Agreement by stratum", (words,), tuple(tables), tuple(charts))


def _agreement_table(design: Design, strata: Sequence[Stratum], grade: Grade) -> Table:
    show = Formatter(design.display)
    return tabulate(
        f"Against {AGAINST[grade]}",
        strata,
        {
            "Of": lambda one: one.of.replace("_", " "),
            "Contents": lambda one: one.contents,
            "Cooks": lambda one: str(one.cooks),
            "Moments": lambda one: number(one.moments, 0),
            "Valid": lambda one: share(one.valid_frac),
            "Bias": lambda one: show.signed(one.bias_k),
            "95 % limits of agreement": lambda one: (
                f"{show.signed(one.low_loa_k)} to {show.signed(one.high_loa_k)}"
                if math.isfinite(one.low_loa_k)
                else UNKNOWN
            ),
            "95 % of errors under": lambda one: show.difference(one.p95_error_k),
            "Intervals that cover": lambda one: covered_rate(one.covered, one.drawn),
        },
        note=(
            "Valid: counted share of heated moments; moments of one cook are not independent, so"
            " it carries no binomial bound and is no claim. Intervals that cover: one moment drawn"
            " a run, with the exact 95 % interval of the rate; it takes runs as independent, which"
            " repeats of one plan are only in part."
        ),
        evidence=grade,
    )


def _agreement_chart(strata: Sequence[Stratum], grade: Grade) -> Chart:
    lines = tuple(
        ChartLine(
            f"of {one.of.replace('_', ' ')}, base {one.contents} ({one.cooks} cooks)",
            read_only([place]),
            read_only([one.bias_k]),
            read_only([one.low_loa_k]),
            read_only([one.high_loa_k]),
        )
        for place, one in enumerate(strata)
    )
    return Chart(
        "error",
        f"Bias and limits of agreement against {AGAINST[grade]}",
        "Point: bias. Bar: 95 % limits of agreement. Right of zero the reading is too high.",
        x_label="reported minus " + ("truth" if grade == "simulated" else "reference"),
        lines=lines,
        evidence=grade,
    )
