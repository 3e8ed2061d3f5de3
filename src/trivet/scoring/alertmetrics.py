"""Lead, miss and nuisance of the alerts of one cook, and the case of each alert and burner."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.models.actual import Series, hottest_series
from trivet.records.alertaccount import AlertCase, CaseEnd
from trivet.records.design import Design, Limit
from trivet.records.requirement import DEVICE_KINDS, Alert, Requirement
from trivet.records.verdict import CookOutcome, OutcomeState, ProofCook
from trivet.scoring.alertevents import Due, cause_there, due_of
from trivet.scoring.registry import limit_value, metric
from trivet.scoring.table import Rows, reported, table

CLOCK_U95_S = 0.4
"""95 % interval of the time between frames and probes on the bench; own estimate: twice the 0.2 s
to which two clocks are set by hand. [s]"""
COLD_START_S = 10.0
"""From lighting a cold burner to the first heating rate of a unit that slept; own estimate: waking
and one slope window. [s]"""
ANNOUNCING = frozenset({"loss_of_sight", *DEVICE_KINDS})
"""Kinds that tell of the product, not of the cooking."""
NO_LIMIT = CookOutcome(None, note="the requirement names no alert with a limit")


def reached_s(series: Series, value_k: float, *, sign: float = 0.0) -> float:
    """Return when a series first reaches a value [K], infinite if never. [s]

    ``sign`` adds this many standard uncertainties to the series.  Linear between moments; a
    reach inside a gap is told at the gap's end.
    """
    known = np.isfinite(series.value_k)
    time, value = series.time_s[known], (series.value_k + sign * series.u_k)[known]
    above = np.flatnonzero(value >= value_k)
    if above.size == 0:
        return math.inf
    i = int(above[0])
    if i == 0:
        return float(time[0])
    share = (value_k - value[i - 1]) / (value[i] - value[i - 1])
    return float(time[i - 1] + share * (time[i] - time[i - 1]))


def on_since_s(cook: ProofCook, alert: str, *, burner: str, at_s: float) -> float:
    """Return since when an alert is on at a moment, infinite if it is off. [s]

    An alert that went off again before the moment counts as silent; one that escalated is on.
    """
    since = math.inf
    for change in cook.alerts.changes:
        mine = (change.burner, change.alert) == (burner, alert) and change.switches
        if mine and change.time_s <= at_s:
            since = change.time_s if change.state == "on" else math.inf
    return since


def heat_start_s(rows: Rows) -> float:
    """Return when a burner was lit, NaN if nothing tells. [s]"""
    truth = rows.actual.truth
    if truth is not None:
        heating = np.flatnonzero(truth.heat_w > 0.0)
        return float(truth.time_s[heating[0]]) if heating.size else math.nan
    starts = [event.time_s for event in rows.actual.events if event.event == "on"]
    return min(starts, default=math.nan)


def _limit(requirement: Requirement, design: Design) -> tuple[Alert, Limit] | None:
    """Return the alert that a requirement names, and its limit."""
    for one in design.alerts:
        if one.name == requirement.alert and one.limit is not None:
            return one, design.limit(one.limit)
    return None


def _lead_s(rows: Rows, alert: str, reached: float) -> float:
    """Return the lead at a moment: infinite if it never comes, -inf without the alert."""
    if math.isinf(reached):
        return math.inf
    return reached - on_since_s(rows.cook, alert, burner=rows.burner, at_s=reached)


@metric("cook", "lead_time", "time", "higher", joined="quantile")
def lead_time(rows: Sequence[Rows], *, requirement: Requirement, design: Design) -> CookOutcome:
    """Time from the alert to the limit being reached; share of cooks that reach it. A cook that
    reaches the limit sooner after lighting than the lead wanted is impossible to warn of in time:
    named, and counted only if no alert came.

    Return the shortest lead of the burners [s]; -inf without an alert.

    On the bench the limit counts as reached 2 u early for "ok" and 2 u late for "fail", and
    0.4 s of clock are set aside (JCGM 106:2012, clause 8, guard bands).
    """
    pair = _limit(requirement, design)
    if pair is None:
        return NO_LIMIT
    one, limit = pair
    wanted, value_k = limit_value(requirement), float(limit.value_k)
    guard = 2.0 if requirement.guard_band else 0.0
    worst: CookOutcome | None = None
    note = f"no reference of the {limit.of} surface"
    for side in rows:
        series = hottest_series(side.actual, limit.of)
        if not series.known:
            continue
        note = "the limit was not reached"
        plain = reached_s(series, value_k)
        if math.isinf(plain):
            continue
        lead, early, late = (
            _lead_s(side, one.name, reached_s(series, value_k, sign=sign))
            for sign in (0.0, guard, -guard)
        )
        if plain - heat_start_s(side) < wanted and math.isfinite(lead):
            note = f"impossible: {plain - heat_start_s(side):.0f} s from lighting to the limit"
            continue
        bench = side.actual.truth is None and requirement.guard_band
        found = CookOutcome(_held(early, late, wanted, CLOCK_U95_S if bench else 0.0), lead)
        worst = found if worst is None or lead < worst.value else worst
    return worst or CookOutcome(None, note=note)


def _held(early_s: float, late_s: float, wanted_s: float, clock_s: float) -> OutcomeState:
    if early_s - clock_s >= wanted_s:
        return "ok"
    return "fail" if late_s + clock_s < wanted_s else "conditional"


@metric("cook", "missed_alerts", "fraction", "lower", joined="share")
def missed_alert(rows: Sequence[Rows], *, requirement: Requirement, design: Design) -> CookOutcome:
    """Share of cooks that reach the limit without the alert before it; an alert on at the very
    moment of the limit is in time.

    Return whether a burner reached the limit without the alert: 1 missed, 0 not.
    """
    pair = _limit(requirement, design)
    if pair is None:
        return NO_LIMIT
    one, limit = pair
    missed = []
    note = f"no reference of the {limit.of} surface"
    for side in rows:
        series = hottest_series(side.actual, limit.of)
        if not series.known:
            continue
        note = "the limit was not reached"
        reached = reached_s(series, float(limit.value_k))
        if math.isfinite(reached):
            since = on_since_s(side.cook, one.name, burner=side.burner, at_s=reached)
            missed.append(math.isinf(since))
    if not missed:
        return CookOutcome(None, note=note)
    return CookOutcome("fail", 1.0) if any(missed) else CookOutcome("ok", 0.0)


@metric("cook", "nuisance_alerts", "fraction", "lower", joined="share")
def nuisance_alert(
    rows: Sequence[Rows], *, requirement: Requirement, design: Design
) -> CookOutcome:
    """Share of cooks with an alert whose cause was not there; all alerts but those that tell of the
    product itself, unless one is named.

    Return whether an alert came on without its cause: 1 nuisance, 0 none.
    """
    name = requirement.alert
    alerts = {
        one.name: one
        for one in design.alerts
        if (one.kind not in ANNOUNCING if name is None else one.name == name)
    }
    if not rows:
        return CookOutcome(None, note="no burner of the cook is covered")
    judged = []
    for side in rows:
        for change in side.cook.alerts.changes:
            mine = change.burner == side.burner and change.state == "on"
            if not mine or change.alert not in alerts:
                continue
            there = cause_there(alerts[change.alert], side, change.time_s, design=design)
            if there is None:
                return CookOutcome(None, note=f"no reference to judge the alert {change.alert} by")
            judged.append(not there)
    return CookOutcome("fail", 1.0) if any(judged) else CookOutcome("ok", 0.0)


# -- the case of each alert and burner ----------------------------------------------


def alert_cases(cook: ProofCook, *, design: Design, style: str = "") -> tuple[AlertCase, ...]:
    """Return a case for every alert and burner of a proof cook, also of silent ones.

    ``style`` is the kind of ordinary cooking, empty for none.  Every cook in which the event
    comes counts: one whose burner was withheld is a miss, unless loss of sight was announced
    by the same deadline and the burner not read.  Where the deadline lies within 10 s of
    lighting the burner, no unit can meet it: such a cook is named as impossible if the alert
    came before the event, and a miss if not.
    """
    return tuple(
        _case(one, rows, design, style)
        for rows in reported(table(cook, design=design))
        for one in design.alerts
        if one.kind not in DEVICE_KINDS and covers(one, rows, design)
    )


def covers(one: Alert, rows: Rows, design: Design) -> bool:
    """Return whether an alert acts for what lies in the pan."""
    wanted = {base.contents for base in design.bases if base.name in one.bases}
    contents = rows.actual.contents
    return not one.bases or contents in wanted or contents in one.bases


def _case(one: Alert, rows: Rows, design: Design, style: str) -> AlertCase:
    on, off = rows.switched(one.name, "on"), rows.switched(one.name, "off")
    due = due_of(one, rows, design=design)
    causes = [cause_there(one, rows, at, design=design, ordinary=bool(style)) for at in on]
    first = min(on, default=math.inf)
    event = due.event_s if math.isfinite(due.event_s) else math.nan
    near = float(design.alerting.chatter_s)
    return AlertCase(
        cook=rows.cook.name,
        plan=rows.cook.plan,
        evidence=rows.cook.evidence,
        style=style,
        burner=rows.burner,
        alert=one.name,
        kind=one.kind,
        end=_end(due, on, off, rows, design),
        on_s=first,
        due_s=due.due_s,
        lead_s=event - first if math.isfinite(first) else math.nan,
        rate_kps=due.rate_kps,
        oily=rows.actual.contents in ("oil", "butter"),
        nuisance=any(there is False for there in causes),
        judged=all(there is not None for there in causes),
        chatters=sum(any(0.0 <= at - gone <= near for gone in off) for at in on),
    )


def _end(due: Due, on: list[float], off: list[float], rows: Rows, design: Design) -> CaseEnd:
    if not math.isfinite(due.due_s):
        return "no event" if not math.isfinite(due.event_s) else "censored"
    before = [at for at in on if at <= due.due_s]
    gone = [at for at in off if before and before[-1] <= at <= due.due_s]
    if before and not gone:
        return "in time"
    if _told_blind(rows, due.due_s, design):
        return "blindness told"
    # From a cold, sleeping unit: no alert can come before the burner is lit.
    begun = heat_start_s(rows)
    soon = due.due_s < due.event_s and due.due_s < begun + COLD_START_S
    if soon and on and on[0] < due.event_s:
        return "impossible"
    return "late" if any(at <= max(due.event_s, due.due_s) for at in on) else "missed"


def _told_blind(rows: Rows, until_s: float, design: Design) -> bool:
    """Return whether loss of sight stood at a moment with the burner not read."""
    names = {one.name for one in design.alerts if one.kind == "loss_of_sight"}
    state = "off"
    for change in rows.cook.alerts.changes:
        mine = change.burner == rows.burner and change.alert in names
        if mine and change.time_s <= until_s and change.switches:
            state = change.state
    at = int(np.searchsorted(rows.time_s, until_s, side="right")) - 1
    assert rows.said is not None
    return state == "on" and bool(np.isnan(rows.said.hottest_k[max(at, 0)]))
