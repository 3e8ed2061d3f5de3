"""The account of all alerts over many cooks: exact bounds, repeats counted once, goals."""

from __future__ import annotations

import itertools
import math
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence

import numpy as np

from trivet.physics.statistics.intervals import lower_bound_frac, upper_bound_frac
from trivet.records.alertaccount import (
    AlertCase,
    AlertRow,
    AlertStudy,
    CaseEnd,
    FaultRow,
    Goal,
    RateRow,
    Share,
    turned,
)
from trivet.records.design import Design
from trivet.records.requirement import DEVICE_KINDS, LIMITED, Alert, Evidence
from trivet.scoring.alertmetrics import ANNOUNCING

DUE = ("in time", "late", "missed", "blindness told")
FAILED = ("late", "missed")
GRADES: tuple[Evidence, ...] = ("simulated", "bench")
FASTEST_KPS = 2.05
"""Goals on lead time are stated up to 2 K/s; the rest is the rate's own uncertainty."""
RATES_KPS = (-math.inf, 1.05, FASTEST_KPS, 3.05, 4.45, math.inf)
"""Ends of the spans of heating rates, which the account keeps apart."""


def alert_study(
    design: Design, *, cases: Sequence[AlertCase], faults: Sequence[FaultRow] = ()
) -> AlertStudy:
    """Return what each alert did, what that says of the goals, and the cases worth a look.

    Parameters
    ----------
    design : Design
        Alerts in their order.
    cases : sequence of AlertCase
        Of all cooks; grades of evidence are kept apart.
    faults : sequence of FaultRow
        What was announced after injected faults.

    Returns
    -------
    AlertStudy
        Rates with exact upper 95 % bounds.

    Notes
    -----
    All repeats of a plan are one independent cook, as good as the worst of them; 299 without
    a failure bound a rate at 1 %.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934).
    """
    rows = [
        _row(one, grade, [c for c in cases if (c.alert, c.evidence) == (one.name, grade)])
        for grade in GRADES
        for one in design.alerts
        if one.kind not in DEVICE_KINDS
    ]
    told = [c for c in cases if c.end in (*FAILED, "blindness told") or c.nuisance]
    styles = Counter(style for style in {c.cook: c.style for c in cases}.values() if style)
    return AlertStudy(
        cooks=len({c.cook for c in cases}),
        independent=len({c.plan for c in cases}),
        styles=tuple(sorted(styles.items())),
        rows=tuple(row for row in rows if row is not None),
        rates=_rate_rows(design, cases),
        goals=_goals(design, cases),
        faults=tuple(faults),
        cases=tuple(told),
    )


def share_of(cases: Sequence[AlertCase], failing: Callable[[AlertCase], bool]) -> Share:
    """Return how many independent cooks fail, of how many, with the exact upper 95 % bound."""
    groups: dict[str, bool] = defaultdict(bool)
    for one in cases:
        groups[one.plan] |= failing(one)
    count = sum(groups.values())
    bound = upper_bound_frac(count, len(groups)) if groups else 1.0
    return Share(count, len(groups), bound)


def _row(alert: Alert, grade: Evidence, cases: Sequence[AlertCase]) -> AlertRow | None:
    if not cases:
        return None
    due = [one for one in cases if one.end in DUE]
    ordinary = [one for one in cases if one.style and alert.kind == "time_to_limit"]
    return AlertRow(
        alert=alert.name,
        evidence=grade,
        missed=share_of(due, _failed),
        blind=_plans(cases, "blindness told"),
        censored=sum(one.end == "censored" for one in cases),
        impossible=_plans(cases, "impossible"),
        leads_s=_leads(due),
        nuisance=share_of([one for one in cases if one.judged], lambda one: one.nuisance),
        turned=share_of(ordinary, turned),
        chatters=sum(one.chatters for one in cases),
    )


def _failed(one: AlertCase) -> bool:
    return one.end in FAILED


def _plans(cases: Sequence[AlertCase], end: CaseEnd) -> int:
    return len({one.plan for one in cases if one.end == end})


def _leads(cases: Sequence[AlertCase]) -> tuple[float, float, float]:
    """Return 5 %, 50 % and 95 % of the leads that there are. [s]"""
    leads = [one.lead_s for one in cases if math.isfinite(one.lead_s)]
    if not leads:
        return math.nan, math.nan, math.nan
    low, middle, high = np.quantile(leads, (0.05, 0.5, 0.95)).tolist()
    return low, middle, high


def _pan_limit_cases(design: Design, cases: Sequence[AlertCase]) -> list[AlertCase]:
    """Return the simulated cases in oil of the alerts that guard a limit of the pan."""
    names = {
        one.name
        for one in design.alerts
        if one.kind in LIMITED and design.limit(str(one.limit)).of == "pan"
    }
    return [c for c in cases if c.evidence == "simulated" and c.alert in names and c.oily]


def _rate_rows(design: Design, cases: Sequence[AlertCase]) -> tuple[RateRow, ...]:
    hot = _pan_limit_cases(design, cases)
    rows = []
    for low, high in itertools.pairwise(RATES_KPS):
        mine = [one for one in hot if low < one.rate_kps <= high]
        due = [one for one in mine if one.end in DUE]
        missed = share_of(due, _failed)
        blind, impossible = _plans(mine, "blindness told"), _plans(mine, "impossible")
        rows.append(RateRow(low, high, missed, blind, impossible, _leads(due)))
    return tuple(rows)


def _goals(design: Design, cases: Sequence[AlertCase]) -> tuple[Goal, ...]:
    """Return the house's goals for alerts, each by the simulated proof cooks."""
    kinds = {one.name: one.kind for one in design.alerts}
    sim = [one for one in cases if one.evidence == "simulated"]
    hot = _pan_limit_cases(design, cases)
    slow = [one for one in hot if one.end in DUE and one.rate_kps <= FASTEST_KPS]
    dry = [one for one in sim if kinds[one.alert] == "boil_dry" and one.end in DUE]
    normal = [one for one in sim if one.style and kinds[one.alert] not in ANNOUNCING]
    chatters = [one for one in sim if kinds[one.alert] not in ANNOUNCING]
    return (
        _goal("in time before the pan limit at up to 2 K/s, oil cooks: >= 95 %", slow, 0.05),
        _goal("boil-dry within 30 s: >= 95 %", dry, 0.05),
        _goal("nuisance over ordinary cooks: <= 1 %", normal, 0.01, lambda one: one.nuisance),
        _goal("chatter: <= 1 in 200 cooks", chatters, 0.005, lambda one: one.chatters > 0),
    )


def _goal(
    text: str,
    cases: Sequence[AlertCase],
    allowed: float,
    failing: Callable[[AlertCase], bool] = _failed,
) -> Goal:
    found = share_of(cases, failing)
    if not found.of:
        return Goal(text, "no cook in which it could show", "not proven")
    said = f"{found.count} of {found.of} independent cooks failed: at most"
    said += f" {100.0 * found.bound_frac:.1f} % at 95 %, simulated"
    if found.bound_frac <= allowed:
        return Goal(text, said, "met")
    surely = lower_bound_frac(found.count, found.of) >= allowed if found.count else False
    return Goal(text, said, "not met" if surely else "not proven")
