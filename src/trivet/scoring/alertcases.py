"""One cook's alerts, each against what was so: in time, late, missed, nuisance."""

from __future__ import annotations

import math

import numpy as np

from trivet.records.alertaccount import AlertCase, CaseEnd
from trivet.records.design import Design
from trivet.records.requirement import DEVICE_KINDS, Alert
from trivet.records.verdict import ProofCook
from trivet.scoring.alertcauses import Due, cause_there, due_of
from trivet.scoring.alertmetrics import heat_start_s
from trivet.scoring.series import Side, sides

FIRST_S = 10.0
"""From lighting a cold burner to the first heating rate of a unit that slept; assumed."""


def alert_cases(cook: ProofCook, *, design: Design, style: str = "") -> tuple[AlertCase, ...]:
    """Return a case for every alert and burner of a proof cook.

    Parameters
    ----------
    cook : ProofCook
        What the product said, and what was so.
    design : Design
        Alerts, limits.
    style : str
        Kind of ordinary cooking, empty for none.

    Returns
    -------
    tuple of AlertCase
        Also of alerts that neither came nor were due.

    Notes
    -----
    Every cook in which the event comes counts: one whose burner was withheld is a miss,
    unless loss of sight was announced by the same deadline and the burner not read. Where the
    deadline lies within 10 s of lighting the burner, no unit can meet it: such a cook is named
    as impossible if the alert came before the event, and a miss if not.

    References
    ----------
    House definition.
    """
    return tuple(
        _case(one, side, design, style)
        for side in sides(cook, requirement=None, design=design)
        for one in design.alerts
        if one.kind not in DEVICE_KINDS and covers(one, side, design)
    )


def covers(one: Alert, side: Side, design: Design) -> bool:
    """Return whether an alert acts for what lies in the pan."""
    wanted = {base.contents for base in design.bases if base.name in one.bases}
    return not one.bases or side.contents in wanted or side.contents in one.bases


def _case(one: Alert, side: Side, design: Design, style: str) -> AlertCase:
    cook, burner = side.cook, side.estimate.burner
    on = [c.time_s for c in cook.alerts.changes if _is(c, burner, one.name, "on")]
    off = [c.time_s for c in cook.alerts.changes if _is(c, burner, one.name, "off")]
    due = due_of(one, side, design=design)
    causes = [cause_there(one, side, at, design=design, ordinary=bool(style)) for at in on]
    first = min((at for at in on), default=math.inf)
    event = due.event_s if math.isfinite(due.event_s) else math.nan
    near = float(design.alerting.chatter_s)
    return AlertCase(
        cook=cook.name,
        plan=cook.plan,
        evidence=cook.evidence,
        style=style,
        burner=burner,
        alert=one.name,
        end=_end(due, on, off, side, design),
        on_s=first,
        due_s=due.due_s,
        lead_s=event - first if math.isfinite(first) else math.nan,
        rate_kps=due.rate_kps,
        oily=side.contents in ("oil", "butter"),
        nuisance=any(there is False for there in causes),
        judged=all(there is not None for there in causes),
        chatters=sum(any(0.0 <= at - gone <= near for gone in off) for at in on),
    )


def _is(change: object, burner: str, alert: str, state: str) -> bool:
    seen = (getattr(change, name) for name in ("burner", "alert", "state"))
    return tuple(seen) == (burner, alert, state)


def _end(due: Due, on: list[float], off: list[float], side: Side, design: Design) -> CaseEnd:
    if not math.isfinite(due.due_s):
        return "no event" if not math.isfinite(due.event_s) else "censored"
    before = [at for at in on if at <= due.due_s]
    gone = [at for at in off if before and before[-1] <= at <= due.due_s]
    if before and not gone:
        return "in time"
    if _told_blind(side, due.due_s, design):
        return "blindness told"
    # From a cold, sleeping unit: no alert can come before the burner is lit.
    begun = heat_start_s(side)
    if due.due_s < due.event_s and due.due_s < begun + FIRST_S and on and on[0] < due.event_s:
        return "impossible"
    if any(at <= max(due.event_s, due.due_s) for at in on):
        return "late"
    return "missed"


def _told_blind(side: Side, until_s: float, design: Design) -> bool:
    """Return whether loss of sight stood at a moment with the burner not read."""
    names = {one.name for one in design.alerts if one.kind == "loss_of_sight"}
    state = "off"
    for change in side.cook.alerts.changes:
        mine = change.burner == side.estimate.burner and change.alert in names
        if mine and change.time_s <= until_s and change.switches:
            state = change.state
    at = int(np.searchsorted(side.time_s, until_s, side="right")) - 1
    return state == "on" and bool(np.isnan(side.estimate.hottest_k[max(at, 0)]))
