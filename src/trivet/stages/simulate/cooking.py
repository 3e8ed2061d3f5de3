"""The heat balance of a cook: pans, contents and food over time."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import lfilter

from trivet.kernels.heat.burners import level_frac, limited_level, pan_power_w
from trivet.kernels.heat.cellstats import hottest_mean_k
from trivet.kernels.heat.loads import FoodPatch, contact_w_m2k, stack_layers
from trivet.kernels.heat.thermal import (
    EnergyLedger,
    Losses,
    PanBase,
    PanRun,
    PanState,
    RunSettings,
    cook_pans,
)
from trivet.records.cook import CookPlan
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import N_R, N_THETA, PanSetting

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

STEP_S = 0.5
CHUNK_S = 30.0
# Time constants of the heat after the knob, a limiter's cycle: assumed, no source.
HEATER_TAU_S = {"gas": 1.0, "induction": 0.5, "coil": 40.0, "radiant": 30.0}
LIMITER = {"period_s": 40.0, "duty_frac": 0.7, "after_s": 420.0}
BELOW_RISE_K = 20.0
BOTTOM_EMISSIVITY = 0.6
FOOD_START_K = 278.15
FOOD = {  # density, specific heat, conductivity, share of water: meat after Choi and Okos
    "patty": (1050.0, 3560.0, 0.5, 0.6),
    "vegetables": (600.0, 3900.0, 0.4, 0.85),
    "egg": (1030.0, 3500.0, 0.5, 0.75),
}
CONTACT_NODE_M = 0.002
CONTACT = {"start_w_m2k": 250.0, "peak_w_m2k": 600.0, "peak_s": 60.0, "decay_s": 120.0}


@dataclass(frozen=True)
class PanHistory:
    """What one pan did: arrays (time,) and (time, cell)."""

    setting: PanSetting
    time_s: FloatArray
    pan_k: FloatArray
    surface_k: FloatArray
    """What faces up: pan, liquid or food."""
    mass_kg: FloatArray
    """Water left."""
    heat_w: FloatArray
    food: BoolArray
    """(time,) whether the food lies in the pan."""


@dataclass(frozen=True)
class Cooked:
    """A whole cook and why it ended early, if it did."""

    pans: tuple[PanHistory, ...]
    ledgers: tuple[EnergyLedger, ...]
    stopped: str


def cooked(settings: Sequence[PanSetting], *, plan: CookPlan, room: Kitchen) -> Cooked:
    """Return the histories of all pans of a cook, up to its end or its stop temperature."""
    steps = max(2, round(float(plan.duration_s) / STEP_S))
    middle = np.asarray((np.arange(steps) + 0.5) * STEP_S, dtype=np.float64)
    power = np.stack([_power(one, middle) for one in settings], axis=1)
    runs: list[PanRun] = []
    state, stopped = None, ""
    bounds = _bounds(settings, steps)
    for first, last in itertools.pairwise(bounds):
        state, food = _prepared(settings, state, first, last)
        run = cook_pans(
            np.stack([one.flux.shape_m2 for one in settings], axis=2),
            power_w=power[first:last],
            pan=_bases(settings, room),
            losses=_losses(settings, room),
            layer=stack_layers([one.layer for one in settings]),
            food=food,
            run=RunSettings(step_s=STEP_S, start=state, start_k=room.ambient_k),
        )
        runs.append(run)
        state = run.state
        stopped = _stopped(settings, run, first * STEP_S, plan)
        if stopped:
            break
    return Cooked(
        _histories(settings, runs, power, plan), tuple(run.ledger for run in runs), stopped
    )


def _power(setting: PanSetting, time_s: FloatArray) -> FloatArray:
    """Return the heat into the centred pan at every step."""
    burner, schedule = setting.burner, setting.plan.schedule
    level = level_frac(
        time_s,
        change_s=[float(one.at_s) for one in schedule],
        level=[float(one.level_frac) for one in schedule],
    )
    if burner.kind == "radiant":
        level = limited_level(level, step_s=STEP_S, **LIMITER)
    keep = math.exp(-STEP_S / HEATER_TAU_S[burner.kind])
    level = np.clip(lfilter([1.0 - keep], [1.0, -keep], level), 0.0, 1.0)
    return pan_power_w(
        level, rated_w=float(burner.power_w), efficiency_frac=setting.efficiency_frac
    )


def _bases(settings: Sequence[PanSetting], room: Kitchen) -> PanBase:
    """Return the bases; the wall joins the rim by its efficiency as a fin."""
    radius, sheet, areal, rim_j, rim_w = [], [], [], [], []
    for one in settings:
        metal, thick = one.material, one.thickness_m
        heat = metal.density_kg_m3 * metal.specific_heat_j_kgk
        length, h = float(one.pan.depth_m), room.convection_w_m2k
        m_l = length * math.sqrt(2.0 * h / (metal.conductivity_w_mk * thick))
        fin = math.tanh(m_l) / m_l
        wall = 2.0 * math.pi * one.radius_m * length
        radius.append(one.radius_m)
        sheet.append(metal.conductivity_w_mk * thick)
        areal.append(heat * thick)
        rim_j.append(fin * wall * thick * heat)
        rim_w.append(fin * wall * 2.0 * h)
    return PanBase(*(np.array(values) for values in (radius, sheet, areal, rim_j, rim_w)))


def _losses(settings: Sequence[PanSetting], room: Kitchen) -> Losses:
    """Return the losses; the bare face radiates as its band emissivity says (assumed grey)."""
    return Losses(
        ambient_k=room.ambient_k,
        surround_k=room.reflected_k,
        below_k=room.ambient_k + BELOW_RISE_K,
        top_w_m2k=room.convection_w_m2k,
        top_emissivity=np.array([one.bare_emissivity for one in settings]),
        bottom_w_m2k=0.7 * room.convection_w_m2k,
        bottom_emissivity=BOTTOM_EMISSIVITY,
    )


def _moments(setting: PanSetting, steps: int) -> tuple[int, int, int]:
    """Return the steps at which food goes in, is turned and comes out."""
    food = setting.plan.food
    if food is None:
        return steps, steps, steps
    into = min(steps, round(float(food.in_s) / STEP_S))
    turn = steps if food.turn_s is None else min(steps, round(float(food.turn_s) / STEP_S))
    out = steps if food.out_s is None else min(steps, round(float(food.out_s) / STEP_S))
    return into, turn, max(into, out)


def _bounds(settings: Sequence[PanSetting], steps: int) -> list[int]:
    """Return the steps at which a run has to stop: food moments, and every half minute."""
    marks = {0, steps, *range(0, steps, round(CHUNK_S / STEP_S))}
    for one in settings:
        marks.update(_moments(one, steps))
    return sorted(mark for mark in marks if 0 <= mark <= steps)


def _prepared(
    settings: Sequence[PanSetting], state: PanState | None, first: int, last: int
) -> tuple[PanState | None, FoodPatch | None]:
    """Return state and food for a part of the cook: food put in, turned or taken out."""
    shape = (N_R, N_THETA, len(settings))
    cover, contact = np.zeros(shape, dtype=np.bool_), np.zeros((last - first, len(settings)))
    begin = np.full(shape, FOOD_START_K)
    layer = begin if state is None else np.array(state.layer_k)
    body = np.array(begin if state is None else np.nan_to_num(state.body_k, nan=FOOD_START_K))
    water = np.zeros(shape) if state is None else np.array(state.food_water_kg_m2)
    nodes = np.ones((3, *shape))
    for k, one in enumerate(settings):
        into, turn, out = _moments(one, 10**9)
        cells = one.food_cover.reshape(N_R, N_THETA)
        if first == out and state is not None:
            layer[cells, k] = _open_mean(layer[..., k], state.pan_k[..., k], one, ~cells)
        if not into <= first < out:
            continue
        cover[..., k] = cells
        nodes[..., k], wet = _food_nodes(one)
        if first == into:
            layer[cells, k], body[cells, k], water[cells, k] = FOOD_START_K, FOOD_START_K, wet
        if first == turn:
            _turn(layer[..., k], body[..., k], cells, nodes[..., k])
        since = (np.arange(first, last) - (turn if first >= turn else into)) * STEP_S
        contact[:, k] = contact_w_m2k(since, **CONTACT)
    if state is not None:
        state = dataclasses.replace(state, layer_k=layer)
    if not cover.any():
        return state, None
    return state, FoodPatch(
        cover,
        contact,
        contact_k=layer,
        body_k=body,
        contact_areal_j_m2k=nodes[0],
        body_areal_j_m2k=nodes[1],
        inner_w_m2k=nodes[2],
        water_kg_m2=water,
    )


def _open_mean(
    layer: FloatArray, pan: FloatArray, setting: PanSetting, open_cells: BoolArray
) -> float:
    """Return what fills the place that food has left: the liquid beside it, or nothing."""
    field = layer if setting.base.contents != "dry" else pan
    area = setting.area_m2.reshape(N_R, N_THETA)[open_cells]
    return float((field[open_cells] * area).sum() / area.sum())


def _food_nodes(setting: PanSetting) -> tuple[FloatArray, float]:
    """Return heat capacities of contact node and body, conductance between, and water."""
    food = setting.plan.food
    assert food is not None
    density, heat, conductivity, water = FOOD[food.kind]
    areal = float(food.mass_kg) / (math.pi * (float(food.diameter_m) / 2) ** 2)
    thick = max(areal / density, 2.0 * CONTACT_NODE_M)
    nodes = np.array(
        [
            density * heat * CONTACT_NODE_M,
            density * heat * (thick - CONTACT_NODE_M),
            conductivity / (thick / 2.0),
        ]
    )
    return nodes[:, None, None] * np.ones((1, N_R, N_THETA)), water * areal


def _turn(layer: FloatArray, body: FloatArray, cells: BoolArray, nodes: FloatArray) -> None:
    """Turn food over: its body's face comes down, the heat of the seared face stays in it."""
    down, up = body[cells].copy(), layer[cells].copy()
    body[cells] = down + nodes[0][cells] / nodes[1][cells] * (up - down)
    layer[cells] = down


def _stopped(settings: Sequence[PanSetting], run: PanRun, from_s: float, plan: CookPlan) -> str:
    """Return why the cook ends in this run, empty when it goes on."""
    for k, one in enumerate(settings):
        cells = run.pan_k[..., k].reshape(run.time_s.size, -1)
        hot = np.flatnonzero(hottest_mean_k(cells, area_m2=one.area_m2) >= float(plan.stop_at_k))
        if hot.size:
            at = from_s + float(run.time_s[hot[0]])
            return (
                f"pan on {one.burner.name} reached {float(plan.stop_at_k) - 273.15:.0f} C "
                f"at {at:.1f} s"
            )
    return ""


def _histories(
    settings: Sequence[PanSetting], runs: list[PanRun], power: FloatArray, plan: CookPlan
) -> tuple[PanHistory, ...]:
    """Join the runs and cut them where a pan got too hot."""
    pan = _joined([run.pan_k for run in runs])
    surface = _joined([run.surface_k for run in runs])
    mass = _joined([run.mass_kg for run in runs])
    n = len(pan)
    for k, one in enumerate(settings):
        cells = pan[..., k].reshape(n, -1)
        hot = np.flatnonzero(hottest_mean_k(cells, area_m2=one.area_m2) >= float(plan.stop_at_k))
        n = min(n, max(3, int(hot[0]) + 1)) if hot.size else n
    heat = np.concatenate([power[:1], power])[:n]
    made = []
    for k, one in enumerate(settings):
        into, _, out = _moments(one, 10**9)
        index = np.arange(n)
        made.append(
            PanHistory(
                one,
                np.asarray(index * STEP_S, dtype=np.float64),
                pan[:n, ..., k].reshape(n, -1),
                surface[:n, ..., k].reshape(n, -1),
                mass[:n, k],
                heat[:, k] * one.flux.captured_frac,
                (index >= into) & (index < out),
            )
        )
    return tuple(made)


def _joined(parts: list[FloatArray]) -> FloatArray:
    """Join records of runs, each of which begins where the one before ended."""
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])
