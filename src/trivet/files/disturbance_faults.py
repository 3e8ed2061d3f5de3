"""Faults, moves and faces of a planned cook that the design or the cook has no place for."""

from __future__ import annotations

from collections.abc import Iterator

from trivet.errors import Fault
from trivet.files.design_faults import link_faults
from trivet.files.tomlfile import Path, TomlFile
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.figures import Figure

MAX_DROPPED = 0.9


def disturbance_faults(
    toml: TomlFile, path: Path, plan: CookPlan, design: Design
) -> Iterator[Fault]:
    """Yield a fault for each disturbance that cannot be."""
    used = tuple(one.burner for one in plan.burners)
    for at, face in enumerate(plan.faces):
        if face.burner:
            yield from link_faults(toml, (*path, "faces", at, "burner"), face.burner, used)
    for at, move in enumerate(plan.moves):
        yield from link_faults(toml, (*path, "moves", at, "burner"), move.burner, used)
    probes = tuple(probe.column for probe in plan.probes)
    for at, fault in enumerate(plan.probe_faults):
        place = (*path, "probe_faults", at)
        if probes:  # the usual probes are named by the simulator
            yield from link_faults(toml, (*place, "probe"), fault.probe, probes)
        if fault.until_s is not None and fault.until_s <= fault.at_s:
            found = f"{fault.until_s.text} does not come after {fault.at_s.text}"
            yield toml.fault((*place, "until"), found, "after the moment it begins")
    for place, moment in _moments(plan):
        if moment > plan.duration_s:
            found = f"{moment.text} lies beyond the cook's end"
            allowed = f"at most the duration, {plan.duration_s.text}"
            yield toml.fault((*path, *place), found, allowed)
    yield from _sensor_faults(toml, (*path, "faults"), plan, design)


def _moments(plan: CookPlan) -> Iterator[tuple[Path, Figure]]:
    """Yield every moment of a disturbance with its place in the cook's table."""
    for at, face in enumerate(plan.faces):
        yield ("faces", at, "at"), face.at_s
    for at, move in enumerate(plan.moves):
        yield ("moves", at, "at"), move.at_s
    for at, fault in enumerate(plan.probe_faults):
        yield ("probe_faults", at, "at"), fault.at_s
    for key, stretches in (("gaps", plan.faults.gaps), ("stuck", plan.faults.stuck)):
        for at, stretch in enumerate(stretches):
            yield ("faults", key, at, "at"), stretch.at_s


def _sensor_faults(toml: TomlFile, path: Path, plan: CookPlan, design: Design) -> Iterator[Fault]:
    faults, heads = plan.faults, {head.name: head for head in design.heads}
    if float(faults.dropped_frac) > MAX_DROPPED:
        found = f"{faults.dropped_frac.text} of the frames are lost"
        yield toml.fault((*path, "dropped"), found, f"at most {MAX_DROPPED:.0%}")
    for at, pixel in enumerate(faults.dead_pixels):
        place = (*path, "dead_pixels", at)
        if pixel.sensor_head:
            yield from link_faults(toml, (*place, "sensor_head"), pixel.sensor_head, tuple(heads))
        for name, head in heads.items():
            card = design.card(head)
            if pixel.sensor_head in ("", name) and not (
                pixel.row < card.rows and pixel.col < card.cols
            ):
                found = f"row {pixel.row} col {pixel.col}, which head {name!r} does not have"
                allowed = f"rows 0 to {card.rows - 1}, cols 0 to {card.cols - 1}"
                yield toml.fault(place, found, allowed)
