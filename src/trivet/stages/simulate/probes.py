"""Reference probes of a simulated cook: where they sit, what they touch, and their errors."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError
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
from trivet.records.benchsheet import SheetProbe
from trivet.records.cook import CookPlan, ProbeFault
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.recording import ProbeSeries
from trivet.records.requirement import Of
from trivet.stages.simulate.contents import FILM_UNDER_M
from trivet.stages.simulate.draws import Kitchen, stream
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.setting import STEP_S

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
CONTACT_W_M2K: dict[str, tuple[float, float]] = {
    "welded": (1e5, 3e5),
    "peened": (3e4, 1e5),
    "cement": (4e3, 1e4),
    "spring": (1e3, 3e3),
    "tape": (4e2, 1e3),
}
BEAD_M = 1.5e-3
WIRE = ProbeWire(diameter_m=0.25e-3, conductivity_w_mk=25.0, film_w_m2k=40.0, isothermal_m=8e-3)
CLOCK_HALF_S = 0.1  # left after the clocks were set; assumed
CLOCK_DRIFT_FRAC = 20e-6  # half-width, a plain quartz; common practice, no source
NOISE_K = 0.1
WARMEST_K, COLDEST_K = 1273.0, 233.0  # tolerances are stated between
LIFTED_LOW_FRAC = 0.7  # of the rise that a probe misses which has come loose; assumed


def probe_series(
    pans: Sequence[PanHistory], *, design: Design, plan: CookPlan, name: str, room: Kitchen
) -> tuple[ProbeSeries, ...]:
    """Return the readings of every probe, with its errors and its declared faults."""
    made, asked = [], plan.probes
    for number, one in enumerate(pans):
        usual = [] if asked else _usual(one, number)
        mine = [probe for probe in asked if probe.burner == one.setting.burner.name]
        for probe in (*usual, *mine):
            if probe.touches == "room":
                continue
            made.append(_series(one, probe, design=design, plan=plan, name=name, room=room))
    for probe in asked:
        if probe.touches == "room":
            made.append(_series(pans[0], probe, design=design, plan=plan, name=name, room=room))
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


def _series(
    one: PanHistory,
    probe: SheetProbe,
    *,
    design: Design,
    plan: CookPlan,
    name: str,
    room: Kitchen,
) -> ProbeSeries:
    """Return a probe's readings with errors, and the uncertainty that its class states."""
    generator = stream(design.project.seed, cook=name, name=f"probe {probe.column}")
    faults = [fault for fault in plan.probe_faults if fault.probe == probe.column]
    touched = _with_moves(one, probe, faults, room)
    tolerance_class: ToleranceClass = probe.tolerance_class  # type: ignore[assignment]
    kind: ThermocoupleKind = probe.kind
    middle = np.clip(np.nan_to_num(touched, nan=room.ambient_k), COLDEST_K, WARMEST_K)
    wire = tolerance_k(middle, kind=kind, tolerance_class=tolerance_class)
    errors = _errors(one, probe, faults, generator)
    known = np.isfinite(touched)
    read = np.full(touched.size, np.nan)
    if known.sum() > 1:
        read[known] = probe_reading_k(
            touched[known],
            step_s=STEP_S,
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
        noise_k=NOISE_K,
        clock_drift_frac=CLOCK_DRIFT_FRAC * (2.0 * gain - 1.0)
        + sum(float(bad.clock_drift_frac) for bad in wrong),
        wire_frac=2.0 * wire - 1.0,
    )


def _low_frac(one: PanHistory, probe: SheetProbe, draw: float) -> float:
    """Return the share of (surface - air) by which a probe reads low, from its contact."""
    contact = CONTACT_W_M2K.get(probe.attachment)
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
