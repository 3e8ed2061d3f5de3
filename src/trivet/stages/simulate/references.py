"""Probes, events and bench sheet of a simulated cook: what the product never sees."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import InputError
from trivet.models.oilpoints import COMMON
from trivet.physics.sensor.probes import (
    ATTACHMENT_ERROR,
    LOGGER_K,
    ProbeErrors,
    ProbePlate,
    ProbeWire,
    attachment_error_frac,
    probe_reading_k,
    probe_standard_uncertainty_k,
    swapped_poles_k,
)
from trivet.physics.sensor.thermocouple import ThermocoupleKind, ToleranceClass, tolerance_k
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told, ToldEntry
from trivet.records.cook import CookPlan, ProbeFault
from trivet.records.figures import Figure
from trivet.records.recording import Event, ProbeSeries, Reference
from trivet.records.requirement import Of
from trivet.stages.simulate.contents import FILM_UNDER_M
from trivet.stages.simulate.draws import Kitchen, Repeat
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import HAND_SECONDS, away_events
from trivet.stages.simulate.setting import COOK_STEP_S


def reference(pans: Sequence[PanHistory], cook: Repeat) -> Reference:
    """Return probes, events and sheet of a cook that was simulated."""
    probes = probe_series(pans, cook)
    sheet = tuple(_sheet(one) for one in pans)
    return Reference(probes, _events(pans, cook.plan), sheet)


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
    found += away_events(plan, first) + _faults(plan, first)
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
            note = f"{level - ZERO_C_K:.0f} C"
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


def told(cook: Repeat) -> Told:
    """Return what the cook tells the product, by the design's channels."""
    design, plan = cook.design, cook.plan
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


Attachment = Literal["welded", "peened", "cement", "spring", "tape", "immersed", "air", "inserted"]

LAG_S: dict[Attachment, float] = {  # assumed
    "welded": 0.3,
    "peened": 0.4,
    "cement": 0.8,
    "spring": 1.5,
    "tape": 2.0,
    "immersed": 1.5,
    "inserted": 4.0,
    "air": 5.0,
}
# Contact under the bead of one that is well made, W/m2/K; common practice, no source.
BEAD_CONTACT_W_M2K: dict[str, tuple[float, float]] = {
    "welded": (1e5, 3e5),
    "peened": (3e4, 1e5),
    "cement": (4e3, 1e4),
    "spring": (1e3, 3e3),
    "tape": (4e2, 1e3),
}
BEAD_M = 1.5e-3  # own estimate: a welded bead of wires of 0.25 mm
WIRE = ProbeWire(diameter_m=0.25e-3, conductivity_w_mk=25.0, film_w_m2k=40.0, isothermal_m=8e-3)
CLOCK_HALF_S = 0.1  # left after the clocks were set; assumed
CLOCK_DRIFT_FRAC = 20e-6  # half-width, a plain quartz; common practice, no source
PROBE_NOISE_K = 0.1  # own estimate: a usual logger
TOLERANCE_FROM_K, TOLERANCE_TO_K = 233.0, 1273.0  # tolerances are stated between: IEC 60584-1
LIFTED_LOW_FRAC = 0.7  # of the rise that a probe misses which has come loose; assumed


def probe_series(pans: Sequence[PanHistory], cook: Repeat) -> tuple[ProbeSeries, ...]:
    """Return the readings of every probe, with its errors and its declared faults."""
    made, plan = [], cook.plan
    for number, one in enumerate(pans):
        usual = [] if plan.probes else _usual(one, number)
        mine = [probe for probe in plan.probes if probe.burner == one.setting.burner.name]
        made += [_series(one, probe, cook) for probe in (*usual, *mine) if probe.touches != "room"]
    made += [_series(pans[0], probe, cook) for probe in plan.probes if probe.touches == "room"]
    known = {one.probe.column for one in made}
    for fault in plan.probe_faults:
        if fault.probe not in known:
            raise InputError(
                f"cook {plan.name!r}: no probe {fault.probe!r} to have a fault; "
                f"it has {', '.join(sorted(known))}"
            )
    return tuple(made)


def _usual(one: PanHistory, number: int) -> list[SheetProbe]:
    """Return the probes of a burner: on the pan, in the liquid, in the food."""
    setting, radius, tag = one.setting, one.setting.radius_m, f"b{number + 1}"

    def probe(word: str, attachment: Attachment, touches: Of, x: float, y: float) -> SheetProbe:
        return SheetProbe(
            column=f"{tag}-{word}",
            tolerance_class="iec-1",
            attachment=attachment,
            burner=setting.burner.name,
            touches=touches,
            x_m=Figure(x),
            y_m=Figure(y),
        )

    probes = [
        probe("pan-middle", "cement", "pan", 0.1 * radius, 0.0),
        probe("pan-ring", "cement", "pan", -0.4 * radius, 0.4 * radius),
    ]
    if setting.base.contents == "water":
        probes.append(probe("liquid", "immersed", "liquid", 0.0, 0.0))
    elif float(setting.film_m.mean()) >= FILM_UNDER_M:
        probes.append(probe("oil", "immersed", "oil", 0.0, 0.0))
    if setting.pieces:
        probes.append(probe("food", "inserted", "food", 0.0, 0.0))
    return probes


def _series(one: PanHistory, probe: SheetProbe, cook: Repeat) -> ProbeSeries:
    """Return a probe's readings with errors, and the uncertainty that its class states."""
    generator, room = cook.stream(f"probe {probe.column}"), cook.room
    faults = [fault for fault in cook.plan.probe_faults if fault.probe == probe.column]
    touched = _with_moves(one, probe, faults, room)
    tolerance_class: ToleranceClass = probe.tolerance_class  # type: ignore[assignment]
    kind: ThermocoupleKind = probe.kind
    middle = np.clip(np.nan_to_num(touched, nan=room.ambient_k), TOLERANCE_FROM_K, TOLERANCE_TO_K)
    wire = tolerance_k(middle, kind=kind, tolerance_class=tolerance_class)
    errors = _errors(one, probe, faults, generator)
    known = np.isfinite(touched)
    read = np.full(touched.size, np.nan)
    if known.sum() > 1:
        read[known] = probe_reading_k(
            touched[known],
            step_s=COOK_STEP_S,
            air_k=room.ambient_k,
            errors=errors,
            generator=generator,
            tolerance_k=np.asarray(wire)[known],
        )
    for fault in faults:
        there = _during(one.time_s, fault)
        if fault.kind == "open":
            read[there] = np.nan
        elif fault.kind == "swapped":
            turned = swapped_poles_k(read[there], kind=kind, cold_junction_k=room.ambient_k)
            read[there] = turned
    u = probe_standard_uncertainty_k(
        read,
        kind=kind,
        tolerance_class=tolerance_class,
        attachment=probe.attachment,
        air_k=room.ambient_k,
    )
    return ProbeSeries(probe, one.time_s, read, u)


def _during(time_s: FloatArray, fault: ProbeFault) -> BoolArray:
    end = np.inf if fault.until_s is None else float(fault.until_s)
    return np.asarray((time_s >= float(fault.at_s)) & (time_s < end))


def _errors(
    one: PanHistory, probe: SheetProbe, faults: Sequence[ProbeFault], generator: np.random.Generator
) -> ProbeErrors:
    """Draw a probe's errors: wire within its class, logger, attachment, clock."""
    wire, logger, floor, contact, clock, gain = generator.uniform(size=6)
    wrong = [fault for fault in faults if fault.kind == "clock"]
    return ProbeErrors(
        offset_k=LOGGER_K * (2.0 * logger - 1.0) - ATTACHMENT_ERROR[probe.attachment][0] * floor,
        low_frac=_low_frac(one, probe, contact),
        lag_s=LAG_S[probe.attachment],
        clock_s=CLOCK_HALF_S * (2.0 * clock - 1.0) + sum(float(bad.clock_s) for bad in wrong),
        noise_k=PROBE_NOISE_K,
        clock_drift_frac=CLOCK_DRIFT_FRAC * (2.0 * gain - 1.0)
        + sum(float(bad.clock_drift_frac) for bad in wrong),
        wire_frac=2.0 * wire - 1.0,
    )


def _low_frac(one: PanHistory, probe: SheetProbe, draw: float) -> float:
    """Return the share of (surface - air) by which a probe reads low, from its contact."""
    contact = BEAD_CONTACT_W_M2K.get(probe.attachment)
    if contact is None or probe.touches != "pan":
        return ATTACHMENT_ERROR[probe.attachment][1] * draw
    setting = one.setting
    low, high = contact
    return float(
        attachment_error_frac(
            low * (high / low) ** draw,
            bead_diameter_m=BEAD_M,
            wire=WIRE,
            plate=ProbePlate(
                thickness_m=setting.thickness_m,
                conductivity_w_mk=setting.material.conductivity_w_mk,
                film_w_m2k=20.0,
            ),
        )
    )


def _with_moves(
    one: PanHistory, probe: SheetProbe, faults: Sequence[ProbeFault], room: Kitchen
) -> FloatArray:
    """Return what a probe touches, elsewhere while it is displaced and air while it is loose."""
    x, y = float(probe.x_m), float(probe.y_m)
    touched = _touched(one, probe, x, y, room)
    for fault in faults:
        there = _during(one.time_s, fault)
        if fault.kind == "displaced":
            place = x + float(fault.x_m), y + float(fault.y_m)
            touched = np.where(there, _touched(one, probe, *place, room), touched)
        elif fault.kind == "loose":
            lifted = touched - LIFTED_LOW_FRAC * (touched - room.ambient_k)
            touched = np.where(there, lifted, touched)
    return touched


def _touched(
    one: PanHistory, probe: SheetProbe, x_m: float, y_m: float, room: Kitchen
) -> FloatArray:
    """Return the temperature of what a probe touches, NaN where it touches nothing."""
    setting = one.setting
    if probe.touches == "room":
        return np.full(one.time_s.size, room.ambient_k)
    if probe.touches == "pan":
        away = np.hypot(setting.x_m - x_m, setting.y_m - y_m)
        return np.asarray(one.pan_k[:, int(np.argmin(away))])
    if probe.touches == "food" and probe.attachment == "inserted" and setting.pieces:
        return one.inserted_k  # the tip in the middle of the food, not on its face
    covered = one.covered
    where = covered if probe.touches == "food" else ~covered
    weight = setting.area_m2 * where
    total = weight.sum(axis=1)
    mean = (one.surface_k * weight).sum(axis=1) / np.maximum(total, 1e-300)
    there = total > 0.0
    if probe.touches == "liquid":
        there &= one.mass_kg > 0.0
    return np.asarray(np.where(there, mean, np.nan))
