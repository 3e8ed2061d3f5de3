"""What weakens radiance on its way to a head: steam over boiling pans, grease and mist on glass."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import Float32Array, FloatArray, IntArray
from trivet.constants import VAPOUR_J_KGK
from trivet.models.contents import table_band
from trivet.physics.geometry.optics import point_of_pixel
from trivet.physics.heat.water import saturation_pressure_pa
from trivet.physics.radiation.film import film_transmittance
from trivet.physics.radiation.mie import PlumeColumn, steam_transmittance, through_plume
from trivet.physics.radiation.path import condensed_transmittance
from trivet.physics.radiation.planck import band_radiance
from trivet.records.design import Design
from trivet.stages.simulate.draws import Repeat, SimulatedHead
from trivet.stages.simulate.history import PanHistory, flicker, wander
from trivet.stages.simulate.setting import COOK_STEP_S
from trivet.stages.simulate.surfaces import constants_of
from trivet.stages.simulate.surroundings import Air

# Steam over a boiling pan.
PLUME_M_S = 0.5  # own estimate: speed of vapour over a pan
DROPLET_SHARE = 0.03  # of the vapour that condenses in sight; own estimate
PLUME_M = 0.3  # own estimate: path through the column
DROPLET_M = 10e-6  # own estimate: droplets of fresh steam have 5 to 20 um
PLUME_K = 343.15  # own estimate: 70 C, between the boil and the room
FLICKER, FLICKER_S = 0.5, 1.0  # own estimate
DRIFT_M, DRIFT_S = 0.03, 3.0  # own estimate
MIDDLE_M = 0.15  # height of the column's middle over the rim; own estimate
STEAM_WEIGHT_K = 400.0  # own estimate: pan whose spectrum weighs what steam transmits
STEAM_TABLE = 65  # own estimate: points of the table of transmittance


def behind_steam(
    scene: Float32Array, pans: Sequence[PanHistory], view: SimulatedHead
) -> Float32Array:
    """Return the scene behind the steam of all boiling pans, (time, pixel)."""
    for one in pans:
        steam = _plume(one, view, slice(None))
        if steam is None:
            continue
        points, plume, table = steam
        scene = through_plume(
            scene,
            points_m=points,
            plume=plume,
            table_kg_m2=table,
            table_frac=_transmitted(table, view),
        )
    return scene


def steam_lost_frac(one: PanHistory, at: IntArray, view: SimulatedHead) -> FloatArray:
    """Return the share of each pixel's radiance that a pan's steam takes, (moment, pixel)."""
    scene = np.ones((at.size, view.lens.rows * view.lens.cols), dtype=np.float32)
    steam = _plume(one, view, at)
    if steam is None:
        return np.zeros(scene.shape)
    points, plume, table = steam
    transmitted = through_plume(
        scene,
        points_m=points,
        plume=dataclasses.replace(plume, glow=0.0),
        table_kg_m2=table,
        table_frac=_transmitted(table, view),
    )
    return np.asarray(1.0 - transmitted, dtype=np.float64)


def _plume(
    one: PanHistory, view: SimulatedHead, at: IntArray | slice
) -> tuple[FloatArray, PlumeColumn, FloatArray] | None:
    """Return points (pixel, 2), column at some moments and table of its water; None without."""
    water = droplets_kg_m2(one, view.cook) * float(view.cook.plan.mismatch.plume_scale)
    if not water.any():
        return None
    grid = one.setting.grid
    middle = _drift_m(one, view.cook)[at] + np.array([grid.centre_x_m, grid.centre_y_m])
    glow = float(band_radiance(_droplet_k(view.cook.design), band=view.band))
    column = PlumeColumn(water[at], middle, grid.radius_m, glow)
    table = np.linspace(0.0, float(water.max()), STEAM_TABLE)
    return _plume_points_m(one, view), column, table


def _plume_points_m(one: PanHistory, view: SimulatedHead) -> FloatArray:
    """Return where the pixels' lines of sight cross the middle of a pan's plume, (pixel, 2)."""
    height = min(one.setting.grid.depth_m + MIDDLE_M, 0.9 * view.unit.pose.height_m)
    index = np.moveaxis(np.indices((view.lens.rows, view.lens.cols)), 0, -1)
    points = point_of_pixel(
        index, lens=view.lens, pose=view.unit.pose, plane_height_m=height
    ).reshape(-1, 3)
    return np.ascontiguousarray(points[:, :2])


def _transmitted(table: FloatArray, view: SimulatedHead) -> FloatArray:
    steam = view.cook.design.surroundings.steam
    return steam_transmittance(
        table,
        diameter_m=DROPLET_M if steam is None else float(steam.droplet_diameter_m),
        water=constants_of("water"),
        temperature_k=STEAM_WEIGHT_K,
        band=table_band(view.band),
    )


def _droplet_k(design: Design) -> float:
    steam = design.surroundings.steam
    return PLUME_K if steam is None else float(steam.temperature_k)


def droplets_kg_m2(one: PanHistory, cook: Repeat) -> FloatArray:
    """Return the flickering droplets along a line of sight through the steam, (time,).

    They come from the boiling rate alone; the design's own steam is what predictions use.
    """
    lost = -np.gradient(one.mass_kg, COOK_STEP_S) / float(one.setting.area_m2.sum())
    generator = cook.stream(f"steam {one.setting.burner.name}")
    vapour = np.maximum(lost, 0.0) / PLUME_M_S
    changing = flicker(one.time_s.size, sigma=FLICKER, tau_s=FLICKER_S, generator=generator)
    return np.asarray(DROPLET_SHARE * vapour * changing * PLUME_M)


def _drift_m(one: PanHistory, cook: Repeat) -> FloatArray:
    """Return where the column's middle has drifted to, (time, 2)."""
    generator = cook.stream(f"drift {one.setting.burner.name}")
    size = one.time_s.size
    return np.stack(
        [wander(size, sigma=DRIFT_M, tau_s=DRIFT_S, generator=generator) for _ in range(2)], axis=1
    )


# The window.
GREASE_WEIGHT_K = 473.15  # own estimate: pan whose spectrum weighs what grease transmits
HOOD_M3_S = 0.08  # air through the hood; own estimate: 290 m3/h
# Share a pascal and second; own estimate: vapour arrives at 5 mm/s and makes drops of 20 um.
MIST_PER_PA_S = 4e-6  # own estimate, as above
MIST_FULL = 1.5  # own estimate: droplets then run off


@dataclass(frozen=True)
class WindowState:
    """The window at the simulator's moments, (time,)."""

    transmittance: FloatArray
    glow: FloatArray
    """Radiance that it adds: its own and the housing that it reflects. [W/m2/sr]"""


def window_state(pans: Sequence[PanHistory], *, view: SimulatedHead, air: Air) -> WindowState:
    """Return what the window passes and adds over a cook."""
    head, unit, band, cook = view.head, view.unit, view.band, view.cook
    grease = float(head.window.grease_growth_m) * float(cook.plan.window_age_weeks)
    clear = unit.transmittance
    if grease > 0.0:
        clear *= float(
            film_transmittance(
                grease,
                film=constants_of("oil"),
                temperature_k=GREASE_WEIGHT_K,
                band=table_band(band),
            )
        )
    window_k = air.housing_k + unit.window_rise_k
    transmitted = np.full(air.time_s.size, clear)
    if head.window.condenses:
        transmitted = transmitted * condensed_transmittance(mist(pans, cook, window_k))
    reflected = min(unit.reflectance, 1.0 - float(clear))
    own = (1.0 - reflected - transmitted) * band_radiance(window_k, band=band)
    return WindowState(
        transmitted, np.asarray(own + reflected * band_radiance(air.housing_k, band=band))
    )


def mist(pans: Sequence[PanHistory], cook: Repeat, window_k: FloatArray) -> FloatArray:
    """Return the share of the window under condensed droplets, (time,).

    It grows with the excess of the vapour's pressure at the hood over that at the
    window, and dries by the same law.
    """
    steam = np.asarray(sum(np.maximum(-np.gradient(one.mass_kg, COOK_STEP_S), 0.0) for one in pans))
    humid = float(cook.design.surroundings.humidity_frac)
    room_pa = humid * float(saturation_pressure_pa(cook.room.ambient_k))
    vapour = room_pa + steam / HOOD_M3_S * VAPOUR_J_KGK * cook.room.ambient_k
    growth = MIST_PER_PA_S * COOK_STEP_S * (vapour - saturation_pressure_pa(window_k))
    out, covered = np.empty(window_k.size), 0.0
    for n, more in enumerate(growth.tolist()):
        covered = min(max(covered + more, 0.0), MIST_FULL)
        out[n] = covered
    return out
