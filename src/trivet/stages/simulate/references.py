"""Reference probes, events and bench sheet of a simulated cook: what the product never sees."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from trivet.kernels.sensor.probe_uncertainty import (
    ATTACHMENT_ERROR,
    LOGGER_K,
    probe_standard_uncertainty_k,
)
from trivet.kernels.sensor.probesim import ProbeErrors, probe_reading_k
from trivet.kernels.sensor.thermocouple import tolerance_k
from trivet.records.cook import CookPlan, SheetBurner, SheetProbe, Told, ToldEntry
from trivet.records.design import Design
from trivet.records.figures import Figure
from trivet.records.recording import Event, ProbeSeries, Reference
from trivet.records.requirement import Of
from trivet.stages.simulate.cooking import STEP_S, PanHistory
from trivet.stages.simulate.draws import Kitchen, stream
from trivet.stages.simulate.scene import HAND_SECONDS
from trivet.stages.simulate.setting import FILM_UNDER_M

FloatArray = npt.NDArray[np.float64]
Attachment = Literal["cement", "immersed", "inserted"]

LAG_S: dict[Attachment, float] = {"cement": 0.8, "immersed": 1.5, "inserted": 4.0}  # assumed
CLOCK_HALF_S = 0.1  # left after the clocks were set; assumed
NOISE_K = 0.1
WARMEST_TOLERANCE_K = 1273.0


@dataclass(frozen=True)
class _Place:
    """Where a probe sits."""

    column: str
    attachment: Attachment
    touches: Of
    x_m: float
    y_m: float


def reference(
    pans: Sequence[PanHistory], *, design: Design, plan: CookPlan, name: str, room: Kitchen
) -> Reference:
    """Return probes, events and sheet of a cook that was simulated."""
    probes = []
    for number, one in enumerate(pans):
        for place in _places(one, number):
            generator = stream(design.project.seed, cook=name, name=f"probe {place.column}")
            probes.append(_series(one, place, room, generator))
    sheet = tuple(_sheet(one) for one in pans)
    return Reference(tuple(probes), _events(pans, plan), sheet)


def _places(one: PanHistory, number: int) -> list[_Place]:
    """Return the probes of a burner: on the pan, in the liquid, in the food."""
    setting, radius = one.setting, one.setting.radius_m
    tag = f"b{number + 1}"
    places = [
        _Place(f"{tag}-pan-middle", "cement", "pan", 0.1 * radius, 0.0),
        _Place(f"{tag}-pan-ring", "cement", "pan", -0.4 * radius, 0.4 * radius),
    ]
    if setting.base.contents == "water":
        places.append(_Place(f"{tag}-liquid", "immersed", "liquid", 0.0, 0.0))
    elif float(setting.film_m.mean()) >= FILM_UNDER_M:
        places.append(_Place(f"{tag}-oil", "immersed", "oil", 0.0, 0.0))
    if setting.plan.food is not None:
        places.append(_Place(f"{tag}-food", "inserted", "food", 0.0, 0.0))
    return places


def _series(
    one: PanHistory, place: _Place, room: Kitchen, generator: np.random.Generator
) -> ProbeSeries:
    """Return a probe's readings with errors, and the uncertainty that its class states."""
    touched = _touched(one, place)
    floor, share = ATTACHMENT_ERROR[place.attachment]
    middle = float(np.clip(np.nanmean(touched), room.ambient_k, WARMEST_TOLERANCE_K))
    wire = float(tolerance_k(middle, kind="K", tolerance_class="iec-1"))
    errors = ProbeErrors(
        offset_k=wire * generator.uniform(-1.0, 1.0)
        + LOGGER_K * generator.uniform(-1.0, 1.0)
        - floor * generator.uniform(),
        low_frac=share * generator.uniform(),
        lag_s=LAG_S[place.attachment],
        clock_s=CLOCK_HALF_S * generator.uniform(-1.0, 1.0),
        noise_k=NOISE_K,
    )
    known = np.isfinite(touched)
    read = np.full(touched.size, np.nan)
    if known.sum() > 1:
        read[known] = probe_reading_k(
            touched[known], step_s=STEP_S, air_k=room.ambient_k, errors=errors, generator=generator
        )
    u = probe_standard_uncertainty_k(
        read,
        kind="K",
        tolerance_class="iec-1",
        attachment=place.attachment,
        air_k=room.ambient_k,
    )
    probe = SheetProbe(
        column=place.column,
        kind="K",
        tolerance_class="iec-1",
        attachment=place.attachment,
        burner=one.setting.burner.name,
        touches=place.touches,
        x_m=Figure(place.x_m),
        y_m=Figure(place.y_m),
    )
    return ProbeSeries(probe, one.time_s, read, u)


def _touched(one: PanHistory, place: _Place) -> FloatArray:
    """Return the temperature of what a probe touches, NaN where it touches nothing."""
    setting = one.setting
    if place.touches == "pan":
        away = np.hypot(setting.x_m - place.x_m, setting.y_m - place.y_m)
        return one.pan_k[:, int(np.argmin(away))]
    covered = one.food[:, None] & setting.food_cover
    where = covered if place.touches == "food" else ~covered
    weight = setting.area_m2 * where
    total = weight.sum(axis=1)
    mean = (one.surface_k * weight).sum(axis=1) / np.maximum(total, 1e-300)
    there = total > 0.0
    if place.touches == "liquid":
        there &= one.mass_kg > 0.0
    return np.asarray(np.where(there, mean, np.nan))


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
        food = one.setting.plan.food
        if food is not None:
            moments = (("food_in", food.in_s), ("turn", food.turn_s), ("food_out", food.out_s))
            found.extend(
                Event(float(at), burner, word, food.kind) for word, at in moments if at is not None
            )
    first = pans[0].setting.burner.name
    for at in plan.hands_at_s:
        found.append(Event(float(at), first, "person_in", "hand"))
        found.append(Event(float(at) + HAND_SECONDS, first, "person_out", "hand"))
    end = float(pans[0].time_s[-1])
    return tuple(sorted((e for e in found if e.time_s <= end), key=lambda e: (e.time_s, e.burner)))


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
        food="" if setting.plan.food is None else setting.plan.food.kind,
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
        bands = [band.name for band in design.bands if not band.bases or one.base in band.bases]
        entries[one.burner] = ToldEntry(
            base_contents=design.base(one.base).contents if "base_contents" in channels else None,
            pan=one.pan if "pan" in channels else None,
            target_band=bands[0] if bands and "target_band" in channels else None,
        )
    return Told(burners=entries)
