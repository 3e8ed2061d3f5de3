"""Which stratum each moment falls into: from the truth or the bench sheet, never from a reading.

This module is given no estimate and imports nothing that holds one (a test of the house
and the import contracts hold it to that): a reading cannot choose where it is judged.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, Int8Array
from trivet.errors import InputError
from trivet.facts.pans import surface
from trivet.models.actual import THICK_FILM_M, Actual, heated, interpolated, surface_series
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.coverage import rim_coverage
from trivet.records.design import Design
from trivet.records.recording import BurnerTruth, Reference, Truth
from trivet.records.requirement import OF_WORDS
from trivet.records.scoring import STRATA

DARK_ABOVE, SHINY_BELOW = 0.85, 0.30
"""Bounds of the pans that can be read and that mirror; own estimate: at 0.85 an error of 0.05 in
emissivity costs 4 K at 180 C, at 0.30 most of the signal is mirrored."""
WHOLE_FILM = 0.9
"""Share of the visible base that an unbroken film covers at least; own estimate: under it, it is
patchy."""
STRATUM_NAMES = tuple(one.name for one in STRATA)


@dataclass(frozen=True)
class Placed:
    """Where each moment of a burner belongs."""

    stratum: Int8Array
    """(time,) index in STRATA; -1 not heated, or nothing tells."""
    seen_k: FloatArray
    """(time,) temperature of the surface that is seen. [K]"""
    rim: str
    """``whole``, ``cut`` or ``unknown``."""
    sensor: str
    """Card of the head that sees most of the rim."""


def stood(
    truth: Truth | None, *, reference: Reference, time_s: FloatArray, design: Design
) -> tuple[Actual, ...]:
    """Return what stood on each burner of a cook at some moments, (time,) in s.

    A simulated cook is judged by its truth alone, a recorded one by sheet and probes.
    """
    if truth is not None:
        return tuple(
            Actual(one.burner, design.base(one.base).contents, time_s, one, reference.probes)
            for one in truth.burners
        )
    return tuple(
        Actual(
            sheet.burner,
            sheet.contents,
            time_s,
            None,
            reference.probes,
            sheet,
            tuple(one for one in reference.events if one.burner == sheet.burner),
        )
        for sheet in reference.sheet
    )


def placed(one: Actual, *, design: Design) -> Placed:
    """Return the stratum of every moment of a burner.

    Parameters
    ----------
    one : Actual
        What stood on it.
    design : Design
        Heated threshold, burners, heads as designed.

    Returns
    -------
    Placed
        Stratum, temperature seen, rim, sensor.

    Notes
    -----
    Food comes first, then what lies in the pan, then the bare pan by its emissivity.
    Oil counts as a film or pool where 0.1 mm or more lie on 90 % of what is seen; the
    bench knows the mean thickness only.  A bench pan counts as dark or shiny where the
    whole range of its finish is so.
    """
    mask, _ = heated(one, design=design, of=None)
    kinds = _kinds(one, design)
    seen_k = _seen_k(one)
    stratum = np.full(mask.shape, -1, dtype=np.int8)
    for index, kind in enumerate(STRATA):
        with np.errstate(invalid="ignore"):
            there = mask & (kinds == index) & (seen_k >= kind.low_k) & (seen_k <= kind.high_k)
        stratum[there] = index
    stratum[mask & (stratum < 0)] = STRATUM_NAMES.index("other")
    rim, sensor = _rim(one, design)
    return Placed(stratum, seen_k, rim, sensor)


def _kinds(one: Actual, design: Design) -> Int8Array:
    """Return the index of the stratum by what lies there, temperature aside, (time,)."""
    size = one.time_s.size
    kind = np.full(size, STRATUM_NAMES.index("other"), dtype=np.int8)
    contents, truth = one.contents, one.truth
    food, lid = _foods(one)
    if contents == "water":
        liquid = np.ones(size, dtype=np.bool_)
        if truth is not None:
            liquid = _at(truth.seen_of == OF_WORDS.index("liquid"), truth, one)
        kind[liquid] = STRATUM_NAMES.index("liquid")
    elif contents in ("oil", "butter"):
        kind[:] = np.where(_oily(one), STRATUM_NAMES.index("oil"), STRATUM_NAMES.index("thin-oil"))
    else:
        low, high = _emissivity(one, design)
        kind[:] = STRATUM_NAMES.index("seasoned")
        kind[low >= DARK_ABOVE] = STRATUM_NAMES.index("dark-pan")
        kind[high < SHINY_BELOW] = STRATUM_NAMES.index("shiny")
    kind[food] = STRATUM_NAMES.index("food")
    kind[lid] = STRATUM_NAMES.index("other")
    return kind


def _at(said: BoolArray, truth: BurnerTruth, one: Actual) -> BoolArray:
    """Return what the truth says at the moments asked about."""
    at = interpolated(truth.time_s, said.astype(np.float64), one.time_s)
    return np.asarray(np.nan_to_num(at) >= 0.5)


def _foods(one: Actual) -> tuple[BoolArray, BoolArray]:
    """Return when food lies in the pan and when its lid is on."""
    truth = one.truth
    if truth is not None:
        lid = truth.seen_of == OF_WORDS.index("lid")
        return _at(np.isfinite(truth.food_k), truth, one), _at(lid, truth, one)
    return _between(one, "food_in", "food_out"), _between(one, "lid_on", "lid_off")


def _between(one: Actual, begin: str, end: str) -> BoolArray:
    time_s = one.time_s
    state = np.zeros(time_s.shape, dtype=np.int64)
    for event in one.events:
        state += (event.event == begin) * (time_s >= event.time_s)
        state -= (event.event == end) * (time_s >= event.time_s)
    return state > 0


def _oily(one: Actual) -> BoolArray:
    """Return where an unbroken film or pool of 0.1 mm and more is seen."""
    truth, size = one.truth, one.time_s.size
    if truth is not None:
        if truth.oily_frac is None:
            return np.zeros(size, dtype=np.bool_)
        return np.asarray(
            np.nan_to_num(interpolated(truth.time_s, truth.oily_frac, one.time_s)) >= WHOLE_FILM
        )
    assert one.sheet is not None
    area_m2 = math.pi / 4 * float(one.sheet.diameter_m) ** 2
    return np.full(size, float(one.sheet.volume_m3) / area_m2 >= THICK_FILM_M)


def _emissivity(one: Actual, design: Design) -> tuple[FloatArray, FloatArray]:
    """Return least and greatest emissivity that the bare pan can have, (time,)."""
    truth, time_s = one.truth, one.time_s
    if truth is not None:
        known = np.nan_to_num(interpolated(truth.time_s, truth.emissivity, time_s), nan=0.5)
        return known, known
    assert one.sheet is not None
    try:
        found = surface(one.sheet.finish)
    except InputError:  # a finish that the library does not know: neither dark nor shiny
        low, high = 0.0, 1.0
    else:
        low, high = found.low, found.high
    return np.full(time_s.shape, low), np.full(time_s.shape, high)


def _seen_k(one: Actual) -> FloatArray:
    """Return the temperature of what is seen: of the truth, else of what the sheet says."""
    if one.truth is not None:
        return interpolated(one.truth.time_s, one.truth.seen_k, one.time_s)
    first = {"water": "liquid", "oil": "oil", "butter": "oil"}.get(one.contents, "pan")
    found = surface_series(one, first)  # type: ignore[arg-type]
    return found.value_k if found.known else surface_series(one, "pan").value_k


def _rim(one: Actual, design: Design) -> tuple[str, str]:
    """Return whether the rim is cut by the frame's edge, and the card of the best head."""
    truth, sheet = one.truth, one.sheet
    burner = design.burner(one.burner)
    pan = sheet or (design.pan(truth.pan) if truth else None)
    assert pan is not None
    centre = (float(burner.x_m), float(burner.y_m))
    if sheet is not None:
        centre = (centre[0] + float(sheet.offset_x_m), centre[1] + float(sheet.offset_y_m))
    shares = {}
    for head in design.heads:
        shares[head.sensor] = rim_coverage(
            centre,
            diameter_m=float(pan.diameter_m),
            rim_height_m=float(pan.depth_m),
            lens=card_lens(design.card(head)),
            pose=mount_pose(head.mount),
            margin_m=0.0,
        ).in_view_frac
    sensor = max(shares, key=lambda name: shares[name])
    share = shares[sensor]
    if truth is not None:  # as it really hung
        share = truth.rim_in_view_frac
    if math.isnan(share):
        return "unknown", sensor
    return "whole" if share >= 1.0 else "cut", sensor
