"""What heats the pans of a cook and what takes the heat away, as the simulator wants it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.facts.pans import material
from trivet.physics.heat.burners import BURNERS, level_frac, pan_power_w, pulsed_level
from trivet.physics.heat.pan.model import Control, Hob, Losses, PanBase, PanWall, cell_centres
from trivet.physics.heat.transfer import (
    CladSheet,
    ConvectionLine,
    Facing,
    clad_sheet,
    convection_line,
    gap_conductance_w_m2k,
)
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import COOK_STEP_S, N_R, N_THETA, PanSetting

BELOW_RISE_K = 20.0  # own estimate: what lies under a pan on a grate, over the room
BOTTOM_EMISSIVITY = 0.6  # own estimate: used bases
PULSE_S = 4.0  # own estimate: common period of inverters below their lowest steady power
KNOWN_AT_K = 150.0  # own estimate: rise at which the design's coefficient of convection is meant
INNER_SHARE = 0.5  # of the wall's inner face, which looks at itself; own estimate
WET_WALL_W_M2K = 500.0  # own estimate: natural convection of water at a wall
UNDER_GLASS_W_M2K = 3.0  # own estimate: insulated from below
LIMITER_HYSTERESIS_K = 40.0  # own estimate: a rod limiter
GAP_EXCHANGE = 0.6  # own estimate: two grey faces of 0.75
# Own estimate of an element of 20 cm: half a kilogram of steel and magnesia at 0.6 kJ/kg/K.
COIL_J_M2K, COIL_CONTACT_W_M2K, COIL_GAP_M = 9e3, 150.0, 5e-3
BOWL_J_M2K, BOWL_GAP_M = 1e3, 0.02  # own estimate: sheet under the coil
THERMOSTAT_HYSTERESIS_K = 5.0  # own estimate
# Own estimate: usual shares of a base of 2.6 mm.
TRI_PLY = (("stainless-304", 0.4), ("aluminium", 1.8), ("stainless-304", 0.4))


def power_w(one: PanSetting, time_s: FloatArray) -> FloatArray:
    """Return the heat that the knob asks for at every step, into a centred pan."""
    level = knob(one, time_s)
    if BURNERS[one.burner.kind].pulses:
        floor = float(one.burner.steady_from_frac)
        level = pulsed_level(level, step_s=COOK_STEP_S, floor_frac=floor, period_s=PULSE_S)
    return pan_power_w(
        level, rated_w=float(one.burner.power_w), efficiency_frac=one.efficiency_frac
    )


def knob(one: PanSetting, time_s: npt.ArrayLike) -> FloatArray:
    """Return the level at which the knob stands at given times."""
    schedule = one.plan.schedule
    return level_frac(
        time_s,
        change_s=[float(step.at_s) for step in schedule],
        level=[float(step.level_frac) for step in schedule],
    )


def turns(one: PanSetting, steps: int) -> list[int]:
    """Return the steps at which the knob of a gas burner is turned: the flames change shape."""
    if one.burner.kind != "gas":
        return []
    found = [round(float(step.at_s) / COOK_STEP_S) for step in one.plan.schedule]
    return [at for at in found if at < steps]


def control(settings: Sequence[PanSetting]) -> Control:
    """Return thermostats and the lag of the heating elements."""
    hold = [one.plan.thermostat_k for one in settings]
    return Control(
        off_above_k=np.array([1e6 if at is None else float(at) for at in hold]),
        hysteresis_k=THERMOSTAT_HYSTERESIS_K,
        lag_s=np.array([BURNERS[one.burner.kind].element_tau_s for one in settings]),
    )


def sheet_of(one: PanSetting) -> CladSheet:
    """Return the base as drawn: its layers, or one material."""
    layers = [(layer.material, float(layer.thickness_m)) for layer in one.pan.layers]
    if not layers:
        layers = (
            list(TRI_PLY) if one.material.name == "clad-tri-ply" else [(one.material.name, 1.0)]
        )
    metals = [material(name) for name, _ in layers]
    thick = np.array([share for _, share in layers])
    return clad_sheet(
        thick * (one.thickness_m / thick.sum()),
        conductivity_w_mk=[metal.conductivity_w_mk for metal in metals],
        density_kg_m3=[metal.density_kg_m3 for metal in metals],
        specific_heat_j_kgk=[metal.specific_heat_j_kgk for metal in metals],
    )


def bases(settings: Sequence[PanSetting], room: Kitchen) -> PanBase:
    """Return bases and walls, of which no heat washes the latter (see ``washed``)."""
    sheets = [sheet_of(one) for one in settings]
    walls = np.array([_wall(one, sheet, room) for one, sheet in zip(settings, sheets, strict=True)])
    return PanBase(
        radius_m=np.array([one.radius_m for one in settings]),
        sheet_w_k=np.array([sheet.sheet_w_k for sheet in sheets]),
        areal_j_m2k=np.array([sheet.areal_j_m2k for sheet in sheets]),
        face_m2k_w=np.array([sheet.face_m2k_w for sheet in sheets]),
        cross_m2k_w=np.array([sheet.cross_m2k_w for sheet in sheets]),
        wall=PanWall(
            height_m=walls[:, 0],
            sheet_w_k=walls[:, 1],
            areal_j_m2k=walls[:, 2],
            loss_w_m2k=walls[:, 3],
            loss_slope_w_m2k2=walls[:, 4],
            emissivity=walls[:, 5],
            wet_w_m2k=WET_WALL_W_M2K,
        ),
    )


def washed(base: PanBase, wall_frac: FloatArray) -> PanBase:
    """Return the same with a share (pan,) of the heat that washes the walls."""
    if base.wall is None:
        return base
    return replace(base, wall=replace(base.wall, heat_frac=wall_frac))


def _wall(one: PanSetting, sheet: CladSheet, room: Kitchen) -> tuple[float, ...]:
    """Return height, sheet, areal capacity, loss, its slope and emissivity of the wall."""
    height, faces = float(one.pan.depth_m), 1.0 + INNER_SHARE
    thin = 1.0
    if one.pan.wall_thickness_m is not None:
        thin = float(one.pan.wall_thickness_m) / one.thickness_m
    line = scaled(room, one, facing="side", length_m=height)
    return (
        height, thin * sheet.sheet_w_k, thin * sheet.areal_j_m2k, faces * line.at_rest_w_m2k,
        faces * line.slope_w_m2k2, faces * one.bare_emissivity,
    )  # fmt: skip


def scaled(room: Kitchen, one: PanSetting, *, facing: Facing, length_m: float) -> ConvectionLine:
    """Return a line of convection, scaled so that the upper face has the design's coefficient."""
    ambient = room.ambient_k
    known = convection_line(ambient_k=ambient, length_m=one.radius_m / 2.0, facing="up")
    line = convection_line(ambient_k=ambient, length_m=length_m, facing=facing)
    times = room.convection_w_m2k / known.at(KNOWN_AT_K)
    return ConvectionLine(times * line.at_rest_w_m2k, times * line.slope_w_m2k2, line.error_frac)


def losses(settings: Sequence[PanSetting], room: Kitchen) -> Losses:
    """Return the losses; the bare face radiates as its band emissivity says (assumed grey)."""
    top = [scaled(room, one, facing="up", length_m=one.radius_m / 2.0) for one in settings]
    down = [scaled(room, one, facing="down", length_m=one.radius_m / 2.0) for one in settings]
    return Losses(
        ambient_k=room.ambient_k,
        surround_k=room.reflected_k,
        below_k=room.ambient_k + BELOW_RISE_K,
        top_w_m2k=np.array([line.at_rest_w_m2k for line in top]),
        top_slope_w_m2k2=np.array([line.slope_w_m2k2 for line in top]),
        top_emissivity=np.array([one.bare_emissivity for one in settings]),
        bottom_w_m2k=np.array([line.at(KNOWN_AT_K) for line in down]),
        bottom_emissivity=BOTTOM_EMISSIVITY,
        hob=None if all(one.burner.kind == "gas" for one in settings) else _hob(settings),
    )


def _hob(settings: Sequence[PanSetting]) -> Hob:
    """Return glass or coil under each pan; gas has none, its pan stands on a grate."""
    kinds = [one.burner.kind for one in settings]
    glass = material("glass-ceramic")
    heat = glass.density_kg_m3 * glass.specific_heat_j_kgk
    thick = np.array([float(one.burner.glass_thickness_m) for one in settings])
    coil = np.array([kind == "coil" for kind in kinds])
    gap, touch, areal = (np.empty((N_R, N_THETA, len(settings))) for _ in range(3))
    ring, _ = cell_centres(N_R, N_THETA)
    for k, one in enumerate(settings):
        flat = gap_conductance_w_m2k(ring, bow_m=float(one.pan.bow_m))[:, None]
        gap[..., k], touch[..., k], areal[..., k] = flat, 0.0, heat * thick[k]
        if coil[k]:
            over = np.hypot(one.x_m + one.offset_m[0], one.y_m + one.offset_m[1])
            wound = (over <= one.pattern.outer_radius_m).reshape(N_R, N_THETA)
            open_gap = np.where(wound, COIL_GAP_M, BOWL_GAP_M)
            gap[..., k] = gap_conductance_w_m2k(0.0, bow_m=0.0, rough_m=1.0) / open_gap
            bowed = flat / gap_conductance_w_m2k(ring, bow_m=0.0)[:, None]
            touch[..., k] = np.where(wound, COIL_CONTACT_W_M2K * bowed, 0.0)
            areal[..., k] = np.where(wound, COIL_J_M2K, BOWL_J_M2K)
    return Hob(
        gap_w_m2k=gap,
        areal_j_m2k=areal,
        contact_w_m2k=touch,
        exchange_frac=GAP_EXCHANGE,
        series_m2k_w=np.where(coil, 0.0, 0.5 * thick / glass.conductivity_w_mk),
        heat_frac=np.array([BURNERS[kind].hob_heat_frac for kind in kinds]),
        loss_w_m2k=UNDER_GLASS_W_M2K,
        limit_k=np.array(
            [float(one.burner.glass_limit_k) if kind == "radiant" else math.inf
             for one, kind in zip(settings, kinds, strict=True)]
        ),
        hysteresis_k=LIMITER_HYSTERESIS_K,
        on=np.array([kind != "gas" for kind in kinds]),
    )  # fmt: skip
