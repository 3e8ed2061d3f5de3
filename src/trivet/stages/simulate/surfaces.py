"""The emissivity of what faces up in a pan, cell by cell and over time."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.pans import optical_table, surface
from trivet.physics.geometry.optics import Pose, view_angle_rad
from trivet.physics.heat.boiling import browned_frac, foam_frac
from trivet.physics.heat.loads import WATER_FILM_KG_M2
from trivet.physics.radiation.film import OpticalConstants, film_emissivity, surface_band_emissivity
from trivet.physics.radiation.planck import Band
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.setting import COOK_STEP_S, PanSetting

PLANCK_WEIGHT_K = 450.0  # own estimate: pan whose spectrum weighs the emissivity of films
SOLIDS_COVER_FRAC = 0.15  # of a butter film, by its browned milk solids: own estimate
SOLIDS_EMISSIVITY = 0.95  # own estimate: as burnt food
THICKNESS_NODES, ANGLE_NODES = 96, 9  # own estimate: within 0.001 of the film law
THINNEST_M = 1e-7  # own estimate: emits nothing in the infrared
SAME = 2e-4
"""Own estimate: a film whose emissivity moves less over a whole cook is taken as standing still."""


@lru_cache(maxsize=8)
def constants_of(name: str) -> OpticalConstants:
    """Return the optical constants of a liquid."""
    table = optical_table(name)
    return OpticalConstants(table.wavelength_m, table.n, table.k, table.name)


def emissivity_of(
    one: PanHistory, *, pose: Pose, band: Band, film_scale: float = 1.0
) -> FloatArray:
    """Return the band emissivity of what faces up: liquid, foam, food or lid.

    Shape (time, cell); one row seen as many (stride 0) where nothing changes.
    ``film_scale`` multiplies the thickness of oil.
    """
    eps = np.broadcast_to(_liquid_emissivity(one, pose, band, film_scale), one.pan_k.shape)
    if one.food.any():
        eps = _with_food(one, eps)
    if one.lidded.any():
        lid = surface(one.setting.pan.lid_surface).emissivity
        eps = np.where(one.lidded[:, None], lid, eps)
    return np.asarray(eps)


def _with_food(one: PanHistory, eps: FloatArray) -> FloatArray:
    """Put each piece of food over what it covers while it is in the pan."""
    out = np.array(eps)
    index = np.arange(one.time_s.size)
    for piece in one.setting.pieces:
        into, _, last = piece.moments(COOK_STEP_S)
        there = (index >= into) & (index < last)
        out[np.ix_(there, piece.cover)] = surface(piece.food.surface).emissivity
    return out


def _liquid_emissivity(one: PanHistory, pose: Pose, band: Band, film_scale: float) -> FloatArray:
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
    marks = _film_emissivity(
        film_scale * one.film.thickness_m, bare=bare, angle_rad=angle, band=band
    )
    film = _over_time(marks, one.film.time_s, one.time_s)
    return film if setting.base.contents != "butter" else _with_foam(one, film)


def _film_emissivity(
    thickness_m: FloatArray, *, bare: float, angle_rad: FloatArray, band: Band
) -> FloatArray:
    """Return the emissivity of films, (mark, cell), from a table over thickness and angle.

    The table is linear in the logarithm of the thickness: within 0.001 of the film law.
    """
    thick = np.geomspace(THINNEST_M, max(2.0 * THINNEST_M, thickness_m.max()), THICKNESS_NODES)
    low, high = float(angle_rad.min()), float(angle_rad.max()) + 1e-9
    table = film_emissivity(
        thick[:, None],
        film=constants_of("oil"),
        substrate=bare,
        temperature_k=PLANCK_WEIGHT_K,
        band=band,
        angle_rad=np.linspace(low, high, ANGLE_NODES),
    )
    step = np.log(thick[1] / thick[0])
    row = np.log(np.maximum(thickness_m, THINNEST_M) / THINNEST_M) / step
    i = np.clip(row.astype(np.int64), 0, THICKNESS_NODES - 2)
    col = np.broadcast_to((angle_rad - low) / (high - low) * (ANGLE_NODES - 1), row.shape)
    j = np.clip(col.astype(np.int64), 0, ANGLE_NODES - 2)
    u, v = row - i, col - j
    near = (1.0 - v) * table[i, j] + v * table[i, j + 1]
    far = (1.0 - v) * table[i + 1, j] + v * table[i + 1, j + 1]
    return np.where(thickness_m > 0.0, (1.0 - u) * near + u * far, bare)


def _over_time(marks: FloatArray, mark_s: FloatArray, time_s: FloatArray) -> FloatArray:
    """Return what is known at marks at every moment; one row where it stands still."""
    if np.abs(marks - marks[0]).max() < SAME:
        return marks[:1]
    k = np.clip(np.searchsorted(mark_s, time_s, side="right") - 1, 0, len(mark_s) - 2)
    share = ((time_s - mark_s[k]) / (mark_s[k + 1] - mark_s[k]))[:, None]
    return np.asarray((1.0 - share) * marks[k] + share * marks[k + 1])


def _with_foam(one: PanHistory, film: FloatArray) -> FloatArray:
    """Return butter: foam by the rate at which water boils off, browned solids in the fat."""
    area = one.setting.area_m2
    foam = foam_frac(-np.gradient(one.mass_kg, COOK_STEP_S) / area.sum())[:, None]
    mean = (one.surface_k * area).sum(axis=1) / area.sum()
    brown = SOLIDS_COVER_FRAC * browned_frac(mean, step_s=COOK_STEP_S)[:, None]
    fat = film + brown * (SOLIDS_EMISSIVITY - film)
    return np.asarray(foam * surface("butter-foam").emissivity + (1.0 - foam) * fat)


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
