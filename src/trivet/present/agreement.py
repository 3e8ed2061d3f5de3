"""Agreement of reported temperatures with truth or reference, stratum by stratum."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.present.texts import covered_rate, difference, number, read_only, share
from trivet.records.design import Design
from trivet.records.dossier import Chart, Line, Section, Table
from trivet.records.requirement import Evidence
from trivet.records.verdict import Stratum, Verdict

AGAINST: dict[Evidence, str] = {"simulated": "the simulator's truth", "bench": "reference probes"}


def agreement_section(design: Design, *, verdict: Verdict) -> Section:
    """Return tables and charts of agreement, one grade of evidence at a time."""
    grades: list[Evidence] = [
        grade for grade in AGAINST if any(one.evidence == grade for one in verdict.strata)
    ]
    tables, charts = [], []
    for grade in grades:
        strata = [one for one in verdict.strata if one.evidence == grade]
        tables.append(_table(design, strata, grade))
        drawn = [one for one in strata if math.isfinite(one.bias_k)]
        if drawn:
            charts.append(_chart(drawn, grade))
    words = (
        "Bias and 95 % limits of agreement hold within a stratum: one grade of evidence, one"
        " surface, one kind of base contents. A small error on few valid moments is not a"
        " pass, so the share of moments with a reading stands beside it."
        if grades
        else "No proof cook has a stratum to compare: agreement is unknown."
    )
    return Section("Agreement by stratum", (words,), tuple(tables), tuple(charts))


def _signed(value_k: float, design: Design) -> str:
    if not math.isfinite(value_k):
        return "unknown"
    text = difference(value_k, design.display)
    return text if text.startswith("−") else f"+{text}"


def _table(design: Design, strata: Sequence[Stratum], grade: Evidence) -> Table:
    rows = tuple(
        (
            one.of.replace("_", " "),
            one.contents,
            str(one.cooks),
            number(one.moments, 0),
            share(one.valid_frac),
            _signed(one.bias_k, design),
            f"{_signed(one.low_loa_k, design)} to {_signed(one.high_loa_k, design)}",
            difference(one.p95_error_k, design.display),
            covered_rate(one.covered, one.drawn),
        )
        for one in strata
    )
    columns = (
        "Of",
        "Contents",
        "Cooks",
        "Moments",
        "Valid",
        "Bias",
        "95 % limits of agreement",
        "95 % of errors under",
        "Intervals that cover",
    )
    note = (
        "Valid: counted share of heated moments; moments of one cook are not independent, so it"
        " carries no binomial bound and is no claim. Intervals that cover: one moment drawn a"
        " run, with the exact 95 % interval of the rate; it takes runs as independent, which"
        " repeats of one plan are only in part."
    )
    title = f"Against {AGAINST[grade]}"
    return Table(title, columns, rows, note, "simulated" if grade == "simulated" else "bench")


def _chart(strata: Sequence[Stratum], grade: Evidence) -> Chart:
    lines = tuple(
        Line(
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
        evidence="simulated" if grade == "simulated" else "bench",
    )
