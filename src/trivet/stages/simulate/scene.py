"""What a head has before it: emissivity and radiance of every surface, as its pixels see it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from trivet.facts.optical import optical_table
from trivet.facts.surfaces import surface
from trivet.kernels.geometry.lens import Lens
from trivet.kernels.geometry.optics import Pose, point_of_pixel, view_angle_rad
from trivet.kernels.geometry.sampling import sampling_matrix
from trivet.kernels.heat.loads import WATER_FILM_KG_M2
from trivet.kernels.radiation.film import OpticalConstants, film_emissivity, surface_band_emissivity
from trivet.kernels.radiation.path import column_transmittance, through_window
from trivet.kernels.radiation.planck import Band, band_radiance
from trivet.kernels.radiation.render import disc_cover, mixed_radiance, pixel_radiance
from trivet.kernels.sensor.sensornoise import wander_k
from trivet.records.design import Design
from trivet.stages.simulate.cooking import STEP_S, PanHistory
from trivet.stages.simulate.draws import HeadUnit, Kitchen
from trivet.stages.simulate.setting import PanSetting

FloatArray = npt.NDArray[np.float64]

# Steam over a boiling pan and a hand over the hob: assumed, common practice, no source.
PLUME_M_S = 0.5
DROPLET_SHARE = 0.03
PLUME_M = 0.3
DROPLET_M2_KG = 172.0  # 10 um droplets at 10 um, Mie calculation
STEAM_K = 343.0
FLICKER, FLICKER_S = 0.5, 1.0
HAND_K, HAND_RADIUS_M, HAND_SECONDS, HAND_HEIGHT_M = 306.0, 0.06, 2.0, 0.15
HOB_TAU_S = 200.0
WALL_SHARE = 0.7  # of the rim's rise: mean over the wall
FOAM_K = (368.0, 373.0, 403.0, 413.0)  # butter foams while its water boils off
PLANCK_WEIGHT_K = 450.0
FOOD_SURFACE = {"patty": "meat", "vegetables": "vegetables", "egg": "egg"}


@dataclass(frozen=True)
class View:
    """One head looking at the pans of a cook."""

    unit: HeadUnit
    lens: Lens
    band: Band
    room: Kitchen


@lru_cache(maxsize=8)
def constants_of(name: str) -> OpticalConstants:
    """Return the optical constants of a liquid."""
    table = optical_table(name)
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def emissivity_of(one: PanHistory, *, pose: Pose, band: Band) -> FloatArray:
    """Return the band emissivity of what faces up, (time, cell)."""
    setting = one.setting
    eps = np.broadcast_to(_liquid_emissivity(one, pose, band), one.pan_k.shape)
    if setting.plan.food is None or not one.food.any():
        return np.asarray(eps)
    cover = one.food[:, None] & setting.food_cover[None, :]
    return np.where(cover, surface(FOOD_SURFACE[setting.plan.food.kind]).emissivity, eps)


def _liquid_emissivity(one: PanHistory, pose: Pose, band: Band) -> FloatArray:
    """Return the emissivity of pan and liquid, (time or 1, cell)."""
    setting, bare = one.setting, one.setting.bare_emissivity
    angle = _angles(setting, pose)
    if setting.base.contents == "water":
        wet = np.clip(one.mass_kg / float(setting.area_m2.sum()) / WATER_FILM_KG_M2, 0.0, 1.0)
        water = surface_band_emissivity(
            constants_of("water"), angle_rad=angle, temperature_k=350.0, band=band
        )
        return np.asarray(wet[:, None] * water + (1.0 - wet[:, None]) * bare)
    if not setting.film_m.any():
        return np.full((1, setting.area_m2.size), bare)
    film = film_emissivity(
        setting.film_m,
        film=constants_of("oil"),
        substrate=bare,
        temperature_k=PLANCK_WEIGHT_K,
        band=band,
        angle_rad=angle,
    )
    if setting.base.contents != "butter":
        return np.asarray(film[None, :])
    mean = (one.surface_k * setting.area_m2).sum(axis=1) / setting.area_m2.sum()
    foam = np.interp(mean, FOAM_K, (0.0, 1.0, 1.0, 0.0))[:, None]
    return np.asarray(foam * surface("butter-foam").emissivity + (1.0 - foam) * film)


def _angles(setting: PanSetting, pose: Pose) -> FloatArray:
    grid = setting.grid
    points = np.stack(
        [
            grid.centre_x_m + setting.x_m,
            grid.centre_y_m + setting.y_m,
            np.full(setting.x_m.size, grid.fill_m),
        ],
        axis=-1,
    )
    return view_angle_rad(points, pose=pose)


def scene_radiance(
    pans: Sequence[PanHistory], *, design: Design, view: View, generator: np.random.Generator
) -> FloatArray:
    """Return the radiance in front of the window at the simulator's moments, (time, pixel)."""
    unit, band, room = view.unit, view.band, view.room
    sampling = sampling_matrix(
        tuple(one.setting.grid for one in pans),
        lens=view.lens,
        pose=unit.pose,
        sigma_px=unit.sigma_px,
        strips_per_px=4,
        steps_per_px=4,
    )
    mirrored = float(band_radiance(room.reflected_k, band=band))
    surfaces = np.full((pans[0].time_s.size, sampling.matrix.shape[1]), mirrored)
    for k, one in enumerate(pans):
        eps = emissivity_of(one, pose=unit.pose, band=band)
        cells = mixed_radiance(one.surface_k, emissivity=eps, mirrored=mirrored, band=band)
        clear = steam_transmittance(one, generator)
        cells = through_window(cells, transmittance=clear[:, None], window_k=STEAM_K, band=band)
        first = sampling.cell_start[k]
        surfaces[:, first : first + cells.shape[1]] = cells
        surfaces[:, sampling.wall_column[k]] = mixed_radiance(
            _wall_k(one, room),
            emissivity=one.setting.bare_emissivity,
            mirrored=mirrored,
            band=band,
        )
    surfaces[:, sampling.hob_column] = mixed_radiance(
        hob_k(pans, room),
        emissivity=surface(design.cooktop.surface).emissivity,
        mirrored=mirrored,
        band=band,
    )
    return pixel_radiance(sampling.matrix, surfaces=surfaces)


def _wall_k(one: PanHistory, room: Kitchen) -> FloatArray:
    rim = one.pan_k[:, -32:].mean(axis=1)
    return np.asarray(room.ambient_k + WALL_SHARE * (rim - room.ambient_k))


def hob_k(pans: Sequence[PanHistory], room: Kitchen) -> FloatArray:
    """Return the temperature of the hob beside the pans: it follows the heat slowly."""
    rated = sum(float(one.setting.burner.power_w) for one in pans)
    level = sum(one.heat_w for one in pans) / max(rated, 1e-9)
    out = np.empty(pans[0].time_s.size)
    rise, keep = 0.0, np.exp(-STEP_S / HOB_TAU_S)
    for n, heat in enumerate(np.asarray(level)):
        out[n] = room.ambient_k + rise
        rise = keep * rise + (1.0 - keep) * room.hob_rise_k * float(heat) / 0.4
    return out


def steam_transmittance(one: PanHistory, generator: np.random.Generator) -> FloatArray:
    """Return the flickering transmittance of the steam over a pan, (time,)."""
    flicker = wander_k(
        one.time_s.size, step_s=STEP_S, sigma_k=FLICKER, tau_s=FLICKER_S, generator=generator
    )
    lost = -np.gradient(one.mass_kg, STEP_S) / float(one.setting.area_m2.sum())
    vapour = np.maximum(lost, 0.0) / PLUME_M_S
    thick = DROPLET_SHARE * vapour * np.exp(flicker - 0.5 * FLICKER**2)
    return np.asarray(
        column_transmittance(DROPLET_M2_KG, concentration_kg_m3=thick, path_m=PLUME_M)
    )


def hand_cover(
    moments_s: FloatArray,
    *,
    hands_at_s: Sequence[float],
    over: PanSetting,
    view: View,
) -> FloatArray:
    """Return how much of each pixel a hand covers, (time, pixel)."""
    lens, pose = view.lens, view.unit.pose
    index = np.moveaxis(np.indices((lens.rows, lens.cols)), 0, -1).astype(np.float64)
    plane = point_of_pixel(index, lens=lens, pose=pose, plane_height_m=HAND_HEIGHT_M)
    x, y = plane[..., 0].ravel(), plane[..., 1].ravel()
    soft = float(np.nanmedian(np.abs(np.diff(plane[..., 0], axis=1))))
    cover = np.zeros((moments_s.size, x.size))
    for at in hands_at_s:
        for n in np.flatnonzero((moments_s >= at) & (moments_s <= at + HAND_SECONDS)):
            share = (moments_s[n] - at) / HAND_SECONDS
            reach = 1.0 - abs(2.0 * share - 1.0) * 2.0  # in from the front, and back
            centre = (over.grid.centre_x_m, over.grid.centre_y_m - 0.12 * (1.0 - reach))
            cover[n] = disc_cover(x, y_m=y, centre_m=centre, radius_m=HAND_RADIUS_M, soft_m=soft)
    return cover


def hand_radiance(band: Band, *, mirrored: float) -> float:
    """Return the radiance of a hand."""
    eps = surface("hand").emissivity
    return float(mixed_radiance(HAND_K, emissivity=eps, mirrored=mirrored, band=band))
