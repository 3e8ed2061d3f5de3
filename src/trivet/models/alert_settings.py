"""A design's alerts in the device's units, by what the cook told. No stage itself."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from trivet.device import alertwords as words
from trivet.device.alertwords import AlertSettings
from trivet.facts.thresholds import threshold
from trivet.models.oilpoints import limit_value_k
from trivet.physics.heat.water import boiling_point_k
from trivet.records.benchsheet import ToldEntry
from trivet.records.design import Contents, Design, TargetBand
from trivet.records.requirement import DEVICE_KINDS, Alert

BOILING_BELOW_K = threshold("alert_boiling_below_k")
BOILING_ABOVE_K = threshold("alert_boiling_above_k")
"""A plateau counts as boiling water from 30 K below the boiling point, since window and steam
take from the apparent temperature, to 5 K above it; assumed, no source."""
CONDITIONS: dict[str, tuple[int, int]] = {
    "unattended": (words.HEAT_ON, words.PERSON),
    "left_on": (words.HEAT_ON | words.NO_PAN, 0),
    "link_lost": (words.LINK_LOST, 0),
}
"""Bits of the state word that must be set, and must not."""


def alert_settings(one: Alert, *, design: Design, told: ToldEntry | None = None) -> AlertSettings:
    """Return one alert of a design in the device's units.

    Parameters
    ----------
    one : Alert
        The alert.
    design : Design
        Holds the limit that it guards, the bands, the altitude.
    told : ToldEntry, optional
        What the cook told about the burner: it sets band and smoke point.

    Returns
    -------
    AlertSettings
        Set point, lead, dead band, delays, gate and window. [0.1 K, ms]

    Raises
    ------
    OutOfRangeError
        From the machine, if a value does not fit.

    Notes
    -----
    Set points are rounded down to 0.1 K, so rounding never delays an alert.
    """
    common = AlertSettings(
        kind="level",
        deadband_dk=_dk(one.deadband_delta_k),
        on_ms=_ms(one.on_delay_s),
        off_ms=_ms(one.off_delay_s),
        escalate_ms=_ms(one.escalate_after_s),
    )
    return replace(common, **_rule(one, design, told or ToldEntry()))


def _rule(one: Alert, design: Design, told: ToldEntry) -> dict[str, Any]:
    """Return what is particular to the alert's kind."""
    band = told_band(design, told)
    match one.kind:
        case "level" | "time_to_limit":
            return _limited(one, design, told, band)
        case "boil_dry":
            boiling_k = float(boiling_point_k(float(design.surroundings.altitude_m)))
            return {
                "kind": "boil_dry",
                "signal": words.APPARENT,
                "set_dk": _floor_dk(boiling_k + BOILING_ABOVE_K),
                "gate_dk": _floor_dk(boiling_k - BOILING_BELOW_K),
                "top_dk": _dk(one.change_delta_k),
                "lead_ms": _ms(one.within_s),
                "window_ms": _ms(one.plateau_s),
            }
        case "ready" | "below_band":
            low, high = (band.low_k, band.high_k) if band else (0.0, 0.0)
            below = {"gate_dk": max(_floor_dk(low - one.given_up_delta_k), 0)}
            below |= {"needs": words.HEAT_ON, "top_dk": _floor_dk(low)}
            own = {"top_dk": _floor_dk(high)} if one.kind == "ready" else below
            rule = "in_band" if one.kind == "ready" else "below"
            return {"kind": rule, "signal": words.REPORTED, "set_dk": _floor_dk(low), **own}
        case "uneven":
            return {"signal": words.SPREAD, "set_dk": _dk(one.spread_delta_k)}
        case "window_dirty":
            thousandths = round(1000 * one.loss_frac)
            return {"signal": words.WINDOW_LOSS, "set_dk": thousandths, "deadband_dk": 10}
        case "battery_low":
            own = {"set_dk": round(1000 * one.charge_frac), "deadband_dk": 0}
            return {"kind": "below", "signal": words.CHARGE, **own}
        case "housing_hot":
            return {"signal": words.HOUSING, "set_dk": _floor_dk(one.set_point_k or 0.0)}
        case "loss_of_sight":
            return {"kind": "loss_of_sight"}
        case _:
            needs, forbids = CONDITIONS[one.kind]
            return {"kind": "condition", "needs": needs, "forbids": forbids}


def _limited(
    one: Alert, design: Design, told: ToldEntry, band: TargetBand | None
) -> dict[str, Any]:
    """Return set point and gate of an alert that guards a limit."""
    limit_k = limit_value_k(design.limit(str(one.limit)), design=design, told=told)
    if one.kind == "level" and one.set_point_k is not None:
        limit_k = float(one.set_point_k)
    gate_k = float(one.gate_k)
    if band is not None and one.kind == "time_to_limit":
        # A sear passes the gate on purpose: up to the wanted band nothing is foretold.
        gate_k = max(gate_k, float(band.high_k))
    return {
        "kind": one.kind,
        "set_dk": _floor_dk(limit_k),
        "lead_ms": _ms(one.lead_s),
        "gate_dk": _floor_dk(gate_k),
        "window_ms": _ms(one.slope_window_s),
    }


def told_band(design: Design, told: ToldEntry | None) -> TargetBand | None:
    """Return the target band that the cook told, through the design's channel."""
    if told is None or "target_band" not in design.told.channels:
        return None
    return next((band for band in design.bands if band.name == told.target_band), None)


def acts_on(one: Alert, *, design: Design, told: ToldEntry) -> bool:
    """Return whether an alert acts on a burner, by what the cook told of it."""
    if one.kind in DEVICE_KINDS:
        return False
    if one.kind in ("ready", "below_band") and told_band(design, told) is None:
        return False
    if not one.bases:
        return True
    if "base_contents" not in design.told.channels:
        return False
    wanted: set[Contents] = {base.contents for base in design.bases if base.name in one.bases}
    contents = told.base_contents
    return contents is not None and (contents in wanted or contents in one.bases)


def _floor_dk(value_k: float) -> int:
    return int(value_k * 10.0 + 1e-6)


def _dk(difference_k: float) -> int:
    return round(difference_k * 10.0)


def _ms(seconds: float) -> int:
    return round(seconds * 1000.0)
