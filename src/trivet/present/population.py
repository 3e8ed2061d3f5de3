"""Units that differ, what calibrating them brings, and what would help most."""

from __future__ import annotations

import math

from trivet.present.texts import (
    NONE,
    definition_table,
    difference,
    joined,
    metric_limit,
    metric_value,
    money,
    seconds,
    share,
    temperature,
)
from trivet.records.design import Design
from trivet.records.dossier import Section, Table
from trivet.records.prediction import Prediction, Remedies, Remedy
from trivet.records.requirement import METRICS


def production_section(
    design: Design, *, prediction: Prediction, remedies: Remedies | None
) -> Section:
    """Return the error of single units, yield and cost, and the declared changes tried."""
    units = prediction.population
    tables: list[Table] = []
    words = []
    if units is not None:
        words.append(
            "A unit keeps its own offset, gain, window, blur and mount; everything else changes"
            " from reading to reading. Requirements on the error are judged by the"
            f" 95th-percentile unit of {units.units} drawn: {units.note}."
        )
        tables.append(_unit_table(design, prediction))
        tables.append(_line_table(design, prediction))
    if remedies is not None and remedies.failing:
        tables.append(_remedy_table(design, remedies))
        words.append(_helped(remedies))
    elif remedies is not None:
        words.append("Every predicted requirement holds as the design stands.")
    return Section("Units, calibration and what would help", tuple(words), tuple(tables), ())


def _unit_table(design: Design, prediction: Prediction) -> Table:
    units, display = prediction.population, design.display
    assert units is not None
    hottest: dict[tuple[str, str], int] = {}
    for at, one in enumerate(units.errors):
        key = (one.base, one.pan)
        if key not in hottest or one.temperature_k > units.errors[hottest[key]].temperature_k:
            hottest[key] = at
    rows = tuple(
        (
            one.base,
            one.pan,
            temperature(one.temperature_k, display),
            difference(one.median_k, display),
            difference(one.p95_k, display),
            NONE if math.isnan(one.p95_calibrated_k) else difference(one.p95_calibrated_k, display),
            NONE
            if math.isnan(one.p95_recalibrated_k)
            else difference(one.p95_recalibrated_k, display),
        )
        for one in (units.errors[at] for at in hottest.values())
    )
    columns = (
        "Base",
        "Pan",
        "At",
        "Middle unit",
        "95th-percentile unit",
        "After the line",
        "After the kitchen",
    )
    note = "Half-widths that hold 95 % of one unit's readings; a dash: not declared."
    return Table("Error of single units", columns, rows, note, "predicted")


def _line_table(design: Design, prediction: Prediction) -> Table:
    units = prediction.population
    assert units is not None
    if design.end_of_line is None:
        return definition_table("End of the line", (("Calibration of units", "none declared"),))
    cost = units.cost_per_good_unit
    return definition_table(
        "End of the line",
        (
            ("Points", joined(temperature(p, design.display) for p in design.end_of_line.points_k)),
            ("Time for a unit", seconds(units.time_s)),
            ("Yield", f"{share(units.yield_frac)} (≥ {share(units.yield_low_frac)} at 95 %)"),
            (
                "Cost for a good unit, scrap included",
                cost if not cost[:1].isdigit() else money(cost, units.currency),
            ),
        ),
        note="Yield and cost rest on the drawn units, not on a production.",
    )


def _remedy_table(design: Design, remedies: Remedies) -> Table:
    rows = tuple(
        (
            one.requirement,
            metric_limit(_limit_text(design, one), one.metric, design.display),
            one.option,
            metric_value(one.before, one.metric, design.display),
            metric_value(one.after, one.metric, design.display),
            "inside" if one.inside else "not inside",
            one.note,
        )
        for one in remedies.tried
    )
    columns = ("Requirement", "Limit", "Change", "Before", "After", "Then", "Where")
    note = "One declared change at a time, each predicted anew."
    return Table("What would help most", columns, rows, note, "predicted")


def _limit_text(design: Design, remedy: Remedy) -> str:
    return next(one.limit for one in design.requirements if one.id == remedy.requirement)


def _helped(remedies: Remedies) -> str:
    best: dict[str, str] = {}
    for one in remedies.tried:
        if one.inside:
            best.setdefault(
                one.requirement,
                f"{one.requirement} ({METRICS[one.metric].name}) is brought inside by {one.option}",
            )
    parts = list(best.values())
    if remedies.unhelped:
        parts.append(f"no single declared change brings {joined(remedies.unhelped)} inside")
    return "Of the requirements that fail as predicted: " + "; ".join(parts) + "."
