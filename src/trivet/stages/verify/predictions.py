"""Evidence from the sealed prediction."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

from trivet.records.design import Design
from trivet.records.prediction import PanView, Prediction
from trivet.records.requirement import METRICS, Requirement
from trivet.records.verdict import Decision, EvidenceLine

Found = tuple[float, str, str]
"""Value in SI (NaN: missing), where the worst lies, sentence."""

_TINY = 1e-9
"""Rounding of a share such as 1 - 1e-16 must not fail a limit of 100 %."""


def predicted_line(
    requirement: Requirement, *, prediction: Prediction, design: Design
) -> EvidenceLine:
    """Return what the prediction says of a requirement.

    Parameters
    ----------
    requirement : Requirement
        Of a metric whose source is the prediction.
    prediction : Prediction
        Sealed.
    design : Design
        Bands and alerts by name.

    Returns
    -------
    EvidenceLine
        Grade ``predicted``; no cooks; not proven where a figure is missing.

    Notes
    -----
    The worst case of all burners and pans decides. Battery days are the tenth
    percentile already, so no further guard band is taken.

    References
    ----------
    The prediction's own notes.
    """
    value, source, text = _FOUND[requirement.metric](requirement, prediction, design)
    decision: Decision = "not proven"
    if not math.isnan(value):
        limit = requirement.limit_value
        met = (
            value >= limit - _TINY
            if METRICS[requirement.metric].sense == "at_least"
            else value <= limit + _TINY
        )
        decision = "met" if met else "not met"
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


def _best_views(requirement: Requirement, prediction: Prediction) -> dict[str, list[PanView]]:
    """Return the views of each burner and pan that the requirement covers."""
    places: dict[str, list[PanView]] = {}
    for view in prediction.views:
        if not requirement.pans or view.pan in requirement.pans:
            places.setdefault(f"{view.pan} on {view.burner}", []).append(view)
    return places


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
    best = [(max(v.rim_in_view_frac for v in views), name) for name, views in places.items()]
    value, source, text = _worst(best, "rim in view", "", low=True)
    if not math.isnan(value):
        margin = max(v.margin_m for v in places[source])
        text = f"rim in view at worst {100 * value:.1f} %, margin {1000 * margin:.0f} mm: {source}"
    return value, source, text


def _pixels(requirement: Requirement, prediction: Prediction, design: Design) -> Found:
    places = _best_views(requirement, prediction)
    best = [(max(v.pixels_across for v in views), name) for name, views in places.items()]
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
            u95 = one.u95_k if one.measurable else math.inf
            rows.append((u95, name if one.measurable else f"{name} ({one.reason})"))
    return _worst(rows, "95 % half-width", " K", low=False)


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


_FOUND: dict[str, Callable[[Requirement, Prediction, Design], Found]] = {
    "rim_in_view": _rim,
    "pixels_across": _pixels,
    "range_headroom": _headroom,
    "predicted_u95": _u95,
    "battery_days": _battery,
    "contribution_frac": _contribution,
    "break_even_units": _break_even,
}
