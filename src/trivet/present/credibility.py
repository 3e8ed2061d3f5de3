"""The simulator beside the bench: verdicts, values beside their bands, gaps."""

from __future__ import annotations

import math
from collections.abc import Iterator

from trivet.present.numbers import UNKNOWN, Formatter, seconds
from trivet.present.parts import tabulate
from trivet.records.credibility import Credibility, Gap, TwinRow
from trivet.records.design import Display
from trivet.records.dossier import Section, Table
from trivet.scoring.registry import METRICS


def credibility_section(found: Credibility, *, display: Display) -> Section:
    """Return verdicts, values beside their bands, gaps, and what nothing here proves."""
    show = Formatter(display)
    bench = "recorded" if found.bench_evidence == "bench" else "made (synthetic)"
    words = (
        f"{len(found.cooks)} {bench} cooks, {found.draws} simulated twins of each.",
        *(f"Not compared: {line}" for line in found.left_out),
        *found.notes,
        found.caution,
    )
    tables = (_verdicts(found, show), _values(found, show), *_gaps(found.gaps))
    return Section("Simulator beside the bench", words, tables)


def _verdicts(found: Credibility, show: Formatter) -> Table:
    return tabulate(
        "By quantity",
        found.verdicts,
        {
            "Quantity": lambda one: one.topic,
            "Verdict": lambda one: one.agreement,
            "Simulated − bench": lambda one: _value(one.topic, one.bias, show, apart=True),
            "Half band": lambda one: _value(one.topic, one.half_band, show, apart=True),
            "Share, with its exact bound": lambda one: one.text,
        },
    )


def _values(found: Credibility, show: Formatter) -> Table:
    return tabulate(
        "Value by value",
        found.rows,
        {
            "Cook": lambda row: row.cook,
            "Burner": lambda row: row.question.burner,
            "Quantity": lambda row: _words(row, show),
            "Bench": lambda row: _value(row.question.topic, row.bench, show),
            "95 % of twins": lambda row: " to ".join(
                _value(row.question.topic, end, show) for end in (row.low, row.high)
            ),
            "Verdict": lambda row: "inside" if row.inside else "outside",
        },
    )


def _words(row: TwinRow, show: Formatter) -> str:
    """Return the quantity with what it is of and its level."""
    asked = row.question
    if math.isnan(asked.high_k):
        return f"{asked.topic}, {asked.of}"
    return f"{asked.topic}, {asked.of} at {show.temperature(asked.high_k)}"


def _value(topic: str, value: float, show: Formatter, *, apart: bool = False) -> str:
    """Return a value in the display's unit; ``apart`` where it is a difference of two."""
    if math.isnan(value):
        return UNKNOWN
    unit = METRICS["credibility"][topic].unit
    if apart and math.isinf(value):
        return "open"
    if unit == "time":
        return seconds(value)
    if unit == "rate":
        return show.heating_rate(value, 2)
    if math.isinf(value):
        return "saturated"
    if unit == "difference" or apart:
        return show.difference(value)
    return show.temperature(value)


def _gaps(gaps: tuple[Gap, ...]) -> Iterator[Table]:
    """Yield the conditions of one side only, one line a factor."""
    levels: dict[tuple[str, str], list[str]] = {}
    for words, only in (("on the bench only", "bench"), ("simulated only", "simulated")):
        for gap in gaps:
            if gap.only == only:
                levels.setdefault((words, gap.factor), []).append(gap.level)
    if levels:
        yield tabulate(
            "Conditions never covered",
            levels.items(),
            {
                "Where": lambda item: item[0][0],
                "Factor": lambda item: item[0][1],
                "Levels": lambda item: ", ".join(item[1]),
            },
        )
