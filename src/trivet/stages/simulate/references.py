"""Probes, events and bench sheet of a simulated cook: what the product never sees."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.models.oilpoints import COMMON
from trivet.records.benchsheet import SheetBurner, Told, ToldEntry
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import Event, Reference
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import HAND_SECONDS
from trivet.stages.simulate.presence import away_events
from trivet.stages.simulate.probes import probe_series


def reference(
    pans: Sequence[PanHistory], *, design: Design, plan: CookPlan, name: str, room: Kitchen
) -> Reference:
    """Return probes, events and sheet of a cook that was simulated."""
    probes = probe_series(pans, design=design, plan=plan, name=name, room=room)
    sheet = tuple(_sheet(one) for one in pans)
    return Reference(probes, _events(pans, plan), sheet)


def _events(pans: Sequence[PanHistory], plan: CookPlan) -> tuple[Event, ...]:
    """Return what was done, in order of time."""
    found = []
    for one in pans:
        burner, before = one.setting.burner.name, 0.0
        found.append(Event(0.0, burner, "pan_on", one.setting.pan.name))
        for step in one.setting.plan.schedule:
            level = float(step.level_frac)
            if level != before:
                word = "off" if level == 0.0 else ("on" if before == 0.0 else "level")
                found.append(Event(float(step.at_s), burner, word, f"{level:g}"))
            before = level
        for food in one.setting.plan.foods:
            moments = (("food_in", food.in_s), ("turn", food.turn_s), ("food_out", food.out_s))
            found.extend(
                Event(float(at), burner, word, food.kind) for word, at in moments if at is not None
            )
        found += _lid_and_smoke(one)
    first = pans[0].setting.burner.name
    for at in plan.hands_at_s:
        found.append(Event(float(at), first, "person_in", "hand"))
        found.append(Event(float(at) + HAND_SECONDS, first, "person_out", "hand"))
    for face in plan.faces:
        over = face.burner or first
        found.append(Event(float(face.at_s), over, "person_in", "face"))
        found.append(Event(float(face.at_s) + float(face.for_s), over, "person_out", "face"))
    for move in plan.moves:
        by = f"{float(move.x_m) * 1e3:g} mm, {float(move.y_m) * 1e3:g} mm"
        found.append(Event(float(move.at_s), move.burner, "move", by))
    found += away_events(plan, first)
    found += _faults(plan, first)
    end = float(pans[0].time_s[-1])
    return tuple(sorted((e for e in found if e.time_s <= end), key=lambda e: (e.time_s, e.burner)))


def _lid_and_smoke(one: PanHistory) -> list[Event]:
    """Return when the lid went on and off, and when the oil smoked and ignited."""
    burner, found = one.setting.burner.name, []
    for span in one.setting.plan.lid:
        found.append(Event(float(span.on_s), burner, "lid_on"))
        if span.off_s is not None:
            found.append(Event(float(span.off_s), burner, "lid_off"))
    marks = one.marks
    for word, at, level in (
        ("smoke", marks.smoke_s, marks.smoke_k),
        ("ignition", marks.ignition_s, marks.ignition_k),
    ):
        if math.isfinite(at):
            note = f"{level - 273.15:.0f} C"
            found.append(Event(at, burner, word, one.setting.oil.name, note))
    return found


def _faults(plan: CookPlan, burner: str) -> list[Event]:
    """Return the declared faults of sensor and probes, for those who check what was noticed."""
    faults, found = plan.faults, []
    for word, stretches in (("gap", faults.gaps), ("stuck", faults.stuck)):
        for one in stretches:
            found.append(Event(float(one.at_s), burner, "sensor_fault", word, one.for_s.text))
    if float(faults.dropped_frac) > 0.0:
        found.append(Event(0.0, burner, "sensor_fault", "dropped", faults.dropped_frac.text))
    for pixel in faults.dead_pixels:
        at = f"row {pixel.row} col {pixel.col}"
        found.append(Event(0.0, burner, "sensor_fault", "dead", at))
    if float(faults.clock_jitter_s) > 0.0 or float(faults.clock_drift_frac) != 0.0:
        by = f"jitter {faults.clock_jitter_s.text}, drift {faults.clock_drift_frac.text}"
        found.append(Event(0.0, burner, "sensor_fault", "clock", by))
    for fault in plan.probe_faults:
        found.append(Event(float(fault.at_s), burner, "probe_fault", fault.kind, fault.probe))
    return found


def _sheet(one: PanHistory) -> SheetBurner:
    """Return what the bench sheet says: nominal figures, not the draws."""
    setting = one.setting
    return SheetBurner(
        burner=setting.burner.name,
        material=setting.pan.material,
        finish=setting.pan.finish,
        diameter_m=setting.pan.diameter_m,
        depth_m=setting.pan.depth_m,
        contents=setting.base.contents,
        volume_m3=setting.base.volume_m3,
        food=", ".join(dict.fromkeys(one.kind for one in setting.plan.foods)),
        offset_x_m=setting.plan.offset_x_m,
        offset_y_m=setting.plan.offset_y_m,
    )


def told(design: Design, *, plan: CookPlan) -> Told:
    """Return what the cook tells the product, by the design's channels."""
    if not plan.tells:
        return Told()
    channels = design.told.channels
    entries = {}
    for one in plan.burners:
        base = design.base(one.base)
        oily = "oil" in channels and base.contents in ("oil", "butter")
        entries[one.burner] = ToldEntry(
            base_contents=base.contents if "base_contents" in channels else None,
            pan=one.pan if "pan" in channels else None,
            target_band=one.band if "target_band" in channels else None,
            oil=(base.oil or COMMON[base.contents]) if oily else None,
            uses=base.uses if oily else None,
        )
    return Told(burners=entries)
