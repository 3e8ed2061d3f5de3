"""The alert timeline: from a cold, sleeping unit to each alert, as tables and a picture."""

from __future__ import annotations

import math

import numpy as np

from trivet.present.texts import (
    NONE,
    difference,
    heating_rate,
    read_only,
    seconds,
    temperature,
)
from trivet.records.design import Design
from trivet.records.dossier import Chart, Line, Mark, Span, Table
from trivet.records.prediction import Prediction
from trivet.records.warning import WarningCase, WarningTimeline

PHYSICS = ("impossible", "ordinary cooking")


def timeline_tables(design: Design, *, prediction: Prediction) -> tuple[Table, ...]:
    """Return the steps of waking, and what is left of each lead."""
    warning = prediction.warning
    if warning is None:
        return ()
    return (_steps(warning), _cases(design, warning))


def _steps(warning: WarningTimeline) -> Table:
    rows = tuple(
        (one.name, _moment(one.p5_s), _moment(one.p50_s), _moment(one.p95_s))
        for one in warning.steps
    )
    columns = ("Step", "5 % of starts by", "Half by", "95 % by")
    title = f"From burner on to the first reading, cold and asleep, woken by {warning.kind}"
    return Table(title, columns, rows, " ".join(warning.notes), "predicted")


def _moment(value_s: float) -> str:
    return "never" if math.isinf(value_s) else seconds(value_s)


def _cases(design: Design, warning: WarningTimeline) -> Table:
    display = design.display
    rows = tuple(
        (
            one.alert,
            heating_rate(one.rate_kps, display),
            seconds(one.lead_asked_s),
            temperature(one.needed_trip_k, display),
            temperature(one.needed_mean_k, display),
            temperature(one.trip_k, display),
            difference(one.error_k, display, 0),
            difference(one.lag_k, display, 0),
            seconds(one.lead_s) if one.lead_s > 0.0 else "none",
            one.outcome,
            one.reason or NONE,
        )
        for one in warning.cases
    )
    columns = (
        "Alert",
        "Hottest 5 cm² heats at",
        "Lead asked",
        "Must trip by",
        "Mean of the pan then",
        "Trips at the latest",
        "Error",
        "Behind the hottest",
        "Lead left",
        "Outcome",
        "Why",
    )
    note = (
        "Worst case from a cold pan: 95 % of the starts, the error at 95 % with what settling"
        " adds, the largest declared ratio of hottest part to mean."
    )
    return Table("What is left of each lead", columns, rows, note, "predicted")


def timeline_charts(design: Design, *, prediction: Prediction) -> tuple[Chart, ...]:
    """Return a picture for each alert: the hottest part at each rate, what is needed and left."""
    warning = prediction.warning
    if warning is None:
        return ()
    names = dict.fromkeys(one.alert for one in warning.cases)
    return tuple(
        _chart(design, warning, name, [one for one in warning.cases if one.alert == name])
        for name in names
    )


def _chart(design: Design, warning: WarningTimeline, name: str, cases: list[WarningCase]) -> Chart:
    limit_k = cases[0].limit_k
    lines = []
    for one in cases:
        rate = heating_rate(one.rate_kps, design.display)
        span = read_only([0.0, one.limit_at_s])
        lines.append(Line(rate, span, read_only([warning.start_k, limit_k])))
        if one.outcome not in PHYSICS:
            at, where = read_only([one.needed_at_s]), read_only([one.needed_trip_k])
            lines.append(Line(f"needed, {rate}", at, where, style="needed"))
        if math.isfinite(one.trip_at_s):
            at, where = read_only([one.trip_at_s]), read_only([one.trip_k])
            lines.append(Line(f"trips, {rate}", at, where, style="trip"))
    longest = max(one.limit_at_s for one in cases)
    across = read_only(np.array([0.0, longest]))
    lines.append(Line(cases[0].limit, across, read_only([limit_k, limit_k]), style="limit"))
    late = [one.reason for one in cases if one.outcome in PHYSICS]
    first = [warning.first_reading_at_s(share) for share in (0.05, 0.95)]
    spans = () if math.isinf(first[1]) else (Span(first[0], first[1], "first reading", "gap"),)
    caption = (
        f"The hottest 5 cm² from cold to {cases[0].limit}; open ring: where the alert must come,"
        " diamond: where it comes at the latest; grey: first reading, 5 to 95 % of starts."
    )
    if late:
        caption += f" No ring where the lead is beyond physics ({len(late)} of {len(cases)} rates)."
    return Chart(
        "timeline",
        f"Alert timeline: {name}",
        caption,
        x_label="time since burner on / s",
        y_label="hottest 5 cm²",
        lines=tuple(lines),
        marks=(Mark(first[1], "95 %"),) if spans else (),
        spans=spans,
        evidence="predicted",
    )
