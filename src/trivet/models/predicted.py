"""What a prediction says: the view that stands for a pan, and the worst case of a requirement."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from trivet.records.design import Design
from trivet.records.prediction import Budget, PanView, Prediction
from trivet.records.requirement import Requirement


def view_rank(view: PanView) -> tuple[float, float, float]:
    """Return what views of one pan on one burner are ranked by, largest first.

    The share of the rim with its margin in the field, then pixels across, then the
    margin.  A head that sees the rim whole comes before one that does not; of two that do,
    the one that resolves it better.
    """
    across = view.pixels_across if math.isfinite(view.pixels_across) else -math.inf
    return view.rim_in_view_frac, across, view.margin_m


def best_views(views: Iterable[PanView]) -> dict[tuple[str, str], PanView]:
    """Return for each burner and pan the view that stands for it.

    Parameters
    ----------
    views : iterable of PanView
        By every head.

    Returns
    -------
    dict
        Burner and pan to view, in the order of the views.
    """
    best: dict[tuple[str, str], PanView] = {}
    for view in views:
        key = (view.burner, view.pan)
        if key not in best or view_rank(view) > view_rank(best[key]):
            best[key] = view
    return best


Found = tuple[float, str, str]
"""Value in SI (NaN: missing), where the worst lies, sentence."""


def predicted_value(requirement: Requirement, *, prediction: Prediction, design: Design) -> Found:
    """Return value, place and sentence of a predicted metric at its worst.

    Parameters
    ----------
    requirement : Requirement
        Of a metric whose source is the prediction.
    prediction : Prediction
        What the design says.
    design : Design
        Bands and alerts by name.

    Returns
    -------
    tuple
        Value in SI: NaN where a figure is missing, infinite where nothing is measured
        or earned; where it lies; a sentence.

    Notes
    -----
    A half-width is that of the 95th-percentile unit where that is wider than the
    budget, after the calibrations that the design declares.
    """
    return _FOUND[requirement.metric](requirement, prediction, design)


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


def _rim(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    places = _best_views(requirement, prediction)
    best = [(view.rim_in_view_frac, name) for name, view in places.items()]
    value, source, text = _worst(best, "rim in view", "", low=True)
    if not math.isnan(value):
        margin = places[source].margin_m
        text = f"rim in view at worst {100 * value:.1f} %, margin {1000 * margin:.0f} mm: {source}"
    return value, source, text


def _pixels(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    places = _best_views(requirement, prediction)
    best = [(view.pixels_across, name) for name, view in places.items()]
    return _worst(best, "pixels across", "", low=True)


def _headroom(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    limits = {
        one.limit for one in design.alerts if requirement.alert in (None, one.name) and one.limit
    }
    rows = [
        (one.headroom_k, f"{one.limit} by {one.head}")
        for one in prediction.ranges
        if one.limit in limits or (requirement.alert is None)
    ]
    return _worst(rows, "headroom of the range", " K", low=True)


def _u95(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
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


def _battery(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    life = prediction.battery
    text = f"{life.days_p10:.0f} days at P10, {life.days_p50:.0f} at P50"
    if math.isnan(life.days_p10):
        text = f"battery days are unknown: {life.note}"
    return life.days_p10, "battery", text


def _contribution(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    money = prediction.economics
    text = (
        f"contribution {money.contribution} {money.currency}, {money.contribution_frac:.1%} of net"
    )
    return money.contribution_frac, "economics", text


def _break_even(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    units = prediction.economics.break_even_units
    if units is None:
        return math.inf, "economics", "the fixed cost is never earned"
    return float(units), "economics", f"break-even at {units:,} units"


def _first_reading(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
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


_FOUND: dict[str, Callable[[Requirement, Prediction, Design], Found]] = {
    "rim_in_view": _rim,
    "pixels_across": _pixels,
    "range_headroom": _headroom,
    "predicted_u95": _u95,
    "first_reading": _first_reading,
    "battery_days": _battery,
    "contribution_frac": _contribution,
    "break_even_units": _break_even,
}
