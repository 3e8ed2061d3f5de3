"""Units that differ, what calibrating them brings, and what would help most."""

from __future__ import annotations

import math
from collections.abc import Iterator

from trivet.present.numbers import NONE, UNKNOWN, Formatter, joined, money, seconds, share
from trivet.present.parts import ALL, definition_table, tabulate
from trivet.records.design import Design, Display
from trivet.records.dossier import Section, Table
from trivet.records.prediction import Prediction, Remedies, Remedy, UnitError, UnitPopulation


def production_section(
    design: Design, *, prediction: Prediction, remedies: Remedies | None
) -> Section:
    """Return the error of single units, yield and cost, and the declared changes tried."""
    units = prediction.population
    tables: list[Table] = []
    words: list[str] = []
    if units is not None:
        words.append(
            "A unit keeps its own offset, gain, window, blur and mount; everything else changes"
            " from reading to reading. Requirements on the error are judged by the"
            f" 95th-percentile unit of {units.units} drawn: {units.note}."
        )
        tables += [_unit_table(design, units), _line_table(design, units)]
    if remedies is not None:
        helped = remedies_section(remedies, display=design.display)
        words += helped.paragraphs
        tables += helped.tables
    return Section("Units, calibration and what would help", tuple(words), tuple(tables), ())


def _unit_table(design: Design, units: UnitPopulation) -> Table:
    """Return the hottest case of each base and pan."""
    show = Formatter(design.display)
    hottest: dict[tuple[str, str], UnitError] = {}
    for one in units.errors:
        key = (one.base, one.pan)
        if key not in hottest or one.temperature_k > hottest[key].temperature_k:
            hottest[key] = one

    def declared(value_k: float) -> str:
        return NONE if math.isnan(value_k) else show.difference(value_k)

    return tabulate(
        "Error of single units",
        hottest.values(),
        {
            "Base": lambda one: one.base,
            "Pan": lambda one: one.pan,
            "At": lambda one: show.temperature(one.temperature_k),
            "Middle unit": lambda one: show.difference(one.median_k),
            "95th-percentile unit": lambda one: show.difference(one.p95_k),
            "After the line": lambda one: declared(one.p95_calibrated_k),
            "After the kitchen": lambda one: declared(one.p95_recalibrated_k),
        },
        note="Half-widths that hold 95 % of one unit's readings; a dash: not declared.",
        evidence="predicted",
    )


def _line_table(design: Design, units: UnitPopulation) -> Table:
    show = Formatter(design.display)
    if design.end_of_line is None:
        return definition_table("End of the line", (("Calibration of units", "none declared"),))
    cost = units.cost_per_good_unit
    return definition_table(
        "End of the line",
        (
            ("Points", joined(show.temperature(p) for p in design.end_of_line.points_k)),
            ("Time for a unit", seconds(units.time_s)),
            ("Yield", f"{share(units.yield_frac)} (≥ {share(units.yield_low_frac)} at 95 %)"),
            (
                "Cost for a good unit, scrap included",
                cost if not cost[:1].isdigit() else money(cost, units.currency),
            ),
        ),
        note="Yield and cost rest on the drawn units, not on a production.",
    )


def remedies_section(remedies: Remedies, *, display: Display) -> Section:
    """Return every declared change that moves a requirement which fails, helpful ones first."""
    show = Formatter(display)
    moved = [one for one in remedies.tried if one.inside or one.before != one.after]
    tables = (_remedy_table(moved, len(remedies.tried), show),) if moved else ()
    return Section("What would help", tuple(_helped(remedies)), tables)


def _remedy_table(moved: list[Remedy], tried: int, show: Formatter) -> Table:
    def then(one: Remedy) -> str:
        if math.isnan(one.after):
            return UNKNOWN
        return "inside" if one.inside else "not inside"

    note = "One declared change at a time, each predicted anew."
    if tried > len(moved):
        left = tried - len(moved)
        note += f" Pairs of change and requirement left out, because nothing moves: {left}."
    return tabulate(
        "What would help most",
        moved,
        {
            "Requirement": lambda one: one.requirement,
            "Limit": lambda one: show.metric_bound(one.limit, one.metric),
            "Change": lambda one: one.option,
            "Before": lambda one: show.metric_value(one.before, one.metric),
            "After": lambda one: show.metric_value(one.after, one.metric),
            "Then": then,
            "Where": lambda one: one.note or NONE,
        },
        note=note,
        evidence="predicted",
        brief_rows=ALL,
    )


def _helped(remedies: Remedies) -> Iterator[str]:
    if not remedies.failing:
        yield "Every predicted requirement holds as the design stands."
        return
    if not remedies.tried:
        failing = joined(remedies.failing)
        yield f"Failing as predicted: {failing}; the design declares no [[options]]."
        return
    best: dict[str, str] = {}
    for one in remedies.tried:
        if one.inside:
            words = f"{one.requirement} ({one.metric}) is brought inside by"
            best.setdefault(one.requirement, f"{words} {one.option}")
    parts = list(best.values())
    if remedies.unhelped:
        parts.append(f"no single declared change brings {joined(remedies.unhelped)} inside")
    yield f"Of the requirements that fail as predicted: {'; '.join(parts)}."
