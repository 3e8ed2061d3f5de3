"""The simulator beside the bench, as tables on the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trivet.present.console_parts import text_group, text_line, text_table
from trivet.records.credibility import UNITS, Credibility, Gap, Row, Topic
from trivet.records.design import Display
from trivet.units import show_difference, show_temperature

if TYPE_CHECKING:
    from rich.console import RenderableType

SIGNS = {"inside": "●", "outside": "✕", "undecided": "◇", "too few": "◇"}


def show_credibility(found: Credibility, *, display: Display) -> RenderableType:
    """Return verdicts, values beside their bands, gaps, and what nothing here proves."""
    bench = "recorded" if found.bench_evidence == "bench" else "made (synthetic)"
    title = (
        f"Simulator beside the bench: {len(found.cooks)} {bench} cooks, "
        f"{found.draws} simulated twins of each"
    )
    verdicts = [
        (
            one.topic,
            f"{SIGNS[one.agreement]} {one.agreement}",
            _value(one.topic, one.bias, display, apart=True),
            _value(one.topic, one.half_band, display, apart=True),
            one.text,
        )
        for one in found.verdicts
    ]
    columns = (
        "quantity",
        "verdict",
        "simulated - bench>",
        "half band>",
        "share, with its exact bound",
    )
    return text_group(
        text_table(title, columns, verdicts),
        text_table("Value by value", _ROW_COLUMNS, [_row(row, display) for row in found.rows]),
        _gaps(found.gaps),
        _lines("Not compared", found.left_out),
        _lines("Notes", found.notes),
        text_line(found.caution),
    )


_ROW_COLUMNS = ("cook", "burner", "quantity", "bench>", "95 % of twins>", "")


def _row(row: Row, display: Display) -> tuple[str, ...]:
    asked = row.question
    low, high = (_value(asked.topic, end, display) for end in (row.low, row.high))
    return (
        row.cook,
        asked.burner,
        _words(row, display),
        _value(asked.topic, row.bench, display),
        f"{low} to {high}",
        "" if row.inside else "✕ outside",
    )


def _words(row: Row, display: Display) -> str:
    """Return the quantity with what it is of and its level."""
    asked = row.question
    if math.isnan(asked.high_k):
        return f"{asked.topic}, {asked.of}"
    return f"{asked.topic}, {asked.of} at {show_temperature(asked.high_k, display.temperature)}"


def _value(topic: Topic, value: float, display: Display, *, apart: bool = False) -> str:
    """Return a value in the display's unit; ``apart`` where it is a difference of two."""
    if math.isnan(value):
        return "unknown"
    unit = UNITS[topic]
    if apart and math.isinf(value):
        return "open"
    if unit == "time":
        return "never" if math.isinf(value) else f"{value:.0f} s"
    if unit == "rate":
        scale, word = (1.8, "°F/s") if display.temperature == "degF" else (1.0, "K/s")
        return f"{value * scale:.2f} {word}"
    if math.isinf(value):
        return "saturated"
    if unit == "difference" or apart:
        return show_difference(value, display.temperature)
    return show_temperature(value, display.temperature)


def _gaps(gaps: tuple[Gap, ...]) -> RenderableType | None:
    """Return the conditions of one side only, one line a factor."""
    if not gaps:
        return None
    rows = []
    for only, words in (("bench", "on the bench only"), ("simulated", "simulated only")):
        for factor in dict.fromkeys(gap.factor for gap in gaps if gap.only == only):
            levels = [gap.level for gap in gaps if gap.only == only and gap.factor == factor]
            rows.append((words, factor, ", ".join(levels)))
    return text_table("Conditions never covered", ("where", "factor", "levels"), rows)


def _lines(head: str, lines: tuple[str, ...]) -> RenderableType | None:
    if not lines:
        return None
    return text_line("\n".join([f"{head}:", *(f"  {line}" for line in lines)]))
