"""Columns of a campaign's table: what one burner of one cook says, by the verdict's own rules.

A cook with several burners fails where any of its burners does.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from functools import cache

import numpy as np

from trivet.models.actual import hottest_series
from trivet.records.campaign import Cell, Row, SweepCook, column_of
from trivet.records.cook import cook_name
from trivet.records.design import Design, Limit
from trivet.records.requirement import Alert, Requirement
from trivet.records.verdict import CookOutcome, ProofCook
from trivet.scoring.alertmetrics import lead_time, missed_alert, nuisance_alert, reached_s
from trivet.scoring.readings import interval_coverage, wrong_reading
from trivet.scoring.registry import METRICS, metric
from trivet.scoring.table import Rows, reported, table

Value = float | int | bool | None
"""None and NaN where nothing tells."""


def burner_rows(proof: ProofCook, *, cook: SweepCook, design: Design, ended: Row) -> list[Row]:
    """Return the rows of a cook, one a burner: its names, how it ended, and its figures."""
    return [
        {**_named(cook, burner, design), **ended, **_cells(found), "error": None}
        for burner, found in burner_figures(proof, design=design).items()
    ]


def failed_rows(cook: SweepCook, error: str, *, design: Design) -> list[Row]:
    """Return the rows of a cook that gave nothing: its names and why."""
    return [{**_named(cook, one.burner, design), "error": error} for one in cook.plan.burners]


def _named(cook: SweepCook, burner: str, design: Design) -> Row:
    here = next(one for one in cook.plan.burners if one.burner == burner)
    return {
        "cook": cook_name(cook.plan, cook.repeat),
        "burner": burner,
        "combination": cook.combination,
        "matrix": cook.matrix,
        "worst_case": cook.worst,
        "seed_name": cook.seed,
        "repeat": cook.repeat,
        "seed": design.project.seed,
        "evidence": "simulated",
        "purpose": cook.plan.purpose,
        "unit": cook.plan.unit,
        "pan": here.pan,
        "base": here.base,
        **{column_of("factor", name): level for name, level in cook.levels.items()},
    }


def _cells(found: Mapping[tuple[str, str], Cell]) -> Row:
    """Return the figures of a burner as cells, by the column of metric and limit or alert."""
    return {
        column_of(name, of) if of else name: None
        if isinstance(cell, float) and not math.isfinite(cell)
        else cell
        for (name, of), cell in found.items()
    }


def burner_figures(cook: ProofCook, *, design: Design) -> dict[str, dict[tuple[str, str], Value]]:
    """Return the figures of each burner on which something stood and that the product watches.

    By burner, then by metric and by the limit or alert that it is about (empty for none).  The
    functions that decide a requirement are called on each burner alone, for all pans and
    bases and without a guard band.
    """
    return {one.burner: _figures(one, design) for one in reported(table(cook, design=design))}


def _figures(rows: Rows, design: Design) -> dict[tuple[str, str], Value]:
    found = {(name, ""): one.function(rows, design) for name, one in METRICS["burner"].items()}
    for limit in design.limits:
        for name, one in METRICS["limit"].items():
            found[name, limit.name] = one.function(rows, limit)
    for alert in design.alerts:
        for name, one in METRICS["limit-alert"].items():
            found[name, alert.name] = one.function(rows, alert, design)
    return found


@cache
def _asked(name: str, alert: str | None = None) -> Requirement:
    """Return a requirement on everything, for a metric's own rule without a limit."""
    limit = "0 s" if name == "lead_time" else "0 %"
    return Requirement(
        id="score", text="score", metric=name, limit=limit, alert=alert, guard_band=False
    )


def _fails(outcome: CookOutcome) -> bool | None:
    """Return whether a counted metric fails; None where it says nothing."""
    return None if outcome.state is None else outcome.state == "fail"


@metric("burner", "max_pan_k", "temperature", "neither")
def _max_pan_k(rows: Rows, design: Design) -> float:
    """Hottest 5 cm2 of the pan, or hottest probe of it."""
    pan = hottest_series(rows.actual, "pan")
    return float(np.nanmax(pan.value_k)) if pan.known else math.nan


@metric("burner", "heated_moments", "count", "neither")
def _heated_moments(rows: Rows, design: Design) -> int:
    """Moments at which the pan is heated."""
    return int((rows.stratum >= 0).sum())


@metric("burner", "valid_frac", "fraction", "higher")
def _valid_frac(rows: Rows, design: Design) -> float:
    """Share of the heated moments with a reading."""
    heated = rows.stratum >= 0
    return float(rows.valid[heated].mean()) if heated.any() else math.nan


@metric("burner", "readings", "count", "neither")
def _readings(rows: Rows, design: Design) -> int:
    """Readings that truth or references can judge."""
    return int(rows.comparable.sum())


@metric("burner", "covered_frac", "fraction", "higher")
def _covered_frac(rows: Rows, design: Design) -> float:
    """Share of these whose 95 % interval holds."""
    ok = rows.comparable
    within = np.abs(rows.error_k[ok]) <= rows.allowed_k[ok]
    return float(within.mean()) if within.size else math.nan


@metric("burner", "drawn_covered", "yes or no", "higher")
def _drawn_covered(rows: Rows, design: Design) -> bool | None:
    """Whether the interval of the drawn reading holds, the one that counts."""
    asked = _asked("interval_coverage")
    fails = _fails(interval_coverage([rows], requirement=asked, design=design))
    return None if fails is None else not fails


@metric("burner", "wrong_reading", "yes or no", "lower")
def _wrong_reading(rows: Rows, design: Design) -> bool | None:
    """Whether any reading is wrong by over 15 K and outside its interval."""
    return _fails(wrong_reading([rows], requirement=_asked("wrong_reading"), design=design))


@metric("burner", "bias_k", "difference", "neither")
def _bias_k(rows: Rows, design: Design) -> float:
    """Mean error."""
    error = rows.error_k[rows.comparable]
    return float(error.mean()) if error.size else math.nan


@metric("burner", "p95_error_k", "difference", "lower")
def _p95_error_k(rows: Rows, design: Design) -> float:
    """95th percentile of the absolute error, as an order statistic."""
    error = np.abs(rows.error_k[rows.comparable])
    return float(np.quantile(error, 0.95, method="inverted_cdf")) if error.size else math.nan


@metric("burner", "max_error_k", "difference", "lower")
def _max_error_k(rows: Rows, design: Design) -> float:
    """Largest absolute error."""
    error = np.abs(rows.error_k[rows.comparable])
    return float(error.max()) if error.size else math.nan


@metric("limit", "reached_s", "time", "neither")
def _reached_s(rows: Rows, limit: Limit) -> float:
    """When the limit was first reached; infinite if never."""
    series = hottest_series(rows.actual, limit.of)
    return reached_s(series, float(limit.value_k)) if series.known else math.nan


@metric("limit-alert", "first_s", "time", "neither")
def _first_s(rows: Rows, alert: Alert, design: Design) -> float:
    """When the alert first came on; infinite if never."""
    return min(rows.switched(alert.name, "on"), default=math.inf)


@metric("limit-alert", "lead_s", "time", "higher")
def _lead_s(rows: Rows, alert: Alert, design: Design) -> float:
    """From the alert to its limit; minus infinite without the alert."""
    if alert.limit is None:
        return math.nan
    lead = lead_time([rows], requirement=_asked("lead_time", alert.name), design=design)
    return math.nan if lead.state is None else lead.value


@metric("limit-alert", "missed", "yes or no", "lower")
def _missed(rows: Rows, alert: Alert, design: Design) -> bool | None:
    """Whether the limit was reached without the alert."""
    if alert.limit is None:
        return None
    asked = _asked("missed_alerts", alert.name)
    return _fails(missed_alert([rows], requirement=asked, design=design))


@metric("limit-alert", "nuisance", "yes or no", "lower")
def _nuisance(rows: Rows, alert: Alert, design: Design) -> bool | None:
    """Whether the alert came without its cause."""
    asked = _asked("nuisance_alerts", alert.name)
    return _fails(nuisance_alert([rows], requirement=asked, design=design))
