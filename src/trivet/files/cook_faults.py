"""What a cook must satisfy beyond its shape: names that exist, steps that rise, room for all."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations, pairwise
from typing import Any

from trivet.errors import Fault
from trivet.files.design_faults import link_faults
from trivet.files.disturbance_faults import disturbance_faults
from trivet.files.tomlfile import Path, TomlFile
from trivet.records.cook import CookBurner, CookPlan, FoodPlan
from trivet.records.design import Design, Pan
from trivet.units import show_length


def named_faults(
    toml: TomlFile, path: Path, cook: dict[str, Any], design: Design
) -> Iterator[Fault]:
    """Yield a fault for each name in a cook's table that the design does not define."""
    known = {
        "burner": tuple(one.name for one in design.burners),
        "pan": tuple(one.name for one in design.pans),
        "base": tuple(one.name for one in design.bases),
    }
    burners = cook.get("burners", [])
    for index, burner in enumerate(burners if isinstance(burners, list) else []):
        for key, names in known.items():
            if isinstance(burner, dict):
                place = (*path, "burners", index, key)
                yield from link_faults(toml, place, burner.get(key), names)
    probes = cook.get("probes", [])
    for index, probe in enumerate(probes if isinstance(probes, list) else []):
        if isinstance(probe, dict) and probe.get("burner") is not None:
            place = (*path, "probes", index, "burner")
            yield from link_faults(toml, place, probe["burner"], known["burner"])


def plan_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    """Yield every fault of a cook whose shape is sound."""
    if plan.duration_s <= 0:
        yield toml.fault((*path, "duration"), plan.duration_s.text, "longer than 0 s")
    for at, moment in enumerate(plan.hands_at_s):
        if moment > plan.duration_s:
            yield _late(toml, (*path, "hands_at", at), moment.text, plan)
    pans = {pan.name: pan for pan in design.pans}
    for at, burner in enumerate(plan.burners):
        place = (*path, "burners", at)
        yield from _schedule_faults(toml, place, burner, plan)
        pan = pans.get(burner.pan)
        if burner.food is not None:
            yield from _food_faults(toml, (*place, "food"), burner.food, plan, pan)
        for k, food in enumerate(burner.more_food):
            yield from _food_faults(toml, (*place, "more_food", k), food, plan, pan)
        yield from _lid_faults(toml, (*place, "lid"), burner, plan, pan)
        yield from _base_faults(toml, place, burner, design)
    yield from _pair_faults(toml, path, plan, design)
    yield from disturbance_faults(toml, path, plan, design)


def _late(toml: TomlFile, path: Path, text: str, plan: CookPlan) -> Fault:
    found = f"{text} lies beyond the cook's end"
    return toml.fault(path, found, f"at most the duration, {plan.duration_s.text}")


def _schedule_faults(
    toml: TomlFile, path: Path, burner: CookBurner, plan: CookPlan
) -> Iterator[Fault]:
    for at, (one, two) in enumerate(pairwise(burner.schedule)):
        if two.at_s <= one.at_s:
            found = f"{two.at_s.text} does not come after {one.at_s.text}"
            yield toml.fault((*path, "schedule", at + 1, "at"), found, "moments that rise")
    for at, step in enumerate(burner.schedule):
        if step.at_s > plan.duration_s:
            yield _late(toml, (*path, "schedule", at, "at"), step.at_s.text, plan)


def _food_faults(
    toml: TomlFile,
    path: Path,
    food: FoodPlan,
    plan: CookPlan,
    pan: Pan | None,
) -> Iterator[Fault]:
    if food.mass_kg <= 0:
        yield toml.fault((*path, "mass"), food.mass_kg.text, "above 0 g")
    moments: list[tuple[str, Any]] = [
        (key, moment)
        for key, moment in (("in", food.in_s), ("turn", food.turn_s), ("out", food.out_s))
        if moment is not None
    ]
    for (_, one), (key, two) in pairwise(moments):
        if two <= one:
            found = f"{two.text} does not come after {one.text}"
            yield toml.fault((*path, key), found, "in before turn before out")
    for key, moment in moments:
        if moment > plan.duration_s:
            yield _late(toml, (*path, key), moment.text, plan)
    if pan is not None and food.diameter_m > pan.diameter_m:
        found = f"{food.diameter_m.text} in the pan {pan.name!r}"
        allowed = f"at most {show_length(pan.diameter_m)}"
        yield toml.fault((*path, "diameter"), found, allowed)


def _lid_faults(
    toml: TomlFile, path: Path, burner: CookBurner, plan: CookPlan, pan: Pan | None
) -> Iterator[Fault]:
    if burner.lid and pan is not None and not pan.lid:
        found = f"a lid on the pan {pan.name!r}, which has none"
        yield toml.fault(path, found, "lid = true for that pan in design.toml")
    end = -1.0
    for at, span in enumerate(burner.lid):
        if span.on_s < end:
            yield toml.fault((*path, at, "on"), span.on_s.text, "after the lid was taken off")
        if span.off_s is not None and span.off_s <= span.on_s:
            yield toml.fault((*path, at, "off"), span.off_s.text, f"after {span.on_s.text}")
        if span.on_s > plan.duration_s:
            yield _late(toml, (*path, at, "on"), span.on_s.text, plan)
        end = math.inf if span.off_s is None else float(span.off_s)


def _base_faults(toml: TomlFile, path: Path, burner: CookBurner, design: Design) -> Iterator[Fault]:
    pan = next((one for one in design.pans if one.name == burner.pan), None)
    base = next((one for one in design.bases if one.name == burner.base), None)
    if pan is None or base is None:
        return
    room = math.pi / 4 * pan.diameter_m**2 * pan.depth_m
    if base.volume_m3 > room:
        found = f"{base.volume_m3.text} of {base.name!r} overfills {pan.name!r}"
        yield toml.fault((*path, "base"), found, f"at most {room * 1000:.2f} L")


def _pair_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    burners = {one.name: one for one in design.burners}
    pans = {one.name: one for one in design.pans}
    for (first, one), (at, two) in combinations(enumerate(plan.burners), 2):
        place = (*path, "burners", at)
        if one.burner == two.burner:
            found = f"a second pan on {two.burner!r}, which burners[{first}] has"
            yield toml.fault((*place, "burner"), found, "one pan a burner")
            continue
        if not ({one.burner, two.burner} <= set(burners) and {one.pan, two.pan} <= set(pans)):
            continue
        apart = math.hypot(
            burners[one.burner].x_m + one.offset_x_m - burners[two.burner].x_m - two.offset_x_m,
            burners[one.burner].y_m + one.offset_y_m - burners[two.burner].y_m - two.offset_y_m,
        )
        needed = (pans[one.pan].diameter_m + pans[two.pan].diameter_m) / 2
        if apart < needed:
            found = f"{two.pan!r} meets {one.pan!r} on {one.burner!r}: {show_length(apart)} apart"
            yield toml.fault((*place, "pan"), found, f"centres {show_length(needed)} apart")
