"""Steam over boiling pans: how much, where it drifts, and what passes it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.arrays import Float32Array, FloatArray, IntArray
from trivet.models.contents import table_band
from trivet.physics.geometry.optics import point_of_pixel
from trivet.physics.radiation.mie import PlumeColumn, steam_transmittance, through_plume
from trivet.physics.radiation.planck import Band, band_radiance
from trivet.physics.sensor.readout import wander_k
from trivet.records.design import Design
from trivet.stages.simulate.draws import stream
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.setting import STEP_S
from trivet.stages.simulate.surfaces import constants_of
from trivet.stages.simulate.views import HeadView

# Steam over a boiling pan: assumed, common practice, no source.
PLUME_M_S = 0.5
DROPLET_SHARE = 0.03
PLUME_M = 0.3
DROPLET_M = 10e-6
STEAM_K = 343.15
FLICKER, FLICKER_S = 0.5, 1.0
DRIFT_M, DRIFT_S = 0.03, 3.0
MIDDLE_M = 0.15  # height of the column's middle over the rim
SCENE_K = 400.0
TABLE = 65


def behind_steam(
    scene: Float32Array,
    pans: Sequence[PanHistory],
    *,
    design: Design,
    view: HeadView,
    name: str,
    scale: float,
) -> Float32Array:
    """Return the scene behind the steam of all boiling pans, (time, pixel)."""
    for one in pans:
        water = droplets_kg_m2(one, design=design, name=name) * scale
        if not water.any():
            continue
        grid = one.setting.grid
        drift = _drift_m(one, design=design, name=name)
        table = np.linspace(0.0, float(water.max()), TABLE)
        scene = through_plume(
            scene,
            points_m=plume_points_m(one, view),
            plume=PlumeColumn(
                water,
                drift + np.array([grid.centre_x_m, grid.centre_y_m]),
                grid.radius_m,
                float(band_radiance(_droplet_k(design), band=view.band)),
            ),
            table_kg_m2=table,
            table_frac=_passed(table, design, view.band),
        )
    return scene


def plume_points_m(one: PanHistory, view: HeadView) -> FloatArray:
    """Return where the pixels' lines of sight cross the middle of a pan's plume, (pixel, 2)."""
    height = min(one.setting.grid.depth_m + MIDDLE_M, 0.9 * view.unit.pose.height_m)
    index = np.moveaxis(np.indices((view.lens.rows, view.lens.cols)), 0, -1)
    points = point_of_pixel(
        index, lens=view.lens, pose=view.unit.pose, plane_height_m=height
    ).reshape(-1, 3)
    return np.ascontiguousarray(points[:, :2])


def steam_lost_frac(
    one: PanHistory,
    at: IntArray,
    *,
    design: Design,
    view: HeadView,
    name: str,
    scale: float,
) -> FloatArray:
    """Return the share of each pixel's radiance that a pan's steam takes, (moment, pixel)."""
    points = plume_points_m(one, view)
    water = droplets_kg_m2(one, design=design, name=name) * scale
    if not water.any():
        return np.zeros((at.size, len(points)))
    grid, table = one.setting.grid, np.linspace(0.0, float(water.max()), TABLE)
    drift = _drift_m(one, design=design, name=name)[at]
    passed = through_plume(
        np.ones((at.size, len(points)), dtype=np.float32),
        points_m=points,
        plume=PlumeColumn(
            water[at], drift + np.array([grid.centre_x_m, grid.centre_y_m]), grid.radius_m, 0.0
        ),
        table_kg_m2=table,
        table_frac=_passed(table, design, view.band),
    )
    return np.asarray(1.0 - passed, dtype=np.float64)


def _passed(table: FloatArray, design: Design, band: Band) -> FloatArray:
    steam = design.surroundings.steam
    return steam_transmittance(
        table,
        diameter_m=DROPLET_M if steam is None else float(steam.droplet_diameter_m),
        water=constants_of("water"),
        temperature_k=SCENE_K,
        band=table_band(band),
    )


def _droplet_k(design: Design) -> float:
    steam = design.surroundings.steam
    return STEAM_K if steam is None else float(steam.temperature_k)


def droplets_kg_m2(one: PanHistory, *, design: Design, name: str) -> FloatArray:
    """Return the flickering droplets along a line of sight through the steam, (time,).

    They come from the boiling rate alone; the design's own steam is what predictions use.
    """
    lost = -np.gradient(one.mass_kg, STEP_S) / float(one.setting.area_m2.sum())
    generator = stream(design.project.seed, cook=name, name=f"steam {one.setting.burner.name}")
    flicker = wander_k(
        one.time_s.size, step_s=STEP_S, sigma_k=FLICKER, tau_s=FLICKER_S, generator=generator
    )
    vapour = np.maximum(lost, 0.0) / PLUME_M_S
    return np.asarray(DROPLET_SHARE * vapour * np.exp(flicker - 0.5 * FLICKER**2) * PLUME_M)


def _drift_m(one: PanHistory, *, design: Design, name: str) -> FloatArray:
    """Return where the column's middle has drifted to, (time, 2)."""
    generator = stream(design.project.seed, cook=name, name=f"drift {one.setting.burner.name}")
    return np.stack(
        [
            wander_k(
                one.time_s.size, step_s=STEP_S, sigma_k=DRIFT_M, tau_s=DRIFT_S, generator=generator
            )
            for _ in range(2)
        ],
        axis=1,
    )
