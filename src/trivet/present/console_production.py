"""Units that differ, and what would help most, on a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from trivet.present.console_parts import (
    difference_text,
    share_text,
    text_group,
    text_line,
    text_table,
)
from trivet.records.design import Display
from trivet.records.prediction import Prediction, Remedies, Remedy
from trivet.records.requirement import METRICS

if TYPE_CHECKING:
    from rich.console import RenderableType

BEYOND = {"predicted_u95": "not measurable", "break_even_units": "never"}


def unit_answers(prediction: Prediction, display: Display) -> Iterator[tuple[str, str]]:
    """Yield question and answer about units that differ."""
    units = prediction.population
    if units is None or not units.errors:
        return
    worst = max(units.errors, key=lambda one: one.p95_k)
    words = (
        f"95th-percentile unit up to ±{difference_text(worst.p95_k, display)}, middle unit"
        f" ±{difference_text(worst.median_k, display)}: {worst.base} in {worst.pan}"
    )
    if not math.isnan(worst.p95_calibrated_k):
        words += (
            f"; after the end of the line ±{difference_text(worst.p95_calibrated_k, display)},"
            f" yield {share_text(units.yield_frac)}, {units.cost_per_good_unit}"
            f" {units.currency} and {units.time_s:.0f} s for a good unit"
        )
    if not math.isnan(worst.p95_recalibrated_k):
        words += f"; in the kitchen ±{difference_text(worst.p95_recalibrated_k, display)}"
    yield "a poor unit?", words


def show_remedies(record: Remedies, *, display: Display) -> RenderableType:
    """Return every change against every requirement that fails, helpful ones first."""
    if not record.failing:
        return text_line("Every predicted requirement holds as the design stands.")
    if not record.tried:
        failing = ", ".join(record.failing)
        return text_line(f"Failing as predicted: {failing}; the design declares no [[options]].")
    rows = [
        (
            one.requirement,
            one.option,
            _value(one, one.before, display),
            _value(one, one.after, display),
            _value(one, one.limit, display),
            "inside" if one.inside else one.note if math.isnan(one.after) else "not inside",
        )
        for one in record.tried
        if one.inside or _moves(one)
    ]
    columns = ("id", "change", "before>", "after>", "limit>", "then")
    still = len(record.tried) - len(rows)
    unhelped = ", ".join(record.unhelped)
    return text_group(
        text_table("What would help (predicted, one change at a time)", columns, rows),
        text_line(f"{still} pairs of change and requirement are left out: nothing moves."),
        text_line(f"No single declared change brings {unhelped} inside.") if unhelped else None,
    )


def _moves(one: Remedy) -> bool:
    return one.before != one.after


def _value(one: Remedy, value: float, display: Display) -> str:
    """Return a value with the unit of its metric's kind."""
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return BEYOND.get(one.metric, "no value")
    kind = METRICS[one.metric].kind
    if kind == "fraction":
        return share_text(value)
    if kind == "difference":
        return difference_text(value, display)
    return f"{value:.1f} s" if kind == "time" else f"{value:,.4g}"
