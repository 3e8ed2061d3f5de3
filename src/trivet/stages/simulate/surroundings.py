"""Surroundings of the pans: air and housing under the hood, hob, flames, what the pans reflect."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from trivet.arrays import BoolArray, FloatArray
from trivet.models.reflected import diffuse_share, mirror_share
from trivet.physics.geometry.optics import Pose
from trivet.physics.geometry.sampling import CellGrid
from trivet.physics.radiation.planck import Band, band_radiance
from trivet.records.cook import CookPlan, Face
from trivet.records.figures import Figure
from trivet.records.surroundings import Mirrored
from trivet.stages.simulate.contents import FILM_UNDER_M
from trivet.stages.simulate.draws import Kitchen, Repeat, drawn
from trivet.stages.simulate.heating import knob
from trivet.stages.simulate.history import PanHistory, flicker
from trivet.stages.simulate.setting import COOK_STEP_S, PanSetting

HOOD_AIR_TAU_S = 20.0  # own estimate: air under the hood is renewed three times a minute
HOOD_METAL_TAU_S = 120.0  # own estimate: 1 mm of steel in moving air
LAMP_TAU_S = 90.0  # own estimate
HOB_TAU_S = 200.0  # own estimate: glass beside a zone
HOB_AT_LEVEL = 0.4  # own estimate: level of all burners at which the hob's rise is meant
MIRROR_UNDER = 0.35  # own estimate: a bare face below this emissivity reflects like a mirror
MIRROR_SOFT_M = 0.03  # own estimate: blur of what a pan's face reflects
FLAME_FLICKER, FLAME_FLICKER_S = 0.3, 0.5  # own estimate
FACE_K, FACE_EMISSIVITY, FACE_RADIUS_M = 306.0, 0.98, 0.09  # own estimate: skin at 33 C
FACE_HEIGHT_M, FACE_BACK_M = 0.45, 0.05  # own estimate: a cook who bends over a pan
PLUME_POWER = 2.0 / 3.0
"""Rise of a fire plume over its power; Heskestad's correlation, from memory."""


@dataclass(frozen=True)
class Air:
    """The air and the housing under the hood at the simulator's moments, (time,)."""

    time_s: FloatArray
    hood_share: FloatArray
    """Rise of the hood's air over the room's, as a share of the declared one."""
    air_k: FloatArray
    housing_k: FloatArray
    housing_rate_kps: FloatArray


def hood_air(pans: Sequence[PanHistory], cook: Repeat) -> Air:
    """Return air and housing over a cook: they follow the heat of all burners."""
    time, room = pans[0].time_s, cook.room
    power = sum(float(one.setting.burner.power_w) * knob(one.setting, time) for one in pans)
    against = float(cook.design.surroundings.housing_power_w)
    drive = (np.asarray(power) / max(against, 1.0)) ** PLUME_POWER
    share = followed(drive, HOOD_AIR_TAU_S, start=0.0)
    rise = room.housing_end_k - room.ambient_k
    air = room.ambient_k + rise * share
    housing = followed(air, room.housing_tau_s, start=room.housing_start_k)
    return Air(time, share, air, housing, (air - housing) / room.housing_tau_s)


def followed(target: FloatArray, tau_s: float, *, start: float) -> FloatArray:
    """Return what follows a target with a time constant, from a start on."""
    keep = float(np.exp(-COOK_STEP_S / tau_s))
    out = lfilter([0.0, 1.0 - keep], [1.0, -keep], target, zi=[start])[0]
    return np.asarray(out)


def hob_k(pans: Sequence[PanHistory], room: Kitchen) -> FloatArray:
    """Return the temperature of the hob beside the pans: it follows the heat slowly."""
    rated = sum(float(one.setting.burner.power_w) for one in pans)
    level = np.asarray(sum(one.heat_w for one in pans)) / max(rated, 1e-9)
    rise = followed(room.hob_rise_k * level / HOB_AT_LEVEL, HOB_TAU_S, start=0.0)
    return np.asarray(room.ambient_k + rise)


def flame_shares(pans: Sequence[PanHistory], cook: Repeat) -> tuple[FloatArray, ...]:
    """Return the emissivity of the flames that show around each pan, (time,) each."""
    glow = float(cook.design.surroundings.flame_emissivity_frac)
    made = []
    for one in pans:
        if one.setting.burner.kind != "gas" or glow == 0.0:
            made.append(np.zeros(one.time_s.size))
            continue
        draws = cook.stream(f"flame {one.setting.burner.name}")
        changing = flicker(
            one.time_s.size, sigma=FLAME_FLICKER, tau_s=FLAME_FLICKER_S, generator=draws
        )
        made.append(np.clip(glow * knob(one.setting, one.time_s) * changing, 0.0, 1.0))
    return tuple(made)


@dataclass(frozen=True)
class Things:
    """What the pans of a cook reflect: things, faces, and the room as the last.

    ``radiance`` (time or 1, thing) in the band. [W/m2/sr]
    """

    declared: tuple[Mirrored, ...]
    faces: tuple[Mirrored, ...]
    radiance: FloatArray

    def share(self, setting: PanSetting, *, grid: CellGrid, pose: Pose) -> FloatArray:
        """Return how much of what each cell reflects is of each thing, (cell, thing)."""
        things = (*self.faces, *self.declared)
        points = np.stack(
            [
                grid.centre_x_m + setting.x_m,
                grid.centre_y_m + setting.y_m,
                np.full(setting.x_m.size, grid.fill_m),
            ],
            axis=1,
        )
        left = np.ones(len(points))
        made = []
        deep = float(setting.film_m.mean()) >= FILM_UNDER_M
        smooth = deep or setting.base.contents == "water"
        for thing in things:
            if smooth or setting.bare_emissivity < MIRROR_UNDER:
                wanted = mirror_share(
                    thing, points_m=points, eye_m=pose.eye_m, soft_m=MIRROR_SOFT_M
                )
            else:
                spot = (grid.centre_x_m, grid.centre_y_m)
                wanted = np.full(len(points), diffuse_share(thing, spot_m=spot))
            made.append(np.minimum(wanted, left))  # what comes first hides what comes later
            left = left - made[-1]
        return np.stack([*made, left], axis=1)

    def share_at(self, spot_m: tuple[float, float]) -> FloatArray:
        """Return the shares of things in what a matt surface at a spot reflects, (thing,)."""
        shares = [diffuse_share(one, spot_m=spot_m) for one in (*self.faces, *self.declared)]
        return np.array([*shares, max(0.0, 1.0 - sum(shares))])


def reflected_things(pans: Sequence[PanHistory], cook: Repeat, band: Band) -> Things:
    """Return what the pans reflect over a cook; the room is at the drawn reflected
    temperature where the design declares no things, else at that of its air."""
    design, plan, room = cook.design, cook.plan, cook.room
    declared = _by_size(design.surroundings.mirrored)
    rest_k = room.ambient_k if declared else room.reflected_k
    time = pans[0].time_s
    rest = float(band_radiance(rest_k, band=band))
    generator = cook.stream("mirrored")
    hot = {
        thing.name: drawn(thing.temperature_k, generator) for thing in design.surroundings.mirrored
    }
    share = hood_air(pans, cook).hood_share
    columns = [
        np.where(_there(face, time), float(band_radiance(FACE_K, band=band)), rest)
        for face in plan.faces
    ]
    for thing in declared:
        rise = _rise(thing, pans, plan, share)
        kelvin = rest_k + (hot[thing.name] - rest_k) * rise
        columns.append(band_radiance(kelvin, band=band))
    steady = not columns
    columns.append(np.full(1 if steady else time.size, rest))
    faces = tuple(_face_disc(face, pans) for face in plan.faces)
    return Things(declared, faces, np.stack(columns, axis=1))


def _by_size(things: tuple[Mirrored, ...]) -> tuple[Mirrored, ...]:
    """Return things from the smallest on: a lamp in the hood hides what is behind it."""
    return tuple(sorted(things, key=lambda one: float(one.width_m) * max(float(one.depth_m), 1e-3)))


def _rise(
    thing: Mirrored, pans: Sequence[PanHistory], plan: CookPlan, share: FloatArray
) -> FloatArray:
    """Return the share of its declared rise that a thing has over time."""
    if thing.follows == "hood":
        return followed(share, HOOD_METAL_TAU_S, start=0.0)
    if thing.follows == "lamp":
        return followed(np.full(share.size, float(plan.lamp_on)), LAMP_TAU_S, start=0.0)
    if thing.follows:
        lit = [one for one in pans if one.setting.burner.name == thing.follows]
        return knob(lit[0].setting, lit[0].time_s) if lit else np.zeros(share.size)
    return np.ones(share.size)


def _there(face: Face, time_s: FloatArray) -> BoolArray:
    begin = float(face.at_s)
    return np.asarray((time_s >= begin) & (time_s <= begin + float(face.for_s)))


def face_centre_m(face: Face, pans: Sequence[PanHistory]) -> tuple[float, float]:
    """Return where a face is: over its burner's pan, a little towards the cook."""
    over = next(
        (one for one in pans if one.setting.burner.name == face.burner), pans[0]
    ).setting.grid
    return over.centre_x_m, over.centre_y_m - FACE_BACK_M


def _face_disc(face: Face, pans: Sequence[PanHistory]) -> Mirrored:
    x, y = face_centre_m(face, pans)
    return Mirrored(
        name="face",
        shape="disc",
        temperature_k=Figure(FACE_K),
        emissivity_frac=Figure(FACE_EMISSIVITY),
        x_m=Figure(x),
        y_m=Figure(y),
        height_m=Figure(FACE_HEIGHT_M),
        width_m=Figure(2 * FACE_RADIUS_M),
    )
