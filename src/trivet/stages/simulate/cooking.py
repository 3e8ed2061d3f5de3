"""The heat balance of a cook: pans, contents and food over time."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.constants import ZERO_C_K
from trivet.physics.heat.cellstats import hottest_mean_k
from trivet.physics.heat.food import FoodPatch
from trivet.physics.heat.loads import Layer, stack_layers
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import EnergyLedger, PanRun, RunSettings
from trivet.records.cook import CookPlan
from trivet.stages.simulate.draws import Repeat
from trivet.stages.simulate.foods import lid_moments, lids_on, moments, prepared
from trivet.stages.simulate.heating import bases, control, knob, losses, power_w, turns, washed
from trivet.stages.simulate.history import Films, PanHistory, ignition_at, marks
from trivet.stages.simulate.setting import COOK_STEP_S, FOOD_PARTS, PanSetting, settings

CHUNK_S = 30.0
"""Of a run between two flows of the oil; own estimate."""
DRY_CHUNK_S = 150.0
"""Own estimate: without oil nothing flows between runs, only the stop is looked for."""


@dataclass(frozen=True)
class Cooked:
    """A whole cook and why it ended early, if it did."""

    pans: tuple[PanHistory, ...]
    ledgers: tuple[EnergyLedger, ...]
    stopped: str


def cooked(cook: Repeat) -> Cooked:
    """Return the histories of all pans of a cook, up to its end or its stop temperature."""
    standing, plan, room = settings(cook), cook.plan, cook.room
    steps = max(2, round(float(plan.duration_s) / COOK_STEP_S))
    middle = np.asarray((np.arange(steps) + 0.5) * COOK_STEP_S, dtype=np.float64)
    power = np.stack([power_w(one, middle) for one in standing], axis=1)
    runs: list[PanRun] = []
    covers: list[BoolArray] = []
    state, stopped = None, ""
    films = Films(standing, room)
    bounds, lost, base = _bounds(standing, steps), losses(standing, room), bases(standing, room)
    for first, last in itertools.pairwise(bounds):
        state, food = prepared(standing, state, room, first, last)
        parts = FOOD_PARTS if food is not None or _releases(films.layers) else 1
        flux = [one.flux(float(knob(one, middle[first]))) for one in standing]
        run = cook_pans(
            np.stack([one.shape_m2 for one in flux], axis=2),
            power_w=np.repeat(power[first:last], parts, axis=0),
            pan=washed(base, np.array([one.wall_frac for one in flux])),
            losses=lost,
            layer=stack_layers(films.layers),
            food=food,
            lid=lids_on(standing, room, first),
            run=RunSettings(
                step_s=COOK_STEP_S / parts,
                record_every=parts,
                start=state,
                start_k=room.ambient_k,
                control=control(standing),
            ),
        )
        runs.append(run)
        covers.append(_cover(food, run))
        state = run.state
        stopped = _stopped(standing, run, first * COOK_STEP_S, plan) or _ignited(
            standing, run, first * COOK_STEP_S, films
        )
        films.move(run)
        if stopped:
            break
    return Cooked(
        _histories(standing, (runs, covers), plan, films, stopped=bool(stopped)),
        tuple(run.ledger for run in runs),
        stopped,
    )


def _releases(layers: Sequence[Layer]) -> bool:
    """Return whether water boils out of hot fat in any pan: stiff, as food is."""
    return any(float(np.asarray(one.release_1_ks)) > 0.0 for one in layers)


def _bounds(settings: Sequence[PanSetting], steps: int) -> list[int]:
    """Return the steps at which a run has to stop: food, lid, flames, and now and then."""
    every = CHUNK_S if any(one.film_m.any() for one in settings) else DRY_CHUNK_S
    found = {0, steps, *range(0, steps, round(every / COOK_STEP_S))}
    for one in settings:
        found.update(moments(one, steps), lid_moments(one, steps), turns(one, steps))
    return sorted(mark for mark in found if 0 <= mark <= steps)


def _stopped(settings: Sequence[PanSetting], run: PanRun, from_s: float, plan: CookPlan) -> str:
    """Return why the cook ends in this run, empty when it goes on."""
    first: tuple[int, PanSetting] | None = None
    for k, one in enumerate(settings):
        cells = run.pan_k[..., k].reshape(run.time_s.size, -1)
        hot = _too_hot(cells, one, plan)
        if hot is not None and (first is None or hot < first[0]):
            first = (hot, one)
    if first is None:
        return ""
    at = from_s + float(run.time_s[first[0]])
    level_c = float(plan.stop_at_k) - ZERO_C_K
    return f"pan on {first[1].burner.name} reached {level_c:.0f} C at {at:.1f} s"


def _too_hot(cells_k: FloatArray, one: PanSetting, plan: CookPlan) -> int | None:
    """Return the first moment at which the hottest part of a pan reaches the stop."""
    level = float(plan.stop_at_k)
    # the hottest part is never hotter than the hottest cell: look there first, as rounding allows
    if not cells_k.max() >= level - 1e-6:
        return None
    hot = np.flatnonzero(hottest_mean_k(cells_k, area_m2=one.area_m2) >= level)
    return int(hot[0]) if hot.size else None


def _ignited(settings: Sequence[PanSetting], run: PanRun, from_s: float, films: Films) -> str:
    """Return which oil ignited in this run, empty when none did: a fire is not simulated."""
    for k, one in enumerate(settings):
        at = ignition_at(one, run.surface_k[..., k].reshape(run.time_s.size, -1), films.now[k])
        if at is not None and one.oil.ignition_k is not None:
            return (
                f"{one.oil.name} oil on {one.burner.name} ignited at "
                f"{one.oil.ignition_k - ZERO_C_K:.0f} C, {from_s + float(run.time_s[at]):.1f} s"
            )
    return ""


def _histories(
    settings: Sequence[PanSetting],
    record: tuple[list[PanRun], list[BoolArray]],
    plan: CookPlan,
    films: Films,
    *,
    stopped: bool,
) -> tuple[PanHistory, ...]:
    """Join the runs and cut them where a pan got too hot or its oil ignited."""
    runs, covers = record
    pan = _by_pan([run.pan_k for run in runs])
    bare = all(run.surface_k is run.pan_k for run in runs)
    surface = pan if bare else _by_pan([run.surface_k for run in runs], covers=covers)
    mass = _joined([run.mass_kg for run in runs])
    lid = _after([run.lid_k for run in runs])
    core, tracks = _cores(settings, runs), films.tracks()
    n = len(mass)
    for k, one in enumerate(settings):
        hot = _too_hot(pan[k], one, plan) if stopped else None
        n = min(n, max(3, hot + 1)) if hot is not None else n
        fire_s = marks(one, surface[k], tracks[k], COOK_STEP_S).ignition_s
        n = min(n, max(3, round(fire_s / COOK_STEP_S) + 1)) if math.isfinite(fire_s) else n
    wall, hob = _joined([run.wall_k for run in runs]), _joined([run.hob_k for run in runs])
    heat = _joined([run.heat_w for run in runs])
    made = []
    for k, one in enumerate(settings):
        top = surface[k, :n]
        made.append(
            PanHistory(
                setting=one,
                time_s=np.asarray(np.arange(n) * COOK_STEP_S, dtype=np.float64),
                pan_k=pan[k, :n],
                surface_k=top,
                mass_kg=mass[:n, k],
                heat_w=heat[:n, k],
                wall_k=wall[:n, :, k],
                hob_k=hob[:n, k],
                film=tracks[k],
                lid_k=lid[:n, k],
                core_k=core[:n, : len(one.pieces), k],
                marks=marks(one, top, tracks[k], COOK_STEP_S),
            )
        )
    return tuple(made)


def _joined(parts: list[FloatArray]) -> FloatArray:
    """Join records of runs, each of which begins where the one before ended."""
    return np.concatenate([parts[0], *(part[1:] for part in parts[1:])])


def _cover(food: FoodPatch | None, run: PanRun) -> BoolArray:
    """Return the cells that food covered in a run, (r, theta, pan)."""
    bare = np.zeros(run.pan_k.shape[1:], dtype=np.bool_)
    return bare if food is None else np.asarray(food.piece) >= 0


def _by_pan(parts: list[FloatArray], *, covers: list[BoolArray] | None = None) -> FloatArray:
    """Join records (time, r, theta, pan) to (pan, time, cell): each pan's in one piece.

    Where two runs meet, the end of the first counts; in cells that food covers in either
    of them the begin of the second does: what was put in, turned or taken out shows.
    """
    pans, steps = parts[0].shape[-1], sum(len(part) - 1 for part in parts)
    out = np.empty((pans, steps + 1, parts[0][0, ..., 0].size))
    at = 0
    for number, part in enumerate(parts):
        flat = part.reshape(len(part), -1, pans)
        anew = np.ones((flat.shape[1], pans), dtype=np.bool_)
        if number:
            food = None if covers is None else covers[number] | covers[number - 1]
            anew[:] = False if food is None else food.reshape(-1, pans)
        for k in range(pans):
            out[k, at, anew[:, k]] = flat[0, anew[:, k], k]
            out[k, at + 1 : at + len(part)] = flat[1:, :, k]
        at += len(part) - 1
    return out


def _after(parts: list[FloatArray]) -> FloatArray:
    """Join records of what is put on or taken off: a run's own begin counts."""
    return np.concatenate([*(part[:-1] for part in parts[:-1]), parts[-1]])


def _cores(settings: Sequence[PanSetting], runs: list[PanRun]) -> FloatArray:
    """Return the core of each piece of food, (time, piece, pan)."""
    most = max(len(one.pieces) for one in settings)
    parts = []
    for run in runs:
        part = np.full((run.time_s.size, most, len(settings)), np.nan)
        part[:, : run.core_k.shape[1]] = run.core_k[:, :most]
        parts.append(part)
    return _after(parts)
