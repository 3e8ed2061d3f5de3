"""Alerts: what each is for, how it is set, its margins, and its leads in the cooks."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from trivet.models.actual import hottest_series
from trivet.present.numbers import NONE, Formatter, failure_rate, joined, seconds, share
from trivet.present.parts import tabulate
from trivet.present.warning import margin_table, timeline_charts, timeline_tables
from trivet.records.design import Design, Limit
from trivet.records.dossier import Section, ShownCook, Table
from trivet.records.prediction import Prediction
from trivet.records.requirement import Alert, Evidence
from trivet.records.verdict import ProofCook
from trivet.scoring.alertmetrics import covers, on_since_s, reached_s
from trivet.scoring.table import reported, table

ALERT_WORDS = {
    "level": "level",
    "time_to_limit": "predicted time to limit",
    "loss_of_sight": "heat is on and nothing can be said",
    "boil_dry": "pot boiled dry",
    "ready": "band reached and held",
    "below_band": "below the told band",
    "uneven": "uneven pan",
    "unattended": "heat is on and nobody is there",
    "left_on": "heat is on and no pan is there",
    "window_dirty": "window dirty",
    "battery_low": "battery low",
    "link_lost": "link is down",
    "housing_hot": "housing hot",
}
"""What each kind of alert tells."""
WITH_BAND = frozenset(
    {"level", "time_to_limit", "boil_dry", "ready", "below_band", "uneven", "housing_hot"}
)
"""Kinds whose condition has a dead band."""


def alert_section(design: Design, *, prediction: Prediction, cooks: Sequence[ShownCook]) -> Section:
    """Return what each alert is for, how it is set, and how early it comes."""
    show = Formatter(design.display)
    if not design.alerts:
        return Section("Alerts", ("The design has no alerts.",))
    tables = [*sheet_tables(design), _limit_table(design)]
    tables.append(margin_table(design, prediction=prediction))
    tables += timeline_tables(design, prediction=prediction)
    grades: tuple[Evidence, ...] = ("simulated", "bench")
    tables += [table for grade in grades if (table := _leads(design, cooks, grade)) is not None]
    words = [
        "Each alert has a cause, a consequence if nobody acts, an action, and the time for it."
        " An alert tells; it does not turn off the heat."
    ]
    hopeless = dict.fromkeys(
        f"{one.alert} at {show.heating_rate(one.rate_kps)}"
        for one in prediction.margins
        if not one.possible
    )
    if hopeless:
        words.append(f"The wanted lead is physically impossible for {joined(hopeless)}.")
    charts = timeline_charts(design, prediction=prediction)
    return Section("Alerts", tuple(words), tuple(tables), charts)


def sheet_tables(design: Design) -> tuple[Table, Table]:
    """Return the rationalisation sheet, and the settings of every alert."""
    return _sheet(design), _settings(design, Formatter(design.display))


def _sheet(design: Design) -> Table:
    return tabulate(
        "Rationalisation sheet",
        design.alerts,
        {
            "Alert": lambda one: one.name,
            "Priority": lambda one: one.priority,
            "Cause": lambda one: one.cause,
            "Consequence": lambda one: one.consequence,
            "Action": lambda one: one.action,
            "Time available": lambda one: seconds(one.time_available_s),
            "If nobody acts": _unheeded,
            "Trips": lambda one: _set_point(one, design),
        },
    )


def _settings(design: Design, show: Formatter) -> Table:
    return tabulate(
        "Settings",
        design.alerts,
        {
            "Alert": lambda one: one.name,
            "Kind": lambda one: ALERT_WORDS[one.kind],
            "Guards": lambda one: one.limit or NONE,
            "For bases": lambda one: ", ".join(one.bases) or "all, told or not",
            "Deadband": lambda one: (
                show.difference(one.deadband_delta_k) if one.kind in WITH_BAND else NONE
            ),
            "On delay": lambda one: seconds(one.on_delay_s),
            "Off delay": lambda one: seconds(one.off_delay_s),
            "Only above": lambda one: (
                show.temperature(one.gate_k) if one.kind == "time_to_limit" else NONE
            ),
            "Slope over": lambda one: (
                seconds(one.slope_window_s) if one.kind == "time_to_limit" else NONE
            ),
        },
    )


def _unheeded(one: Alert) -> str:
    if one.escalate_after_s > 0:
        return f"after {seconds(one.escalate_after_s)}: {one.escalation}"
    return one.escalation or "it stays on; nothing more"


def _set_point(one: Alert, design: Design) -> str:
    show = Formatter(design.display)
    match one.kind:
        case "level" | "time_to_limit":
            return _limited(one, design)
        case "boil_dry":
            off = show.difference(one.change_delta_k)
            return f"{off} off a plateau of {seconds(one.plateau_s)} near the boiling point"
        case "uneven":
            return f"P95 − P5 at {show.difference(one.spread_delta_k)}"
        case "housing_hot":
            return f"housing at {show.temperature(one.set_point_k)}"
        case "window_dirty":
            return f"{share(one.loss_frac, 0)} of the clean window's transmittance lost"
        case "battery_low":
            return f"{share(one.charge_frac, 0)} of the charge left"
        case "ready":
            return "in the told band"
        case _:
            return ALERT_WORDS[one.kind]


def _limited(one: Alert, design: Design) -> str:
    """Return where an alert trips that guards a limit; a told oil has a point of its own."""
    show = Formatter(design.display)
    limit = design.limit(str(one.limit))
    at = show.temperature(limit.value_k)
    if limit.oil_point is not None:
        quantile = share(design.alerting.smoke_quantile_frac, 0)
        at = f"the {quantile} quantile of the told oil's {limit.oil_point} point ({at} if none is"
        at += " told)"
    if one.kind == "time_to_limit":
        return f"{seconds(one.lead_s)} before {at}, from {show.temperature(one.gate_k)} on"
    own = one.set_point_k
    return f"at {at}" if own is None else f"at {show.temperature(own)}"


def _limit_table(design: Design) -> Table:
    show = Formatter(design.display)

    def span(one: Limit) -> str:
        low, high = getattr(one.value_k, "low", None), getattr(one.value_k, "high", None)
        if low is None or high is None:
            return "none given"
        return f"{show.temperature(low)} to {show.temperature(high)}"

    return tabulate(
        "Limits",
        design.limits,
        {
            "Limit": lambda one: one.name,
            "Of": lambda one: one.of.replace("_", " "),
            "Value": lambda one: show.temperature(one.value_k),
            "Range": span,
            "Origin": lambda one: str(getattr(one.value_k, "origin", "assumed")),
            "Note": lambda one: getattr(one.value_k, "note", "") or NONE,
        },
    )


@dataclass(frozen=True)
class _Outcome:
    """What one alert did in one run, or in all repeats of a plan at their worst."""

    lead_s: float
    reached: bool
    missed: bool
    alone: bool


def _leads(design: Design, cooks: Sequence[ShownCook], grade: Evidence) -> Table | None:
    """Return leads by alert over the cooks of one grade; repeats of a plan count once."""
    mine = [shown.cook for shown in cooks if shown.cook.evidence == grade]
    rows = []
    for alert in design.alerts:
        plans: dict[str, list[_Outcome]] = {}
        for cook in mine:
            outcome = _outcome(design, alert, cook)
            if outcome is not None:
                plans.setdefault(cook.plan, []).append(outcome)
        if plans:
            rows.append((alert, [_worst(runs) for runs in plans.values()]))
    if not rows:
        return None
    against = "truth" if grade == "simulated" else "the hottest probe of that surface"
    note = (
        f"Lead: from where the alert came on, to stay, until {against} reaches the limit's"
        " value. Repeats of a plan and burners of a cook count once, at their worst. An alert"
        " whose limit is then not reached need not be a nuisance: the heat may have been cut."
        " The verdict rests on its own account."
    )
    return tabulate(
        "Leads in the proof cooks",
        rows,
        {
            "Alert": lambda row: row[0].name,
            "Limit": lambda row: row[0].limit or NONE,
            "Cooks": lambda row: str(len(row[1])),
            "Reach the limit": lambda row: str(sum(one.reached for one in row[1])),
            "Alert not on then": lambda row: failure_rate(
                sum(one.missed for one in row[1]), sum(one.reached for one in row[1]), 0.95
            ),
            "Shortest lead": lambda row: _lead(row[1], min),
            "Median": lambda row: _lead(row[1], statistics.median),
            "Longest": lambda row: _lead(row[1], max),
            "Alert, limit not reached": lambda row: failure_rate(
                sum(one.alone for one in row[1]), len(row[1]), 0.95
            ),
        },
        note=note,
        evidence=grade,
    )


def _lead(outcomes: Sequence[_Outcome], which: Callable[[list[float]], float]) -> str:
    leads = [one.lead_s for one in outcomes if math.isfinite(one.lead_s)]
    return seconds(which(leads)) if leads else NONE


def _worst(runs: Sequence[_Outcome]) -> _Outcome:
    leads = [one.lead_s for one in runs if math.isfinite(one.lead_s)]
    return _Outcome(
        min(leads, default=math.nan),
        any(one.reached for one in runs),
        any(one.missed for one in runs),
        any(one.alone for one in runs),
    )


def _outcome(design: Design, alert: Alert, cook: ProofCook) -> _Outcome | None:
    """Return what an alert did in one run, None if it is not meant for its burners."""
    if alert.limit is None:
        return None
    limit = design.limit(alert.limit)
    runs = []
    for rows in reported(table(cook, design=design)):
        if not covers(alert, rows, design):
            continue
        burner = rows.burner
        at_s = reached_s(hottest_series(rows.actual, limit.of), float(limit.value_k))
        if math.isinf(at_s):
            heard = ((one.burner, one.alert, one.state) for one in cook.alerts.changes)
            runs.append(_Outcome(math.nan, False, False, (burner, alert.name, "on") in heard))
            continue
        lead_s = at_s - on_since_s(cook, alert.name, burner=burner, at_s=at_s)
        runs.append(_Outcome(lead_s, True, math.isinf(lead_s), False))
    return _worst(runs) if runs else None
