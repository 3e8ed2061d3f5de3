"""The account of all alerts over many cooks: exact bounds, repeats counted once, goals.

Every figure is a function of the cases of one alert (or of one span of heating rates) and one
grade of evidence.
"""

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
)
from trivet.records.design import Design
from trivet.records.requirement import COOK_GRADES, DEVICE_KINDS, LIMITED
from trivet.records.scoring import MetricValue
from trivet.scoring.alertmetrics import ANNOUNCING
from trivet.scoring.registry import METRICS, metric

DUE = ("in time", "late", "missed", "blindness told")
"""Ends of the cases in which an alert was due."""
FAILED = ("late", "missed")
FASTEST_KPS = 2.05
"""Goals on lead time are stated up to 2 K/s; the rest is the rate's own uncertainty, own estimate.
[K/s]"""
RATES_KPS = (-math.inf, 1.05, FASTEST_KPS, 3.05, 4.45, math.inf)
"""Ends of the spans of heating rates, which the account keeps apart; own estimate. [K/s]"""
Cases = Sequence[AlertCase]


def alert_study(design: Design, *, cases: Cases, faults: Sequence[FaultRow] = ()) -> AlertStudy:
    """Return what each alert did, what that says of the goals, and the cases worth a look.

    All repeats of a plan are one independent cook, as good as the worst of them; grades of
    evidence are kept apart.  299 cooks without a failure bound a rate at 1 % (Clopper and
    Pearson, 1934).  ``faults`` are what was announced after injected faults.
    """
    rows = [
        AlertRow(one.name, grade, _figures(mine))
        for grade in COOK_GRADES
        for one in design.alerts
        if one.kind not in DEVICE_KINDS
        and (mine := [c for c in cases if (c.alert, c.evidence) == (one.name, grade)])
    ]
    told = [c for c in cases if c.end in (*FAILED, "blindness told") or c.nuisance]
    styles = Counter(style for style in {c.cook: c.style for c in cases}.values() if style)
    return AlertStudy(
        cooks=len({c.cook for c in cases}),
        independent=len({c.plan for c in cases}),
        styles=tuple(sorted(styles.items())),
        rows=tuple(rows),
        rates=_rate_rows(design, cases),
        goals=_goals(design, cases),
        faults=tuple(faults),
        cases=tuple(told),
    )


def _figures(cases: Cases) -> dict[str, MetricValue]:
    return {name: one.function(cases) for name, one in METRICS["alert"].items()}


def share_of(cases: Cases, failing: Callable[[AlertCase], bool]) -> MetricValue:
    """Return how many independent cooks fail, of how many, with the exact upper 95 % bound.

    The bound is 1 without a cook.
    """
    groups: dict[str, bool] = defaultdict(bool)
    for one in cases:
        groups[one.plan] |= failing(one)
    count, of = sum(groups.values()), len(groups)
    if not of:
        return MetricValue(math.nan, high=1.0)
    return MetricValue(count / of, math.nan, upper_bound_frac(count, of), count, of)


def _failed(one: AlertCase) -> bool:
    return one.end in FAILED


def _due(cases: Cases) -> Cases:
    return [one for one in cases if one.end in DUE]


def _plans(cases: Cases, end: CaseEnd) -> MetricValue:
    count = len({one.plan for one in cases if one.end == end})
    return MetricValue(count, count=count)


@metric("alert", "missed", "fraction", "lower", heading="missed or late")
def _missed(cases: Cases) -> MetricValue:
    """Of the independent cooks in which the alert was due, how many got it late or not at all; with
    the exact upper 95 % bound.
    """
    return share_of(_due(cases), _failed)


@metric("alert", "blind", "count", "lower", heading="blind, told")
def _blind(cases: Cases) -> MetricValue:
    """Independent cooks in which loss of sight was told in time instead."""
    return _plans(cases, "blindness told")


@metric("alert", "impossible", "count", "neither")
def _impossible(cases: Cases) -> MetricValue:
    """Independent cooks that heated too fast for the lead, and were told before the event."""
    return _plans(cases, "impossible")


@metric("alert", "censored", "count", "neither")
def _censored(cases: Cases) -> MetricValue:
    """Cooks that ended before the alert was due."""
    count = sum(one.end == "censored" for one in cases)
    return MetricValue(count, count=count)


@metric("alert", "leads", "time", "higher", heading="lead 5 / 50 / 95 %")
def _leads(cases: Cases) -> MetricValue:
    """Time from the alert to its event where one was due: median, 5 % and 95 % quantiles."""
    leads = [one.lead_s for one in _due(cases) if math.isfinite(one.lead_s)]
    if not leads:
        return MetricValue(math.nan)
    low, middle, high = np.quantile(leads, (0.05, 0.5, 0.95)).tolist()
    return MetricValue(middle, low, high)


@metric("alert", "nuisance", "fraction", "lower")
def _nuisance(cases: Cases) -> MetricValue:
    """Of the independent cooks that could be judged, how many heard the alert without its cause;
    with the exact upper 95 % bound.
    """
    return share_of([one for one in cases if one.judged], lambda one: one.nuisance)


@metric("alert", "turned", "fraction", "lower", heading="warned, then turned down")
def _turned(cases: Cases) -> MetricValue:
    """Of the independent ordinary cooks of an alert that foretells, how many were warned of a
    limit, rightly at the true rate, and turned the knob before it came; no nuisance here: whoever
    counts them so may add them.
    """
    ahead = [one for one in cases if one.style and one.kind == "time_to_limit"]
    return share_of(ahead, lambda one: one.turned)


@metric("alert", "chatter", "count", "lower")
def _chatter(cases: Cases) -> MetricValue:
    """How often the alert went on again within the design's chatter time."""
    count = sum(one.chatters for one in cases)
    return MetricValue(count, count=count)


def _pan_limit_cases(design: Design, cases: Cases) -> list[AlertCase]:
    """Return the simulated cases in oil of the alerts that guard a limit of the pan."""
    names = {
        one.name
        for one in design.alerts
        if one.kind in LIMITED and design.limit(str(one.limit)).of == "pan"
    }
    return [c for c in cases if c.evidence == "simulated" and c.alert in names and c.oily]


def _rate_rows(design: Design, cases: Cases) -> tuple[RateRow, ...]:
    hot = _pan_limit_cases(design, cases)
    return tuple(
        RateRow(low, high, _figures([one for one in hot if low < one.rate_kps <= high]))
        for low, high in itertools.pairwise(RATES_KPS)
    )


def _goals(design: Design, cases: Cases) -> tuple[Goal, ...]:
    """Return the house's goals for alerts, each by the simulated proof cooks."""
    sim = [one for one in cases if one.evidence == "simulated"]
    hot = _pan_limit_cases(design, cases)
    slow = [one for one in hot if one.end in DUE and one.rate_kps <= FASTEST_KPS]
    dry = [one for one in sim if one.kind == "boil_dry" and one.end in DUE]
    normal = [one for one in sim if one.style and one.kind not in ANNOUNCING]
    chatters = [one for one in sim if one.kind not in ANNOUNCING]
    return (
        _goal("in time before the pan limit at up to 2 K/s, oil cooks: >= 95 %", slow, 0.05),
        _goal("boil-dry within 30 s: >= 95 %", dry, 0.05),
        _goal("nuisance over ordinary cooks: <= 1 %", normal, 0.01, lambda one: one.nuisance),
        _goal("chatter: <= 1 in 200 cooks", chatters, 0.005, lambda one: one.chatters > 0),
    )


def _goal(
    text: str,
    cases: Cases,
    allowed: float,
    failing: Callable[[AlertCase], bool] = _failed,
) -> Goal:
    found = share_of(cases, failing)
    if not found.of:
        return Goal(text, "no cook in which it could show", "not proven")
    said = f"{found.count} of {found.of} independent cooks failed: at most"
    said += f" {100.0 * found.high:.1f} % at 95 %, simulated"
    if found.high <= allowed:
        return Goal(text, said, "met")
    surely = lower_bound_frac(found.count, found.of) >= allowed if found.count else False
    return Goal(text, said, "not met" if surely else "not proven")
