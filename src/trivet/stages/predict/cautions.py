"""What the prediction takes for granted, and what its reader must be told."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from pydantic import BaseModel

from trivet.models.assumed import OWN
from trivet.models.contents import TABLE_BAND_M, emissivity_range, fits
from trivet.models.predicted import best_view, unseen_burners
from trivet.physics.radiation.planck import flat_band
from trivet.records.design import Design
from trivet.records.figures import Figure, file_key
from trivet.records.prediction import (
    MIN_PIXELS_ACROSS,
    AlertMargin,
    Budget,
    PanView,
    RangeCheck,
)
from trivet.stages.predict.views import LITTLE_SEEN_FRAC, STEEP_RAD, Eye, Seen
from trivet.units import celsius


def assumed_figures(design: Design) -> tuple[str, ...]:
    """Return every figure without an origin: key, wording and note, the design's first.

    Parameters
    ----------
    design : Design
        Walked field by field, defaults included.

    Returns
    -------
    tuple of str
        ``key = text (note)``, keys as in the file, members of lists by their name.
    """
    own = [f"predict.{key} = {one.text} ({one.note})" for key, one in OWN.items()]
    return (*_lines(design), *own)


def _lines(design: Design) -> Iterator[str]:
    for path, figure in _figures(design, ""):
        if figure.origin == "assumed":
            text = figure.text or f"{float(figure):g}"
            yield f"{path} = {text}" + (f" ({figure.note})" if figure.note else "")


def _figures(value: Any, path: str) -> Iterator[tuple[str, Figure]]:
    if isinstance(value, Figure):
        yield path, value
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            key = str(field.alias or file_key(name))
            yield from _figures(getattr(value, name), f"{path}.{key}" if path else key)
    elif isinstance(value, tuple):
        for place, item in enumerate(value):
            name = str(getattr(item, "name", "") or getattr(item, "id", "") or place)
            yield from _figures(item, f"{path}.{name}")


def confused_ranges(design: Design) -> dict[str, tuple[float, float]]:
    """Return the emissivities between which a product that is not told more cannot choose.

    Parameters
    ----------
    design : Design
        Pans, bases and told channels.

    Returns
    -------
    dict
        Base name to low and high over all contents and pans that the told channels
        leave open, seen from above; a base is left out where that is no wider than
        the own range of each pan.

    Notes
    -----
    Told contents name a kind, not an amount: a film and a pool of oil stay open.
    """
    band, angle, told = flat_band(*TABLE_BAND_M), np.zeros(1), design.told.channels
    own = {
        (base.name, pan.name): emissivity_range(base, pan=pan, angle_rad=angle, band=band).at(0)
        for base, pan in itertools.product(design.bases, design.pans)
        if fits(base, pan=pan)
    }
    kinds = {base.name: base.contents for base in design.bases}
    found: dict[str, tuple[float, float]] = {}
    for (base_name, pan_name), (_, own_low, own_high) in own.items():
        spans = [
            (low, high)
            for (other, pan), (_, low, high) in own.items()
            if (kinds[other] == kinds[base_name] or "base_contents" not in told)
            and (pan == pan_name or "pan" not in told)
        ]
        low, high = min(one[0] for one in spans), max(one[1] for one in spans)
        if (low, high) != (own_low, own_high):
            before = found.get(base_name, (low, high))
            found[base_name] = (min(low, before[0]), max(high, before[1]))
    return found


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
    if view.visible_base_frac < LITTLE_SEEN_FRAC:
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
