"""What the sealed prediction says of a requirement: the worst case of all that it covers."""

from __future__ import annotations

import math
from collections.abc import Iterable

from trivet.models.predicted import best_views
from trivet.records.design import Design
from trivet.records.prediction import Budget, PanView, Prediction
from trivet.records.requirement import Requirement
from trivet.records.verdict import Decision, EvidenceLine
from trivet.scoring.registry import limit_value, metric, metric_of

Found = tuple[float, str, str]
"""Value in SI (NaN: missing), where the worst lies, sentence."""
TINY = 1e-9
"""Rounding of a share such as 1 - 1e-16 must not fail a limit of 100 %."""


def predicted_value(requirement: Requirement, *, prediction: Prediction, design: Design) -> Found:
    """Return value, place and sentence of a predicted metric at its worst.

    The value is in SI: NaN where a figure is missing, infinite where nothing is measured or
    earned.  A half-width is that of the 95th-percentile unit where that is wider than the
    budget, after the calibrations that the design declares.
    """
    found: Found = metric_of(requirement).function(requirement, prediction, design)
    return found


def meets(requirement: Requirement, value: float) -> bool:
    """Return whether a predicted value meets a requirement's limit."""
    limit = limit_value(requirement)
    if metric_of(requirement).sense == "higher":
        return value >= limit - TINY
    return value <= limit + TINY


def predicted_line(
    requirement: Requirement, *, prediction: Prediction, design: Design
) -> EvidenceLine:
    """Return the line of evidence of a prediction: no cooks, not proven where a figure is missing.

    Battery days are the tenth percentile already, so no further guard band is taken.
    """
    value, source, text = predicted_value(requirement, prediction=prediction, design=design)
    decision: Decision = "not proven"
    if not math.isnan(value):
        decision = "met" if meets(requirement, value) else "not met"
    return EvidenceLine(
        evidence="predicted",
        value=value,
        bound=value,
        cooks=0,
        failures=0,
        text=text,
        decision=decision,
        sources=(source,) if source else (),
    )


def _best_views(requirement: Requirement, prediction: Prediction) -> dict[str, PanView]:
    """Return the view that stands for each burner and pan that the requirement covers."""
    return {
        f"{pan} on {burner}": view
        for (burner, pan), view in best_views(prediction.views).items()
        if not requirement.pans or pan in requirement.pans
    }


def _worst(named: Iterable[tuple[float, str]], what: str, unit: str, *, low: bool) -> Found:
    values = list(named)
    if not values:
        return math.nan, "", f"no prediction of {what} for what the requirement covers"
    missing = [name for value, name in values if math.isnan(value)]
    if missing:
        return math.nan, missing[0], f"{what} is unknown for {missing[0]}"
    value, name = min(values) if low else max(values)
    return value, name, f"{what} at worst {value:.4g}{unit}: {name}"


@metric("prediction", "rim_in_view", "fraction", "higher")
def _rim(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Share of the pan's rim, with margin, inside the field of view; worst burner and pan."""
    places = _best_views(requirement, prediction)
    best = [(view.rim_in_view_frac, name) for name, view in places.items()]
    value, source, text = _worst(best, "rim in view", "", low=True)
    if not math.isnan(value):
        margin = places[source].margin_m
        text = f"rim in view at worst {100 * value:.1f} %, margin {1000 * margin:.0f} mm: {source}"
    return value, source, text


@metric("prediction", "pixels_across", "number", "higher")
def _pixels(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Pixels across the pan; worst burner and pan."""
    places = _best_views(requirement, prediction)
    best = [(view.pixels_across, name) for name, view in places.items()]
    return _worst(best, "pixels across", "", low=True)


@metric("prediction", "range_headroom", "difference", "higher")
def _headroom(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Sensor range above the named limit."""
    limits = {
        one.limit for one in design.alerts if requirement.alert in (None, one.name) and one.limit
    }
    rows = [
        (one.headroom_k, f"{one.limit} by {one.head}")
        for one in prediction.ranges
        if one.limit in limits or (requirement.alert is None)
    ]
    return _worst(rows, "headroom of the range", " K", low=True)


@metric("prediction", "predicted_u95", "difference", "lower")
def _u95(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """95 % interval half-width of the error budget at the band's upper end; worst burner."""
    band = next((one for one in design.bands if one.name == requirement.band), None)
    rows = []
    for one in prediction.budgets:
        wanted = (
            (not requirement.bases or one.base in requirement.bases)
            and (not requirement.pans or one.pan in requirement.pans)
            and (requirement.of is None or one.of == requirement.of)
            and (band is None or abs(one.temperature_k - float(band.high_k)) < 0.01)
        )
        if wanted:
            name = f"{one.pan}, {one.base}, {one.temperature_k - 273.15:.0f} C"
            u95 = _of_poor_unit(one, prediction) if one.measurable else math.inf
            rows.append((u95, name if one.measurable else f"{name} ({one.reason})"))
    return _worst(rows, "95 % half-width", " K", low=False)


def _of_poor_unit(budget: Budget, prediction: Prediction) -> float:
    """Return the half-width of a budget, or that of the 95th-percentile unit where wider."""
    units = prediction.population
    for one in units.errors if units is not None else ():
        if (one.base, one.pan, one.temperature_k) == (
            budget.base,
            budget.pan,
            budget.temperature_k,
        ):
            steps = (one.p95_k, one.p95_calibrated_k, one.p95_recalibrated_k)
            last = [step for step in steps if not math.isnan(step)]
            return max(budget.u95_k, last[-1]) if last else budget.u95_k
    return budget.u95_k


@metric("prediction", "first_reading", "time", "lower")
def _first_reading(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """From burner on to the first reading that can alert, from a cold sleeping unit; the coverage
    share of starts must lie within the limit.
    """
    if prediction.warning is None:
        return math.nan, "", "no alert timeline was predicted"
    share = float(requirement.coverage_frac)
    value = prediction.warning.first_reading_at_s(share)
    words = "never comes" if math.isinf(value) else f"comes within {value:.0f} s"
    return (
        value,
        "alert timeline",
        f"the first reading {words} of burner on in {share:.0%} of starts",
    )


@metric("prediction", "battery_days", "number", "higher")
def _battery(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Days of a charge, tenth percentile."""
    life = prediction.battery
    text = f"{life.days_p10:.0f} days at P10, {life.days_p50:.0f} at P50"
    if math.isnan(life.days_p10):
        text = f"battery days are unknown: {life.note}"
    return life.days_p10, "battery", text


@metric("prediction", "contribution_frac", "fraction", "higher")
def _contribution(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Contribution over net price."""
    money = prediction.economics
    text = (
        f"contribution {money.contribution} {money.currency}, {money.contribution_frac:.1%} of net"
    )
    return money.contribution_frac, "economics", text


@metric("prediction", "break_even_units", "number", "lower")
def _break_even(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    """Units until fixed is earned."""
    units = prediction.economics.break_even_units
    if units is None:
        return math.inf, "economics", "the fixed cost is never earned"
    return float(units), "economics", f"break-even at {units:,} units"
