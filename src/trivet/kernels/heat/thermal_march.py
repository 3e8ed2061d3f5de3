"""Compiled march of the pan simulator from record to record, and what is recorded."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trivet.kernels.heat.thermal_adi import advance, close_ledger
from trivet.kernels.heat.thermal_cells import (
    INPUT,
    LID_CAP,
    LID_K,
    MASS,
    MEAN_LAYER,
    Core,
    FloatArray,
    compiled,
)
from trivet.kernels.heat.thermal_exchange import (
    face_k,
    face_under_food_k,
    renew,
    surface_k,
    surface_of_food_k,
)
from trivet.kernels.heat.thermal_wide import fold, spread

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
def _is_temperature(core: Core) -> bool:
    """Return whether all temperatures are some that can be; a NaN is none."""
    wrong = 0
    for i in range(core.cells.pan.shape[0]):
        pan, layer = core.cells.pan[i], core.cells.layer[i]
        for j in range(pan.shape[0]):
            for c in range(pan.shape[1]):
                wrong += not (pan[j, c] > LOWEST_K and pan[j, c] < HIGHEST_K)
            for c in range(pan.shape[1]):
                wrong += not (layer[j, c] > LOWEST_K and layer[j, c] < HIGHEST_K)
    return wrong == 0


@compiled
def _record_fields(core: Core, wide: Core, record: Record, k: int) -> None:
    """Record the faces of the base and of what lies on it."""
    pan = record.pan[k]
    rows = wide.cells.pan.shape
    face = pan.reshape(rows)
    face_k(wide, face)
    face_under_food_k(core, pan)
    if record.surface.shape[0] > 0:
        surface_k(wide, face, record.surface[k].reshape(rows))
        surface_of_food_k(core.food, record.surface[k])


@compiled
def _record_means(core: Core, wide: Core, record: Record, k: int) -> None:
    """Record what each cook has one value of."""
    cook, grid, total = core.cook, core.grid, core.scratch.total[0]
    record.layer[k], record.mass[k], record.heat[k] = cook[MEAN_LAYER], cook[MASS], cook[INPUT]
    n_r, n_t, lanes = core.cells.pan.shape
    record.wall[k] = 0.0
    for ring in range(core.metal.area.shape[0]):
        fold(record.wall[k, ring], core.metal.k[n_r + ring])
        record.wall[k, ring] /= n_t
    for c in range(lanes):
        record.lid[k, c] = cook[LID_K, c] if core.fixed[LID_CAP, c] > 0.0 else np.nan
    if core.hob.k.shape[0] > 0:
        total[:, :] = 0.0
        for i in range(n_r):
            for j in range(n_t):
                for c in range(lanes):
                    total[j, c] += grid.area[i] * core.hob.k[i, j, c]
        record.hob[k] = 0.0
        fold(record.hob[k], total)
    cell, column = core.food.cell, core.food.column
    record.food[k] = 0.0
    for n in range(cell.shape[0]):
        for node in range(column.shape[1]):
            heat = grid.area[cell[n, 0]] * column[n, node]
            record.food[k, node, cell[n, 3], cell[n, 2]] += heat


@compiled
def march(core: Core, wide: Core, drive: Drive, record: Record) -> int:
    """Advance from record to record; return the step by which a cook is no temperature, or -1.

    The last record is that of the last step, whether or not a whole interval
    lies before it.
    """
    steps, last = drive.power.shape[0], 0
    nothing = np.zeros(core.fixed.shape[1])
    for k in range(record.mass.shape[0]):
        mark = min(k * drive.every, steps)
        advance(core, wide, drive.power[last:mark], drive.contact[last:mark], drive.step_s)
        if not _is_temperature(core):
            return mark
        last = mark
        renew(core, nothing, 0.0)
        spread(core, wide)
        _record_fields(core, wide, record, k)
        _record_means(core, wide, record, k)
    close_ledger(core, wide, drive.contact[steps - 1], drive.step_s)
    return -1
