"""Whether an alert that can only trip by saturation still keeps the lead that is asked of it."""

from __future__ import annotations

from trivet.device.fixedpoint import LAST_NODE_K
from trivet.models.assumed import DARK_EMISSIVITY
from trivet.models.optics import card_band
from trivet.physics.radiation.path import before_window
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.records.design import Design
from trivet.records.requirement import Alert, Requirement
from trivet.records.sensorcard import Head
from trivet.scoring.registry import limit_value

JUDGED_KPS = 2.0
"""The fastest heating for which a lead is asked; at more no product may have the time."""


def saturation_faults(design: Design) -> tuple[str, ...]:
    """Return why saturation comes too late for a lead that a requirement asks for.

    Parameters
    ----------
    design : Design
        Requirements, alerts, limits, sensor cards, windows.

    Returns
    -------
    tuple of str
        One sentence a requirement and head; empty where all leads can be met.

    Notes
    -----
    A level alert whose set point lies above the range trips when the sensor saturates: for
    a dark pan (0.95) behind a window of 0.85 at 343 C where the card ends at 300 C. A
    predicted alert looks ahead from within the range and needs no saturation.

    References
    ----------
    Lead = (limit - temperature at the trip) / heating rate.
    """
    slow = [float(r) for r in design.heating_rates_kps if float(r) <= JUDGED_KPS]
    rate = max(slow, default=JUDGED_KPS)
    faults = []
    for requirement in design.requirements:
        alert = next((one for one in design.alerts if one.name == requirement.alert), None)
        if requirement.metric != "lead_time" or alert is None or alert.kind != "level":
            continue
        for head in design.heads:
            faults += _fault(requirement, alert, head, (design, rate))
    return tuple(faults)


def _fault(
    requirement: Requirement, alert: Alert, head: Head, asked: tuple[Design, float]
) -> list[str]:
    design, rate = asked
    limit_k = float(design.limit(str(alert.limit)).value_k)
    trip_k = saturates_k(design, head)
    point_k = limit_k if alert.set_point_k is None else float(alert.set_point_k)
    lead_s = (limit_k - trip_k) / rate
    if point_k <= trip_k or lead_s >= limit_value(requirement):
        return []
    return [
        f"{requirement.id}: alert {alert.name!r} is set at {point_k - 273.15:.0f} C, above what "
        f"head {head.name!r} can measure; it trips when the sensor saturates, on a dark pan at "
        f"{trip_k - 273.15:.0f} C: {max(lead_s, 0.0):.0f} s before {limit_k - 273.15:.0f} C at "
        f"{rate:g} K/s, {limit_value(requirement):.0f} s are asked for. Set it lower, make it a "
        "time_to_limit alert, or take a sensor with more range"
    ]


def saturates_k(design: Design, head: Head) -> float:
    """Return the temperature at which a dark pan saturates a head; of the table where unknown."""
    card = design.card(head)
    if card.range_high_k is None:
        return float(LAST_NODE_K)
    band, around = card_band(card), design.surroundings
    housing_k = float(around.ambient_k) + float(around.housing_rise_delta_k)
    before = before_window(
        band_radiance(float(card.range_high_k), band=band),
        transmittance=float(head.window.transmittance_frac),
        window_k=housing_k + float(head.window.rise_delta_k),
        band=band,
    )
    mirrored = (1.0 - DARK_EMISSIVITY) * float(band_radiance(float(around.reflected_k), band=band))
    return float(radiating_temperature_k((before - mirrored) / DARK_EMISSIVITY, band=band))
