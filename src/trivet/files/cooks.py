"""Reads ``cooks.toml``, the matrix of cooks to simulate."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

from trivet.errors import DesignError, Fault
from trivet.files.design_faults import duplicate_faults, link_faults, parts
from trivet.files.toml_faults import TomlFile, read_toml, validate
from trivet.records.cook import CookBurner, CookPlan, CookPlans
from trivet.records.design import Design, Pan
from trivet.units import show_length

FORMAT = 1


def read_cooks(path: str | Path, design: Design) -> CookPlans:
    """Return the cook plans of a file, checked against the design.

    Parameters
    ----------
    path : path
        The file, or the project folder that holds ``cooks.toml``.
    design : Design
        The design whose burners, pans and bases the plans name.

    Raises
    ------
    DesignError
        With every fault of the file at once.
    FormatError
        If the file is no TOML, or of a format that this version does not know.
    InputError
        If there is no such file.
    """
    file = Path(path)
    toml = read_toml(file / "cooks.toml" if file.is_dir() else file, newest=FORMAT)
    plans, faults = validate(CookPlans, toml)
    faults += tuple(_name_faults(toml, design))
    for at, plan in parts(toml, "cooks", CookPlan):
        faults += tuple(_plan_faults(toml, ("cooks", at), plan, design))
    if faults or plans is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    return plans


def _name_faults(toml: TomlFile, design: Design) -> Iterator[Fault]:
    yield from duplicate_faults(toml, "cooks", "name")
    known = {
        "burner": tuple(one.name for one in design.burners),
        "pan": tuple(one.name for one in design.pans),
        "base": tuple(one.name for one in design.bases),
    }
    for at, cook in toml.entries("cooks"):
        burners = cook.get("burners", [])
        for index, burner in enumerate(burners if isinstance(burners, list) else []):
            for key, names in known.items():
                if isinstance(burner, dict):
                    path = ("cooks", at, "burners", index, key)
                    yield from link_faults(toml, path, burner.get(key), names)
    plans = toml.names("cooks")
    for at, cook in toml.entries("cooks"):
        clash = re.fullmatch(r"(.*)-r\d+", str(cook.get("name", "")))
        if clash and clash.group(1) in plans:
            found = f"{cook['name']!r} is the name of a repeat of {clash.group(1)!r}"
            yield toml.fault(("cooks", at, "name"), found, "a name of its own")


def _plan_faults(
    toml: TomlFile, path: tuple[str | int, ...], plan: CookPlan, design: Design
) -> Iterator[Fault]:
    if plan.duration_s <= 0:
        yield toml.fault((*path, "duration"), plan.duration_s.text, "longer than 0 s")
    for at, moment in enumerate(plan.hands_at_s):
        if moment > plan.duration_s:
            yield _late(toml, (*path, "hands_at", at), moment.text, plan)
    pans = {pan.name: pan for pan in design.pans}
    for at, burner in enumerate(plan.burners):
        place = (*path, "burners", at)
        yield from _schedule_faults(toml, place, burner, plan)
        yield from _food_faults(toml, place, burner, plan, pans.get(burner.pan))
        yield from _base_faults(toml, place, burner, design)
    yield from _pair_faults(toml, path, plan, design)


def _late(toml: TomlFile, path: tuple[str | int, ...], text: str, plan: CookPlan) -> Fault:
    found = f"{text} lies beyond the cook's end"
    return toml.fault(path, found, f"at most the duration, {plan.duration_s.text}")


def _schedule_faults(
    toml: TomlFile, path: tuple[str | int, ...], burner: CookBurner, plan: CookPlan
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
    path: tuple[str | int, ...],
    burner: CookBurner,
    plan: CookPlan,
    pan: Pan | None,
) -> Iterator[Fault]:
    food = burner.food
    if food is None:
        return
    moments: list[tuple[str, Any]] = [
        (key, moment)
        for key, moment in (("in", food.in_s), ("turn", food.turn_s), ("out", food.out_s))
        if moment is not None
    ]
    for (_, one), (key, two) in pairwise(moments):
        if two <= one:
            found = f"{two.text} does not come after {one.text}"
            yield toml.fault((*path, "food", key), found, "in before turn before out")
    for key, moment in moments:
        if moment > plan.duration_s:
            yield _late(toml, (*path, "food", key), moment.text, plan)
    if pan is not None and food.diameter_m > pan.diameter_m:
        found = f"{food.diameter_m.text} in the pan {pan.name!r}"
        allowed = f"at most {show_length(pan.diameter_m)}"
        yield toml.fault((*path, "food", "diameter"), found, allowed)


def _base_faults(
    toml: TomlFile, path: tuple[str | int, ...], burner: CookBurner, design: Design
) -> Iterator[Fault]:
    pan = next((one for one in design.pans if one.name == burner.pan), None)
    base = next((one for one in design.bases if one.name == burner.base), None)
    if pan is None or base is None:
        return
    room = math.pi / 4 * pan.diameter_m**2 * pan.depth_m
    if base.volume_m3 > room:
        found = f"{base.volume_m3.text} of {base.name!r} overfills {pan.name!r}"
        yield toml.fault((*path, "base"), found, f"at most {room * 1000:.2f} L")


def _pair_faults(
    toml: TomlFile, path: tuple[str | int, ...], plan: CookPlan, design: Design
) -> Iterator[Fault]:
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
