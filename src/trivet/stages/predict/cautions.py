"""What a reader of the prediction must be told, in plain sentences."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.records.design import Design
from trivet.records.prediction import (
    MIN_PIXELS_ACROSS,
    AlertMargin,
    Budget,
    PanView,
    RangeCheck,
)
from trivet.stages.predict.confusion import confused_ranges
from trivet.stages.predict.views import Eye, Seen, best_view, unseen_burners
from trivet.units import celsius

STEEP_RAD = math.radians(50.0)
HIDDEN_FRAC = 0.6

ALWAYS = (
    "This is a calculation from the design alone: it certifies nothing and replaces no test,"
    " standard or fire-safety authority; a product that only alerts does not prevent fires.",
    "Not in the error budgets: steam, fouling beyond the stated transmittance, hands, lids and"
    " food; a reading under them must be withheld.",
    "The pan is taken as one temperature; in preheat its hottest part runs ahead of the mean by"
    " 50 K (thick aluminium) to over 300 K (thin steel).",
    "Hot oil has not been measured: its film is computed from oleic acid at room temperature.",
    "Smoke points differ by 20 K between tables and fall with reuse.",
)


def cautions_of(
    design: Design,
    *,
    seen: Seen,
    budgets: Sequence[Budget],
    ranges: Sequence[RangeCheck],
    margins: Sequence[AlertMargin],
) -> tuple[str, ...]:
    """Return the cautions of a design, general ones first, without repeats."""
    found = [
        *ALWAYS,
        *_sight(design, seen.views),
        *_sensors(seen.eyes),
        *_told(design),
        *_blind(budgets),
        *_beyond(ranges),
        *_late(margins),
    ]
    return tuple(dict.fromkeys(found))


def _sight(design: Design, views: tuple[PanView, ...]) -> list[str]:
    lines = [f"Burner {name} is seen by no head." for name in unseen_burners(design, views=views)]
    places: dict[tuple[str, str], list[str]] = {}
    for pan in design.pans:
        for burner in design.burners:
            view = best_view(views, burner=burner.name, pan=pan.name)
            for fault in _faults(view) if view is not None else ():
                places.setdefault((pan.name, fault), []).append(burner.name)
    return lines + [
        f"Pan {pan} on burner {', '.join(burners)}: {fault}."
        for (pan, fault), burners in places.items()
    ]


def _faults(view: PanView) -> list[str]:
    faults = []
    if view.margin_m < 0.0:
        out_mm = -view.margin_m * 1000
        faults.append(f"the rim with its margin leaves the field by {out_mm:.0f} mm")
    if view.pixels_across < MIN_PIXELS_ACROSS:
        faults.append(f"{view.pixels_across:.1f} pixels across, under 10")
    if view.visible_base_frac < HIDDEN_FRAC:
        faults.append(f"the wall hides {1 - view.visible_base_frac:.0%} of the base")
    if view.view_angle_rad > STEEP_RAD:
        angle = math.degrees(view.view_angle_rad)
        faults.append(f"seen at {angle:.0f} degrees; liquids radiate less beyond 50 to 55")
    return faults


def _sensors(eyes: Sequence[Eye]) -> list[str]:
    lines = []
    for eye in eyes:
        card = eye.card
        unknown = [
            word
            for word, value in (
                ("accuracy", card.accuracy_delta_k),
                ("gain error", card.accuracy_gain_frac),
                ("range", card.range_high_k),
                ("settling", card.settle_s),
                ("drift with housing", card.housing_drift_per_k),
                ("self-heating", card.self_heating_delta_k),
                ("error of stored constants", card.constants_delta_k),
            )
            if value is None
        ]
        if unknown:
            lines.append(f"Sensor {card.name}: {', '.join(unknown)} unknown; not counted as zero.")
        if card.settle_s is not None:
            extra = card.settle_delta_k
            size = "by an unknown amount" if extra is None else f"by up to {abs(extra):.1f} K"
            lines.append(
                f"Sensor {card.name} settles for {float(card.settle_s):.0f} s after wake; until"
                f" then it errs {size} beyond the budgets."
            )
    return lines


def _told(design: Design) -> list[str]:
    missing = [
        words
        for channel, words in (
            ("base_contents", "what lies in the pan"),
            ("pan", "which pan it is"),
        )
        if channel not in design.told.channels
    ]
    what = f"not told {' nor '.join(missing)}" if missing else "told the kind of contents only"
    return [
        f"Base {base}: the product is {what}; the emissivity may lie between {low:.2f} and"
        f" {high:.2f}, and a budget holds only where it has found out which."
        for base, (low, high) in confused_ranges(design).items()
    ]


def _blind(budgets: Sequence[Budget]) -> list[str]:
    blind: dict[tuple[str, str], bool] = {}
    for one in budgets:
        key = (one.base, one.pan)
        blind[key] = blind.get(key, True) and not one.measurable
    return [
        f"Base {base} in pan {pan} is not measurable at any temperature budgeted."
        for (base, pan), never in blind.items()
        if never
    ]


def _beyond(ranges: Sequence[RangeCheck]) -> list[str]:
    return [
        f"Limit {one.limit} ({celsius(one.limit_k):.0f} °C) lies {-one.headroom_k:.0f} K above the"
        f" range of head {one.head}: it cannot be measured, the alert must trip before."
        for one in ranges
        if one.headroom_k < 0.0
    ]


def _late(margins: Sequence[AlertMargin]) -> list[str]:
    return [
        f"Alert {one.alert} at {one.rate_kps:g} K/s: {one.note}."
        for one in margins
        if not one.possible or not one.lead_s > 0.0
    ]
