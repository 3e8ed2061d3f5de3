"""Scores of one cook, burner by burner, by the very rules of the verdict."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace
from functools import cache

import numpy as np

from trivet.arrays import FloatArray
from trivet.records.design import Design
from trivet.records.requirement import Alert, Requirement
from trivet.records.score import AlertScore, BurnerScore, LimitScore
from trivet.records.verdict import ProofCook
from trivet.scoring.alertmetrics import (
    lead_time,
    missed_alert,
    nuisance_alert,
    reached_s,
)
from trivet.scoring.cookmetrics import interval_coverage, wrong_reading
from trivet.scoring.outcomes import CookOutcome
from trivet.scoring.series import Side, heated, hottest_series, reading_pairs, sides


def burner_scores(cook: ProofCook, *, design: Design) -> tuple[BurnerScore, ...]:
    """Return what each burner of a cook says, as the verdict would count it alone.

    Parameters
    ----------
    cook : ProofCook
        One cook with its readings, its alerts, its references and, simulated, its truth.
    design : Design
        Limits and alerts.

    Returns
    -------
    tuple of BurnerScore
        One for each burner on which something stood.

    Notes
    -----
    The functions that decide a requirement are called on each burner alone,
    for all pans and bases and without a guard band; NaN or None where they say
    nothing.  A cook with several burners fails where any of its burners does.

    References
    ----------
    trivet.scoring.alertmetrics and cookmetrics.
    """
    found = (_score(one, design) for one in _alone(cook))
    return tuple(score for score in found if score is not None)


def _alone(cook: ProofCook) -> Iterator[ProofCook]:
    """Yield a cook burner by burner."""
    if cook.truth is not None:
        for burner in cook.truth.burners:
            yield replace(cook, truth=replace(cook.truth, burners=(burner,)))
        return
    for sheet in cook.reference.sheet:
        yield replace(cook, reference=replace(cook.reference, sheet=(sheet,)))


def _score(cook: ProofCook, design: Design) -> BurnerScore | None:
    side = next(sides(cook, requirement=None, design=design), None)
    if side is None:  # a bench sheet may name a burner that the product does not watch
        return None
    ok, so, u = reading_pairs(side, None)
    error = (side.estimate.reported_k - so)[ok]
    covered = np.abs(error) <= np.hypot(side.estimate.u95_k[ok], 2.0 * u[ok])
    mask, _ = heated(side, design=design, of=None)
    pan = hottest_series(side, "pan")
    every = _asked("interval_coverage")
    return BurnerScore(
        burner=side.estimate.burner,
        pan=side.truth.pan if side.truth else "",
        base=side.truth.base if side.truth else "",
        max_pan_k=float(np.nanmax(pan.value_k)) if pan.known else math.nan,
        heated=int(mask.sum()),
        valid_frac=float(side.valid[mask].mean()) if mask.any() else math.nan,
        readings=error.size,
        covered_frac=float(covered.mean()) if error.size else math.nan,
        drawn_covered=_other(_said(interval_coverage(cook, requirement=every, design=design))),
        wrong=_said(wrong_reading(cook, requirement=every, design=design)),
        bias_k=float(error.mean()) if error.size else math.nan,
        p95_error_k=_p95(np.abs(error)),
        max_error_k=float(np.abs(error).max()) if error.size else math.nan,
        limits=tuple(_limit(side, one.name, design) for one in design.limits),
        alerts=tuple(_alert(cook, side, one, design) for one in design.alerts),
    )


def _p95(error: FloatArray) -> float:
    return float(np.quantile(error, 0.95, method="inverted_cdf")) if error.size else math.nan


@cache
def _asked(metric: str, alert: str | None = None) -> Requirement:
    """Return a requirement on everything, for a metric's own rule without a limit."""
    limit = "0 s" if metric == "lead_time" else "0 %"
    return Requirement(
        id="score", text="score", metric=metric, limit=limit, alert=alert, guard_band=False
    )


def _said(outcome: CookOutcome) -> bool | None:
    """Return whether a counted metric fails; None where it says nothing."""
    return None if outcome.state is None else outcome.state == "fail"


def _other(said: bool | None) -> bool | None:
    return None if said is None else not said


def _limit(side: Side, name: str, design: Design) -> LimitScore:
    limit = design.limit(name)
    series = hottest_series(side, limit.of)
    found = reached_s(series, float(limit.value_k)) if series.known else math.nan
    return LimitScore(name, found)


def _alert(cook: ProofCook, side: Side, one: Alert, design: Design) -> AlertScore:
    times = [
        change.time_s
        for change in cook.alerts.changes
        if (change.burner, change.alert, change.state) == (side.estimate.burner, one.name, "on")
    ]
    lead = missed = None
    if one.limit is not None:
        lead = lead_time(cook, requirement=_asked("lead_time", one.name), design=design)
        missed = _said(
            missed_alert(cook, requirement=_asked("missed_alerts", one.name), design=design)
        )
    asked = _asked("nuisance_alerts", one.name)
    return AlertScore(
        alert=one.name,
        first_s=min(times, default=math.inf),
        lead_s=math.nan if lead is None or lead.state is None else lead.value,
        missed=missed,
        nuisance=_said(nuisance_alert(cook, requirement=asked, design=design)),
    )
