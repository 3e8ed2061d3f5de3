"""From a recorded cook's sheet and events to the plan of a simulated one like it."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import get_args

import numpy as np

from trivet.errors import QuantityError
from trivet.records.benchsheet import SheetBurner
from trivet.records.cook import CookBurner, CookPlan, FoodPlan, LidSpan, ScheduleStep
from trivet.records.credibility import Condition, Twin
from trivet.records.design import Base, Design, Pan
from trivet.records.figures import Figure
from trivet.records.recording import Event, Recording
from trivet.units import parse_quantity

TWIN_DIAMETER_M, TWIN_VOLUME_FRAC = 0.006, 0.02
"""Nearer than this counts as the same; own estimate: a sheet is written with a ruler and a cup."""
COLD_START_DELTA_K = 15.0
"""Own estimate: a cook that starts this far above the room is not followed, the simulator starts
cold. [K]"""
OFF_CENTRE_M = 0.010
"""From this far off its burner's middle a pan stands off centre; own estimate. [m]"""
RUN_ON_K = 900.0  # own estimate: never reached, so the twin runs as long as the recording did
FOODS: tuple[str, ...] = get_args(FoodPlan.model_fields["kind"].annotation)


@dataclass(frozen=True)
class _Burner:
    """One burner's plan, or why there is none, and how long it can be followed."""

    plan: CookBurner | None
    base: Base | None
    until_s: float
    notes: tuple[str, ...]


def bench_twin(recording: Recording, *, design: Design) -> Twin:
    """Return the plan under which the simulator cooks what was recorded.

    Parameters
    ----------
    recording : Recording
        A recorded cook: its sheet says what stood where, its events what was done.
    design : Design
        The design whose burners and pans the sheet names or describes.

    Returns
    -------
    Twin
        Without a plan where sheet or events do not say enough; ``notes`` names
        what is missing, and what is assumed.

    Notes
    -----
    A pan is the design's pan of the sheet's material and finish, within 6 mm of
    its diameter; contents of another volume than any of the design's bases (2 %)
    join the twin's design.  The comparison ends where something happens that the
    sheet does not describe well enough: food without kind, mass and diameter, a
    second piece, a lid on a pan that the design gives none, a pan moved or taken
    away.  A cook that starts more than 15 K above the room is not followed at all:
    the simulator starts cold.
    """
    sheet, events = recording.reference.sheet, recording.reference.events
    end_s = max(float(head.time_s[-1]) for head in recording.inputs.heads)
    ambient_k, notes = _ambient(recording, design)
    wants = [*notes]
    if not sheet:
        wants.append("cook.toml has no [[burners]]: what stood where is not known")
    parts = [_burner(one, events, design, end_s) for one in sheet]
    for part in parts:
        wants.extend(part.notes)
    warm = _starts_warm(recording, ambient_k)
    if warm:
        wants.append(warm)
    plans = [part.plan for part in parts if part.plan is not None]
    until_s = min([end_s, *(part.until_s for part in parts)])
    bases = [part.base for part in parts if part.base is not None]
    like = _design_like(design, bases, recording)
    plan = None
    if sheet and len(plans) == len(sheet) and not warm and until_s > 0.0:
        plan = _plan(recording, plans, until_s=until_s, ambient_k=ambient_k)
    return Twin(
        cook=recording.name,
        design=like,
        plan=plan,
        until_s=until_s,
        notes=tuple(dict.fromkeys(wants)),
        conditions=conditions_of(plan, design=like) if plan else _sheet_conditions(sheet),
    )


def _plan(
    recording: Recording, burners: list[CookBurner], *, until_s: float, ambient_k: float
) -> CookPlan:
    slug = re.sub(r"[^a-z0-9]+", "-", recording.name.lower()).strip("-") or "cook"
    return CookPlan(
        name=f"like-{slug}",
        purpose="proof",
        duration_s=Figure(until_s),
        burners=tuple(burners),
        ambient_k=Figure(ambient_k),
        stop_at_k=Figure(RUN_ON_K),
        probes=tuple(one.probe for one in recording.reference.probes),
    )


def _design_like(design: Design, bases: list[Base], recording: Recording) -> Design:
    """Return the design at the recording's altitude, with the contents of its sheet."""
    known = {one.name for one in design.bases}
    more = {one.name: one for one in bases if one.name not in known}
    around = design.surroundings.model_copy(update={"altitude_m": Figure(recording.altitude_m)})
    return design.model_copy(
        update={"surroundings": around, "bases": (*design.bases, *more.values())}
    )


def _burner(sheet: SheetBurner, events: tuple[Event, ...], design: Design, end_s: float) -> _Burner:
    own = [one for one in events if one.burner == sheet.burner]
    pan, notes = _pan(sheet, design)
    schedule, more = _schedule(own, sheet.burner)
    notes += more
    base = _base(sheet, design)
    if pan is None or not schedule:
        return _Burner(None, base, end_s, notes)
    until_s, more = _followed(sheet, own, pan, end_s)
    food, until_s, lacking = _food(sheet, own, until_s)
    notes += more + lacking
    plan = CookBurner(
        burner=sheet.burner,
        pan=pan.name,
        base=base.name,
        schedule=schedule,
        food=food,
        lid=_lids(own) if pan.lid else (),
        offset_x_m=sheet.offset_x_m,
        offset_y_m=sheet.offset_y_m,
    )
    return _Burner(plan, base, until_s, notes)


def _pan(sheet: SheetBurner, design: Design) -> tuple[Pan | None, tuple[str, ...]]:
    """Return the design's pan that the sheet describes."""
    fits = [
        pan
        for pan in design.pans
        if pan.material == sheet.material
        and pan.finish == sheet.finish
        and abs(float(pan.diameter_m) - float(sheet.diameter_m)) <= TWIN_DIAMETER_M
    ]
    if not fits:
        return None, (
            f"{sheet.burner}: no pan of the design is {sheet.material or 'of unstated material'}, "
            f"{sheet.finish or 'unstated finish'}, {float(sheet.diameter_m) * 1e3:.0f} mm",
        )
    if len(fits) > 1:
        names = ", ".join(pan.name for pan in fits)
        return fits[0], (f"{sheet.burner}: {names} fit the sheet; {fits[0].name} was taken",)
    return fits[0], ()


def _base(sheet: SheetBurner, design: Design) -> Base:
    """Return the design's base with the sheet's contents and volume, or a new one."""
    for base in design.bases:
        apart = abs(float(base.volume_m3) - float(sheet.volume_m3))
        same = sheet.contents == "dry" or apart <= TWIN_VOLUME_FRAC * float(sheet.volume_m3)
        if base.contents == sheet.contents and same:
            return base
    name = f"{sheet.contents} {float(sheet.volume_m3) * 1e6:.0f} mL"
    return Base(name=name, contents=sheet.contents, volume_m3=sheet.volume_m3)


def _schedule(events: list[Event], burner: str) -> tuple[tuple[ScheduleStep, ...], tuple[str, ...]]:
    """Return the knob over time; a burner that comes on at no stated level is at full power."""
    steps: dict[float, float] = {}
    level, notes = 0.0, []
    for at, one in enumerate(events):
        if one.event == "off":
            level = 0.0
        elif one.event == "level":
            level = _share(one.value, level)
        elif one.event == "on":
            level = _share(one.value, math.nan)
            if math.isnan(level):
                level = 1.0
                follows = [e for e in events[at + 1 :] if e.event == "level"]
                if not (follows and follows[0].time_s - one.time_s < 1.0):
                    notes.append(f"{burner}: on without a level, taken as full power")
        else:
            continue
        steps[max(0.0, one.time_s)] = level
    if not steps:
        return (), (f"{burner}: events.csv has no on, off or level, so its heat is not known",)
    made = tuple(
        ScheduleStep(at_s=Figure(at), level_frac=Figure(value)) for at, value in steps.items()
    )
    return made, tuple(notes)


def _share(text: str, default: float) -> float:
    try:
        return parse_quantity(text, "fraction")
    except QuantityError:
        return default


def _followed(
    sheet: SheetBurner, events: list[Event], pan: Pan, end_s: float
) -> tuple[float, tuple[str, ...]]:
    """Return up to when the simulator can do what was done, and why no longer."""
    later_food = [e for e in events if e.event == "food_in"][1:]
    ends = [e for e in events if e.event in ("pan_off", "move") and e.time_s > 0.0] + later_food
    ends += [] if pan.lid else [e for e in events if e.event == "lid_on"]
    if not ends:
        return end_s, ()
    first = min(ends, key=lambda e: e.time_s)
    why = {"lid_on": f", since the design's {pan.name} has no lid"}.get(first.event, "")
    note = f"{sheet.burner}: followed up to {first.event} at {first.time_s:.0f} s only{why}"
    return min(end_s, first.time_s), (note,)


def _lids(events: list[Event]) -> tuple[LidSpan, ...]:
    """Return when the lid was on."""
    spans: list[LidSpan] = []
    on: float | None = None
    for one in events:
        if one.event == "lid_on" and on is None:
            on = one.time_s
        elif one.event == "lid_off" and on is not None and one.time_s > on:
            spans.append(LidSpan(on_s=Figure(on), off_s=Figure(one.time_s)))
            on = None
    return (*spans, *([] if on is None else [LidSpan(on_s=Figure(on))]))


def _food(
    sheet: SheetBurner, events: list[Event], until_s: float
) -> tuple[FoodPlan | None, float, tuple[str, ...]]:
    """Return the food, and where the comparison has to end for want of words."""
    notes: tuple[str, ...] = ()
    first = next((e for e in events if e.event == "food_in"), None)
    if first is None or first.time_s >= until_s:
        return None, until_s, notes
    words = " ".join((sheet.food, first.value, first.note))
    kind = next((food for food in FOODS if food in words), None)
    mass, diameter = _found(words, "mass", r"k?g"), _found(words, "length", r"[cm]m")
    lacking = [
        name
        for name, value in (("kind", kind), ("mass", mass), ("diameter", diameter))
        if value is None
    ]
    if kind is None or mass is None or diameter is None:
        notes += (
            f"{sheet.burner}: followed up to food_in at {first.time_s:.0f} s only; the food's "
            f"{' and '.join(lacking)} are not stated (e.g. 'patty, 150 g, 110 mm')",
        )
        return None, min(until_s, first.time_s), notes
    moments = {e.event: e.time_s for e in reversed(events) if e.event in ("turn", "food_out")}
    turn, out = moments.get("turn"), moments.get("food_out")
    plan = FoodPlan.model_validate(
        {"kind": kind, "mass_kg": Figure(mass), "diameter_m": Figure(diameter)}
        | {"in_s": Figure(first.time_s)}
        | ({} if turn is None else {"turn_s": Figure(turn)})
        | ({} if out is None else {"out_s": Figure(out)})
    )
    return plan, until_s, notes


def _found(words: str, kind: str, unit: str) -> float | None:
    match = re.search(rf"(\d+(?:\.\d+)?)\s*({unit})\b", words)
    return parse_quantity(f"{match[1]} {match[2]}", kind) if match else None


def _ambient(recording: Recording, design: Design) -> tuple[float, list[str]]:
    """Return the room's temperature: a probe in it, or the probes before heat, or the design's."""
    probes = recording.reference.probes
    room = [one for one in probes if one.probe.touches == "room"]
    for one in room:
        if np.isfinite(one.temperature_k).any():
            return float(np.nanmean(one.temperature_k)), []
    return float(design.surroundings.ambient_k), ["no room probe: the design's ambient is taken"]


def _starts_warm(recording: Recording, ambient_k: float) -> str:
    first = [
        float(one.temperature_k[np.isfinite(one.temperature_k)][0])
        for one in recording.reference.probes
        if one.probe.touches in ("pan", "oil", "liquid") and np.isfinite(one.temperature_k).any()
    ]
    if not first or max(first) - ambient_k <= COLD_START_DELTA_K:
        return ""
    return (
        f"starts {max(first) - ambient_k:.0f} K above the room; the simulator starts cold, so "
        "record from before the heat is on"
    )


def conditions_of(plan: CookPlan, *, design: Design) -> tuple[Condition, ...]:
    """Return the factors of a planned cook, each with its level.

    Power is the highest level of the knob in quarters; a pan counts as off its
    burner from 10 mm on.  What no bench sheet says (the window's age, the hood's
    warmth, who attends) is no factor here.
    """
    found: list[Condition] = []
    kinds = {one.name: one.kind for one in design.burners}
    contents = {one.name: one.contents for one in design.bases}
    for one in plan.burners:
        away = max(abs(float(one.offset_x_m)), abs(float(one.offset_y_m)))
        peak = max(float(step.level_frac) for step in one.schedule)
        quarter = min(3, int(4.0 * peak))
        found += [
            Condition("burner", one.burner),
            Condition("burner kind", kinds.get(one.burner, "unknown")),
            Condition("pan", one.pan),
            Condition("contents", contents.get(one.base, "unknown")),
            Condition("base", one.base),
            Condition("power", f"{25 * quarter} to {25 * quarter + 25} %"),
            *(Condition("food", food.kind) for food in one.foods),
            Condition("lid", "on" if one.lid else "off"),
            Condition("position", "centred" if away < OFF_CENTRE_M else "off centre"),
        ]
        if not one.foods:
            found.append(Condition("food", "none"))
    room = plan.ambient_k if plan.ambient_k is not None else design.surroundings.ambient_k
    ten = 10 * int((float(room) - 273.15) // 10)
    found += [
        Condition("pans at once", "one pan" if len(plan.burners) == 1 else "several pans"),
        Condition("room", f"{ten} to {ten + 10} C"),
    ]
    return tuple(dict.fromkeys(found))


def _sheet_conditions(sheet: tuple[SheetBurner, ...]) -> tuple[Condition, ...]:
    """Return what the sheet alone says of a cook that has no twin."""
    found = []
    for one in sheet:
        pan = f"{one.material}, {one.finish}, {float(one.diameter_m) * 1e3:.0f} mm"
        found += [
            Condition("burner", one.burner),
            Condition("pan", pan),
            Condition("contents", one.contents),
        ]
    return tuple(dict.fromkeys(found))
