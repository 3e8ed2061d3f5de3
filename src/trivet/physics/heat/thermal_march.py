"""Compiled march of the pan simulator from record to record, and what is recorded."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.physics.heat.thermal_adi import (
    IMPLICIT_WEIGHT,
    apply_increments,
    conduct,
    settle,
    sweep_around,
    sweep_radial,
)
from trivet.physics.heat.thermal_cells import (
    INPUT,
    LAST_RATE,
    LID_CAP,
    LID_K,
    LOSS_RATE,
    LOST,
    MASS,
    MEAN_LAYER,
    Core,
    compiled,
)
from trivet.physics.heat.thermal_exchange import exchange, renew
from trivet.physics.heat.thermal_faces import face_k, surface_k
from trivet.physics.heat.thermal_food import (
    exchange_food,
    face_under_food_k,
    keep_food_conduction,
    settle_food,
    surface_of_food_k,
)
from trivet.physics.heat.thermal_hob import exchange_hob, flow_from_hob, settle_hob
from trivet.physics.heat.thermal_lid import exchange_lid, settle_butter, settle_lid
from trivet.physics.heat.thermal_wall import exchange_wall, settle_wall
from trivet.physics.heat.thermal_wide import fold, spread

LOWEST_K, HIGHEST_K = 150.0, 2500.0


class Record(NamedTuple):
    """What is recorded, the first axis being the moment.

    ``pan`` and ``surface`` (n_r, n_theta, lane), the latter empty where every surface
    is bare pan; ``layer``, ``mass``, ``lid``, ``hob`` and ``heat`` (lane), the last the
    heat so far; ``wall`` (ring, lane); ``food`` (node, piece, lane) sums of area x
    temperature.
    """

    pan: FloatArray
    surface: FloatArray
    layer: FloatArray
    mass: FloatArray
    lid: FloatArray
    hob: FloatArray
    heat: FloatArray
    wall: FloatArray
    food: FloatArray


class Drive(NamedTuple):
    """Power (step, lane), contact of food (step, piece, lane), step and steps a record."""

    power: FloatArray
    contact: FloatArray
    step_s: float
    every: int


@compiled
def _is_temperature(pans_k: FloatArray, layers_k: FloatArray) -> bool:
    """Return whether all temperatures are some that can be; a NaN is none."""
    wrong = 0
    for i in range(pans_k.shape[0]):
        pan, layer = pans_k[i], layers_k[i]
        for j in range(pan.shape[0]):
            for c in range(pan.shape[1]):
                wrong += not (pan[j, c] > LOWEST_K and pan[j, c] < HIGHEST_K)
            for c in range(pan.shape[1]):
                wrong += not (layer[j, c] > LOWEST_K and layer[j, c] < HIGHEST_K)
    return wrong == 0


@compiled
def _record(core: Core, wide: Core, record: Record, k: int) -> None:
    """Record the faces of the base and of what lies on it, and what is one value a cook."""
    pan, cook = record.pan[k], core.cook
    rows = wide.cells.pan.shape
    face = pan.reshape(rows)
    face_k(wide, face)
    face_under_food_k(core, pan)
    if record.surface.shape[0] > 0:
        surface_k(wide, face, record.surface[k].reshape(rows))
        surface_of_food_k(core.food, record.surface[k])
    record.layer[k], record.mass[k], record.heat[k] = cook[MEAN_LAYER], cook[MASS], cook[INPUT]
    n_r, n_t, lanes = core.cells.pan.shape
    record.wall[k] = 0.0
    for ring in range(record.wall.shape[1]):
        fold(record.wall[k, ring], core.metal.k[n_r + ring])
        for c in range(lanes):
            record.wall[k, ring, c] /= n_t
    for c in range(lanes):
        record.lid[k, c] = cook[LID_K, c] if core.fixed[LID_CAP, c] > 0.0 else np.nan
    if core.hob.k.shape[0] > 0:
        _area_mean(record.hob[k], core.hob.k, core.grid.area)
    _sum_columns(record.food[k], core.food.cell, core.food.column, core.grid.area)


@compiled
def _area_mean(out: FloatArray, field: FloatArray, area: FloatArray) -> None:
    for c in range(out.size):
        out[c] = 0.0
    for i in range(field.shape[0]):
        for j in range(field.shape[1]):
            for c in range(out.size):
                out[c] += area[i] * field[i, j, c]


@compiled
def _sum_columns(out: FloatArray, cell: IntArray, column: FloatArray, area: FloatArray) -> None:
    """Sum share x temperature over the columns of each piece, node by node."""
    out[:, :, :] = 0.0
    for n in range(cell.shape[0]):
        for node in range(out.shape[0]):
            out[node, cell[n, 3], cell[n, 2]] += area[cell[n, 0]] * column[n, node]


@compiled
def _book_losses(rate_w: FloatArray, cook: FloatArray, step_s: float) -> None:
    """Sum the losses, trapezoid in time: the first of a run starts from a negative mark."""
    for c in range(rate_w.size):
        if cook[LAST_RATE, c] >= -1e30:
            cook[LOST, c] += 0.5 * step_s * (cook[LAST_RATE, c] + rate_w[c])
        cook[LAST_RATE, c] = rate_w[c]


@compiled
def march(core: Core, wide: Core, drive: Drive, record: Record) -> int:
    """Advance from record to record; return the step by which a cook is no temperature, or -1.

    The last record is that of the last step, whether or not a whole interval lies
    before it.  ``wide`` is the core seen wide.  One function holds the whole step:
    the compiler works through all that lies under a function once more for each
    function above it.
    """
    fixed, live, cook, step_s = core.fixed, core.live, core.cook, drive.step_s
    total, steps = core.scratch.total, drive.power.shape[0]
    nothing = np.zeros(fixed.shape[1])
    for n in range(steps + 1):
        if n == steps or n % drive.every == 0:
            if not _is_temperature(core.cells.pan, core.cells.layer):
                return n
            renew(core, nothing, 0.0)
            spread(wide, fixed, live, cook)
            _record(core, wide, record, -(-n // drive.every))
        if n < steps:
            renew(core, drive.power[n], step_s)
        contact = drive.contact[min(n, steps - 1)]
        spread(wide, fixed, live, cook)
        live[LOSS_RATE, :] = 0.0
        conduct(wide, core.metal.k, step_s)
        keep_food_conduction(core.food, core.scratch.delta)
        flow_from_hob(wide)
        exchange(wide, step_s)
        exchange_food(core, contact, step_s, IMPLICIT_WEIGHT)
        exchange_hob(wide, step_s)
        exchange_wall(wide, step_s)
        fold(live[LOSS_RATE], total[0])
        exchange_lid(core)
        _book_losses(live[LOSS_RATE], cook, step_s)
        if n == steps:  # half a step of losses at the final temperatures closes the ledger
            break
        sweep_radial(wide.metal, wide.scratch, IMPLICIT_WEIGHT * step_s)
        sweep_around(core.metal, core.scratch, IMPLICIT_WEIGHT * step_s)
        settle_hob(wide, total, cook)
        settle_wall(core, wide, step_s)
        apply_increments(wide, total, cook)
        settle_food(core, step_s)
        settle_butter(core, step_s)
        settle(core, wide, step_s)
        settle_lid(fixed, live, cook, step_s)
    return -1
