"""Alerts: the rationalisation sheet, settings, margins at heating rates, leads in the cooks."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from trivet.present.likeness import contents_of, guards, on_since_s, plan_of, reaches_s
from trivet.present.texts import (
    NONE,
    difference,
    failure_rate,
    heating_rate,
    joined,
    seconds,
    temperature,
)
from trivet.present.warning import timeline_charts, timeline_tables
from trivet.records.design import Design
from trivet.records.dossier import Section, ShownCook, Table
from trivet.records.prediction import Prediction
from trivet.records.requirement import LIMITED, Alert, Evidence

KINDS = {
    "level": "level",
    "time_to_limit": "predicted time to limit",
    "loss_of_sight": "loss of sight",
    "boil_dry": "pot boiled dry",
    "ready": "band reached and held",
    "below_band": "below the band",
    "uneven": "uneven pan",
    "unattended": "nobody there",
    "left_on": "on without a pan",
    "window_dirty": "window dirty",
    "battery_low": "battery low",
    "link_lost": "link lost",
    "housing_hot": "housing hot",
}


def alert_section(design: Design, *, prediction: Prediction, cooks: Sequence[ShownCook]) -> Section:
    """Return what each alert is for, how it is set, and how early it comes."""
    if not design.alerts:
        return Section("Alerts", ("The design has no alerts.",))
    tables = [_sheet(design), _settings(design), _limit_table(design)]
    tables.append(_margin_table(design, prediction))
    tables += timeline_tables(design, prediction=prediction)
    grades: tuple[Evidence, ...] = ("simulated", "bench")
    tables += [table for grade in grades if (table := _leads(design, cooks, grade)) is not None]
    words = [
        "Each alert has a cause, a consequence if nobody acts, an action, and the time for it."
        " An alert tells; it does not turn off the heat."
    ]
    hopeless = list(
        dict.fromkeys(
            f"{one.alert} at {heating_rate(one.rate_kps, design.display)}"
            for one in prediction.margins
            if not one.possible
        )
    )
    if hopeless:
        words.append(f"The wanted lead is physically impossible for {joined(hopeless)}.")
    charts = timeline_charts(design, prediction=prediction)
    return Section("Alerts", tuple(words), tuple(tables), charts)


def _sheet(design: Design) -> Table:
    rows = tuple(
        (
            alert.name,
            alert.priority,
            alert.cause,
            alert.consequence,
            alert.action,
            seconds(alert.time_available_s),
            _set_point(design, alert),
        )
        for alert in design.alerts
    )
    columns = (
        "Alert",
        "Priority",
        "Cause",
        "Consequence",
        "Action",
        "Time available",
        "Set point",
    )
    return Table("Rationalisation sheet", columns, rows)


def _set_point(design: Design, alert: Alert) -> str:
    if alert.kind == "loss_of_sight":
        return "sight lost"
    if alert.kind not in LIMITED:
        return KINDS[alert.kind]
    limits = {one.name: one.value_k for one in design.limits}
    at = alert.set_point_k if alert.set_point_k is not None else limits.get(alert.limit or "")
    where = temperature(at, design.display)
    if alert.kind == "time_to_limit":
        guarded = temperature(limits.get(alert.limit or ""), design.display)
        return f"{seconds(alert.lead_s)} before {guarded}"
    return where


def _settings(design: Design) -> Table:
    display = design.display
    rows = tuple(
        (
            alert.name,
            KINDS[alert.kind],
            alert.limit or NONE,
            ", ".join(alert.bases) or "all, told or not",
            difference(alert.deadband_delta_k, display),
            seconds(alert.on_delay_s),
            seconds(alert.off_delay_s),
            temperature(alert.gate_k, display) if alert.kind == "time_to_limit" else NONE,
            seconds(alert.slope_window_s) if alert.kind == "time_to_limit" else NONE,
        )
        for alert in design.alerts
    )
    columns = (
        "Alert",
        "Kind",
        "Guards",
        "For bases",
        "Deadband",
        "On delay",
        "Off delay",
        "Only above",
        "Slope over",
    )
    return Table("Settings", columns, rows)


def _limit_table(design: Design) -> Table:
    display = design.display
    rows = []
    for one in design.limits:
        value = one.value_k
        low, high = getattr(value, "low", None), getattr(value, "high", None)
        span = "none given"
        if low is not None and high is not None:
            span = f"{temperature(low, display)} to {temperature(high, display)}"
        note = getattr(value, "note", "") or NONE
        origin = str(getattr(value, "origin", "assumed"))
        of = one.of.replace("_", " ")
        rows.append((one.name, of, temperature(value, display), span, origin, note))
    columns = ("Limit", "Of", "Value", "Range", "Origin", "Note")
    return Table("Limits", columns, tuple(rows))


def _margin_table(design: Design, prediction: Prediction) -> Table:
    display = design.display
    rows = tuple(
        (
            one.alert,
            one.limit,
            heating_rate(one.rate_kps, display),
            temperature(one.needed_trip_k, display),
            temperature(one.trip_k, display),
            seconds(one.lead_s),
            "yes" if one.possible else "no: impossible",
            one.note or NONE,
        )
        for one in prediction.margins
    )
    columns = (
        "Alert",
        "Limit",
        "Heating rate",
        "Must trip by",
        "Trips at the latest",
        "Lead left",
        "Lead possible",
        "Remark",
    )
    note = "Worst case: the reading low by its error, delays counted, range end counted."
    return Table("Alert margins at stated heating rates", columns, rows, note, "predicted")


@dataclass(frozen=True)
class _Outcome:
    """What one alert did in one run, or in all repeats of a plan at their worst."""

    lead_s: float
    reached: bool
    missed: bool
    alone: bool


def _leads(design: Design, cooks: Sequence[ShownCook], grade: Evidence) -> Table | None:
    """Return leads by alert over the cooks of one grade; repeats of a plan count once."""
    mine = [cook for cook in cooks if cook.recording.evidence == grade]
    rows = []
    for alert in design.alerts:
        plans: dict[str, list[_Outcome]] = {}
        for cook in mine:
            outcome = _outcome(design, alert, cook)
            if outcome is not None:
                plans.setdefault(plan_of(cook), []).append(outcome)
        if plans:
            rows.append(_lead_row(alert, [_worst(runs) for runs in plans.values()]))
    if not rows:
        return None
    columns = (
        "Alert",
        "Limit",
        "Cooks",
        "Reach the limit",
        "Alert not on then",
        "Shortest lead",
        "Median",
        "Longest",
        "Alert, limit not reached",
    )
    against = "truth" if grade == "simulated" else "the hottest probe of that surface"
    note = (
        f"Lead: from where the alert came on, to stay, until {against} reaches the limit's"
        " value. Repeats of a plan and burners of a cook count once, at their worst. An alert"
        " whose limit is then not reached need not be a nuisance: the heat may have been cut."
        " The verdict rests on its own account."
    )
    return Table(f"Leads in the proof cooks, {grade}", columns, tuple(rows), note, grade)


def _worst(runs: Sequence[_Outcome]) -> _Outcome:
    leads = [one.lead_s for one in runs if math.isfinite(one.lead_s)]
    return _Outcome(
        min(leads, default=math.nan),
        any(one.reached for one in runs),
        any(one.missed for one in runs),
        any(one.alone for one in runs),
    )


def _outcome(design: Design, alert: Alert, cook: ShownCook) -> _Outcome | None:
    """Return what an alert did in one run, None if it is not meant for its burners."""
    limit = next((one for one in design.limits if one.name == alert.limit), None)
    if limit is None:
        return None
    runs = []
    for one in cook.estimate.burners:
        contents = contents_of(design, cook, one.burner)
        if not contents or not guards(design, alert, contents=contents):
            continue
        changes, name, burner = cook.alerts.changes, alert.name, one.burner
        at = reaches_s(cook, burner, of=limit.of, limit_k=float(limit.value_k), contents=contents)
        if at is None:
            rang = any(
                (change.burner, change.alert, change.state) == (burner, name, "on")
                for change in changes
            )
            runs.append(_Outcome(math.nan, False, False, rang))
            continue
        lead_s = at - on_since_s(changes, burner=burner, alert=name, at_s=at)
        runs.append(_Outcome(lead_s, True, math.isnan(lead_s), False))
    return _worst(runs) if runs else None


def _lead_row(alert: Alert, outcomes: Sequence[_Outcome]) -> tuple[str, ...]:
    leads = [one.lead_s for one in outcomes if math.isfinite(one.lead_s)]
    reached = sum(one.reached for one in outcomes)
    missed = sum(one.missed for one in outcomes)
    alone = sum(one.alone for one in outcomes)
    return (
        alert.name,
        alert.limit or NONE,
        str(len(outcomes)),
        str(reached),
        failure_rate(missed, reached, 0.95),
        seconds(min(leads)) if leads else NONE,
        seconds(statistics.median(leads)) if leads else NONE,
        seconds(max(leads)) if leads else NONE,
        failure_rate(alone, len(outcomes), 0.95),
    )
