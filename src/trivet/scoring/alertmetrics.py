"""Lead, miss and nuisance of the alerts of one cook, against what was so."""

from __future__ import annotations

import math

import numpy as np

from trivet.models.actual import Series
from trivet.records.design import Design, Limit
from trivet.records.requirement import DEVICE_KINDS, Alert, Requirement
from trivet.records.verdict import ProofCook
from trivet.scoring.alertcauses import cause_there
from trivet.scoring.outcomes import CookOutcome, State, nothing
from trivet.scoring.series import Side, hottest_series, sides

CLOCK_U95_S = 0.4
"""95 % interval of the time between frames and probes on the bench (0.2 s standard)."""
ANNOUNCING = frozenset({"loss_of_sight", *DEVICE_KINDS})
"""Kinds that tell of the product, not of the cooking."""


def _named(requirement: Requirement, design: Design) -> list[Alert]:
    """Return the alerts that a requirement is about."""
    if requirement.alert is not None:
        return [one for one in design.alerts if one.name == requirement.alert]
    return [one for one in design.alerts if one.kind not in ANNOUNCING]


def reached_s(series: Series, value_k: float, *, sign: float = 0.0) -> float:
    """Return when a series first reaches a value, infinite if never.

    Parameters
    ----------
    series : Series
        What was so.
    value_k : float
        Limit. [K]
    sign : float
        Adds this many standard uncertainties to the series. [-]

    Returns
    -------
    float
        Time, linear between moments. [s]

    Notes
    -----
    A reach inside a gap is told at the gap's end.

    References
    ----------
    Definition.
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
    """Return since when an alert is on at a moment, infinite if it is off.

    Parameters
    ----------
    cook : ProofCook
        Its alert log.
    alert : str
        Name.
    burner : str
        Name.
    at_s : float
        Moment. [s]

    Returns
    -------
    float
        Start of the unbroken run. [s]

    Notes
    -----
    An alert that went off again before the moment counts as silent; one that escalated is on.

    References
    ----------
    Definition.
    """
    since = math.inf
    for change in cook.alerts.changes:
        mine = (change.burner, change.alert) == (burner, alert) and change.switches
        if mine and change.time_s <= at_s:
            since = change.time_s if change.state == "on" else math.inf
    return since


def heat_start_s(side: Side) -> float:
    """Return when a burner was lit, NaN if nothing tells."""
    if side.truth is not None:
        heating = np.flatnonzero(side.truth.heat_w > 0.0)
        return float(side.truth.time_s[heating[0]]) if heating.size else math.nan
    starts = [
        event.time_s
        for event in side.cook.reference.events
        if event.burner == side.estimate.burner and event.event == "on"
    ]
    return min(starts) if starts else math.nan


def _limit(requirement: Requirement, design: Design) -> tuple[Alert, Limit] | None:
    for one in _named(requirement, design):
        if requirement.alert is not None and one.limit is not None:
            return one, design.limit(one.limit)
    return None


def _lead_s(side: Side, alert: str, reached: float) -> float:
    """Return the lead at a moment: infinite if it never comes, -inf without the alert."""
    if math.isinf(reached):
        return math.inf
    return reached - on_since_s(side.cook, alert, burner=side.estimate.burner, at_s=reached)


def lead_time(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return the time from the alert to the limit, the shortest of the burners.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Names the alert; its limit is the lead wanted. [s]
    design : Design
        Alerts and limits.

    Returns
    -------
    CookOutcome
        Lead [s]; -inf without an alert; nothing where no limit is reached.

    Notes
    -----
    On the bench the limit counts as reached 2 u early for "ok" and 2 u late
    for "fail", and 0.4 s of clock are set aside. A cook that reaches the limit
    sooner after its burner was lit than the lead wanted is physically
    impossible to warn of in time: named, not counted, unless no alert came.

    References
    ----------
    JCGM 106:2012, clause 8 (guard bands).
    """
    pair = _limit(requirement, design)
    if pair is None:
        return nothing("the requirement names no alert with a limit")
    one, limit = pair
    wanted, value_k = requirement.limit_value, float(limit.value_k)
    guard = 2.0 if requirement.guard_band else 0.0
    worst: CookOutcome | None = None
    note = f"no reference of the {limit.of} surface"
    for side in sides(cook, requirement=requirement, design=design):
        series = hottest_series(side, limit.of)
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
        clock = CLOCK_U95_S if side.truth is None and requirement.guard_band else 0.0
        if plain - heat_start_s(side) < wanted and math.isfinite(lead):
            note = f"impossible: {plain - heat_start_s(side):.0f} s from lighting to the limit"
            continue
        state: State = "conditional"
        if early - clock >= wanted:
            state = "ok"
        elif late + clock < wanted:
            state = "fail"
        found = CookOutcome(state, lead)
        worst = found if worst is None or lead < worst.value else worst
    return worst or nothing(note)


def missed_alert(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return whether a burner reached the limit without the alert before it.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Names the alert.
    design : Design
        Alerts and limits.

    Returns
    -------
    CookOutcome
        1 missed, 0 not; nothing where no limit is reached.

    Notes
    -----
    An alert on at the very moment of the limit is in time, by this metric.

    References
    ----------
    Definition.
    """
    pair = _limit(requirement, design)
    if pair is None:
        return nothing("the requirement names no alert with a limit")
    one, limit = pair
    outcomes = []
    note = f"no reference of the {limit.of} surface"
    for side in sides(cook, requirement=requirement, design=design):
        series = hottest_series(side, limit.of)
        if not series.known:
            continue
        note = "the limit was not reached"
        reached = reached_s(series, float(limit.value_k))
        if math.isfinite(reached):
            since = on_since_s(cook, one.name, burner=side.estimate.burner, at_s=reached)
            outcomes.append(math.isinf(since))
    if not outcomes:
        return nothing(note)
    return CookOutcome("fail", 1.0) if any(outcomes) else CookOutcome("ok", 0.0)


def nuisance_alert(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return whether an alert came on whose cause was not there.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Names the alert, or none: then all but loss of sight count.
    design : Design
        Alerts and limits.

    Returns
    -------
    CookOutcome
        1 nuisance, 0 none; nothing where an alert cannot be judged.

    Notes
    -----
    What counts as the cause stands in ``alertcauses.cause_there``.

    References
    ----------
    House definition, since standards leave it to the alarm's rationalisation.
    """
    alerts = {one.name: one for one in _named(requirement, design)}
    judged, note = [], "no burner of the cook is covered"
    for side in sides(cook, requirement=requirement, design=design):
        judged.append(False)
        for change in cook.alerts.changes:
            mine = change.burner == side.estimate.burner and change.state == "on"
            if not mine or change.alert not in alerts:
                continue
            there = cause_there(alerts[change.alert], side, change.time_s, design=design)
            if there is None:
                return nothing(f"no reference to judge the alert {change.alert} by")
            judged.append(not there)
    if not judged:
        return nothing(note)
    return CookOutcome("fail", 1.0) if any(judged) else CookOutcome("ok", 0.0)
