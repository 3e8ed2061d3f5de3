"""From a cold, sleeping unit to each alert: the steps, what is left of each lead, a picture."""

from __future__ import annotations

import math

import numpy as np

from trivet.present.numbers import NONE, Formatter, read_only, seconds
from trivet.present.parts import ALL, tabulate
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, Mark, Span, Table
from trivet.records.prediction import Prediction
from trivet.records.warning import WarningCase, WarningTimeline

PHYSICS = ("impossible", "ordinary cooking")
"""Outcomes that no set point can change."""


def margin_table(design: Design, *, prediction: Prediction) -> Table:
    """Return what is left of each lead at stated heating rates, with a unit that is awake."""
    show = Formatter(design.display)
    return tabulate(
        "Alert margins at stated heating rates",
        prediction.margins,
        {
            "Alert": lambda one: one.alert,
            "Limit": lambda one: one.limit,
            "Heating rate": lambda one: show.heating_rate(one.rate_kps),
            "Must trip by": lambda one: show.temperature(one.needed_trip_k),
            "Trips at the latest": lambda one: show.temperature(one.trip_k),
            "Lead left": lambda one: seconds(one.lead_s),
            "Lead possible": lambda one: "yes" if one.possible else "no: impossible",
            "Remark": lambda one: one.note or NONE,
        },
        note="Worst case: the reading low by its error, delays counted, range end counted.",
        evidence="predicted",
    )


def timeline_tables(design: Design, *, prediction: Prediction) -> tuple[Table, ...]:
    """Return the steps of waking, and what is left of each lead."""
    warning = prediction.warning
    if warning is None:
        return ()
    return (_steps(warning), _cases(warning, Formatter(design.display)))


def _steps(warning: WarningTimeline) -> Table:
    return tabulate(
        f"From burner on to the first reading, cold and asleep, woken by {warning.kind}",
        warning.steps,
        {
            "Step": lambda one: one.name,
            "5 % of starts by": lambda one: seconds(one.p5_s),
            "Half by": lambda one: seconds(one.p50_s),
            "95 % by": lambda one: seconds(one.p95_s),
        },
        note=" ".join(warning.notes),
        evidence="predicted",
    )


def _cases(warning: WarningTimeline, show: Formatter) -> Table:
    return tabulate(
        "What is left of each lead, from a cold, sleeping unit",
        warning.cases,
        {
            "Alert": lambda one: one.alert,
            "Hottest 5 cm² heats at": lambda one: show.heating_rate(one.rate_kps),
            "Lead asked": lambda one: seconds(one.lead_asked_s),
            "Must trip by": lambda one: show.temperature(one.needed_trip_k),
            "Mean of the pan then": lambda one: show.temperature(one.needed_mean_k),
            "Trips at the latest": lambda one: show.temperature(one.trip_k),
            "Error": lambda one: show.difference(one.error_k, 0),
            "Behind the hottest": lambda one: show.difference(one.lag_k, 0),
            "Lead left": lambda one: seconds(one.lead_s) if one.lead_s > 0.0 else "none",
            "Outcome": lambda one: one.outcome,
            "Why": lambda one: one.reason or NONE,
        },
        note=(
            "Worst case from a cold pan: 95 % of the starts, the error at 95 % with what settling"
            " adds, the largest declared ratio of hottest part to mean."
        ),
        evidence="predicted",
        brief_rows=ALL,
    )


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
    show = Formatter(design.display)
    limit_k = cases[0].limit_k
    lines = []
    for one in cases:
        rate = show.heating_rate(one.rate_kps)
        span = read_only([0.0, one.limit_at_s])
        lines.append(ChartLine(rate, span, read_only([warning.start_k, limit_k])))
        if one.outcome not in PHYSICS:
            at, where = read_only([one.needed_at_s]), read_only([one.needed_trip_k])
            lines.append(ChartLine(f"needed, {rate}", at, where, style="needed"))
        if math.isfinite(one.trip_at_s):
            at, where = read_only([one.trip_at_s]), read_only([one.trip_k])
            lines.append(ChartLine(f"trips, {rate}", at, where, style="trip"))
    longest = max(one.limit_at_s for one in cases)
    across = read_only(np.array([0.0, longest]))
    lines.append(ChartLine(cases[0].limit, across, read_only([limit_k, limit_k]), style="limit"))
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
