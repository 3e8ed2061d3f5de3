"""What a cook must satisfy against its design: names that exist, pans and lids that fit.

The rules of a cook itself stand beside its record.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations
from typing import Any

from trivet.errors import Fault
from trivet.files.rules import parts_within, rule_faults, undefined
from trivet.files.tomlfile import Path, TomlFile
from trivet.records.cook import CookBurner, CookPlan, FoodPlan
from trivet.records.design import Design, Pan
from trivet.units import show_length


def name_faults(
    toml: TomlFile, path: Path, cook: dict[str, Any], design: Design
) -> Iterator[Fault]:
    """Yield a fault for each name in a cook's table that the design does not define."""
    burners = [one.name for one in design.burners]
    links = {
        "burners[].burner": burners,
        "burners[].pan": [one.name for one in design.pans],
        "burners[].base": [one.name for one in design.bases],
        "probes[].burner": burners,
        "faults.dead_pixels[].sensor_head": ["", *(one.name for one in design.heads)],
    }
    yield from undefined(toml, links, cook, path)


def plan_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    """Yield every fault of a cook whose shape is sound."""
    yield from rule_faults(toml, dict(parts_within(plan)), path)
    pans = {pan.name: pan for pan in design.pans}
    for at, burner in enumerate(plan.burners):
        if burner.pan in pans:
            yield from _pan_faults(toml, (*path, "burners", at), burner, pans[burner.pan], design)
    yield from _pair_faults(toml, path, plan, design)
    yield from _pixel_faults(toml, (*path, "faults", "dead_pixels"), plan, design)


def _pan_faults(
    toml: TomlFile, path: Path, burner: CookBurner, pan: Pan, design: Design
) -> Iterator[Fault]:
    """Yield food, a lid and contents that do not fit the pan."""
    pieces: list[tuple[Path, FoodPlan | None]] = [(("food",), burner.food)]
    pieces += [(("more_food", at), food) for at, food in enumerate(burner.more_food)]
    for place, food in pieces:
        if food is not None and food.diameter_m > pan.diameter_m:
            found = f"{food.diameter_m.text} in the pan {pan.name!r}"
            allowed = f"at most {show_length(pan.diameter_m)}"
            yield toml.fault((*path, *place, "diameter"), found, allowed)
    if burner.lid and not pan.lid:
        found = f"a lid on the pan {pan.name!r}, which has none"
        yield toml.fault((*path, "lid"), found, "lid = true for that pan in design.toml")
    room = math.pi / 4 * pan.diameter_m**2 * pan.depth_m
    for base in design.bases:
        if base.name == burner.base and base.volume_m3 > room:
            found = f"{base.volume_m3.text} of {base.name!r} overfills {pan.name!r}"
            yield toml.fault((*path, "base"), found, f"at most {room * 1000:.2f} L")


def _pair_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    """Yield a second pan on a burner, and pans that meet."""
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


def _pixel_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    """Yield dead pixels that a head does not have."""
    for at, pixel in enumerate(plan.faults.dead_pixels):
        for head in design.heads:
            card = design.card(head)
            inside = pixel.row < card.rows and pixel.col < card.cols
            if pixel.sensor_head in ("", head.name) and not inside:
                found = f"row {pixel.row} col {pixel.col}, which head {head.name!r} does not have"
                allowed = f"rows 0 to {card.rows - 1}, cols 0 to {card.cols - 1}"
                yield toml.fault((*path, at), found, allowed)
