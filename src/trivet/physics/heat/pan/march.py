"""Compiled march of the pan simulator from record to record: conduction, exchange, settling.

Conduction is split by direction in delta form with the diagonal D kept in both factors,

    (D - s Lr) D^-1 (D - s Lt) delta = dt * rates(T),

which conserves energy exactly (each L has zero area-weighted column sums) and is second order
in time for s = dt/2.  The ring sweeps are cyclic and closed by the Sherman-Morrison formula.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.physics.heat.pan.food import (
    exchange_food,
    exchange_lid,
    face_under_food_k,
    keep_food_conduction,
    settle,
    settle_butter,
    settle_food,
    settle_lid,
    surface_of_food_k,
)
from trivet.physics.heat.pan.layer import exchange, face_k, renew, surface_k
from trivet.physics.heat.pan.metal import (
    add_row,
    exchange_hob,
    exchange_wall,
    flow_from_hob,
    set_heat,
    settle_hob,
    settle_wall,
)
from trivet.physics.heat.pan.tables import (
    Core,
    Fixed,
    FoodAt,
    Live,
    Metal,
    PanScratch,
    State,
    Turn,
    Work,
    compiled,
    fold,
    spread,
)

IMPLICIT_WEIGHT = 0.52
"""Weight of the new time level in conduction; own estimate: a little above 1/2, so that the stiff
modes near the centre die out instead of ringing."""
LOWEST_K, HIGHEST_K = 150.0, 2500.0  # own estimate: beyond any kitchen and any pan's melting


@compiled
def _halo(halo: FloatArray, ring: FloatArray) -> None:
    """Copy a ring with its neighbours across the seam."""
    n_t, lanes = ring.shape
    halo[1 : n_t + 1, :] = ring
    for c in range(lanes):
        halo[0, c], halo[n_t + 1, c] = ring[n_t - 1, c], ring[0, c]


@compiled
def conduct(wide: Core, narrow_k: FloatArray, step_s: float) -> None:
    """Put dt * L(T) into ``delta``; ``narrow_k`` are the same temperatures, seen narrow."""
    metal, halo = wide.metal, wide.scratch.halo
    rings, rows, width = metal.k.shape
    cells, lanes = rows * width, halo.shape[1]
    flat = halo.reshape(halo.size)
    left = flat[:cells].reshape(rows, width)
    right = flat[2 * lanes :].reshape(rows, width)
    for i in range(rings):
        _halo(halo, narrow_k[i])
        a, b, e = metal.inward[i], metal.outward[i], metal.around[i]
        pan, inner = metal.k[i], metal.k[max(i - 1, 0)]
        outer, delta = metal.k[min(i + 1, rings - 1)], wide.scratch.delta[i]
        for j in range(rows):
            for c in range(width):
                t = pan[j, c]
                delta[j, c] = a[c] * (inner[j, c] - t) + b[c] * (outer[j, c] - t)
        for j in range(rows):
            for c in range(width):
                flow = delta[j, c] + e[c] * (left[j, c] + right[j, c] - 2.0 * pan[j, c])
                delta[j, c] = step_s * flow


@compiled
def sweep_radial(metal: Metal, scratch: PanScratch, weight_s: float) -> None:
    """Solve (D - s Lr) w = right side along every ray, in place in a wide ``delta``."""
    n_r, n_t, lanes = scratch.delta.shape
    inv = scratch.row[Work.INVERSE]
    for i in range(n_r):
        inward, outward, back = metal.inward[i], metal.outward[i], max(i - 1, 0)
        diag, delta, before = scratch.diag[i], scratch.delta[i], scratch.delta[back]
        upper, under = scratch.upper[i], scratch.upper[back]
        for j in range(n_t):
            for c in range(lanes):
                a, b = weight_s * inward[c], weight_s * outward[c]
                # at i = 0 the inward weight is zero, so the stale row does not act
                inv[j, c] = 1.0 / (diag[j, c] + a + b - a * under[j, c])
        for j in range(n_t):
            for c in range(lanes):
                upper[j, c] = weight_s * outward[c] * inv[j, c]
        for j in range(n_t):
            for c in range(lanes):
                a = weight_s * inward[c]
                delta[j, c] = (delta[j, c] + a * before[j, c]) * inv[j, c]
    for i in range(n_r - 2, -1, -1):
        upper, delta, after = scratch.upper[i], scratch.delta[i], scratch.delta[i + 1]
        for j in range(n_t):
            for c in range(lanes):
                delta[j, c] += upper[j, c] * after[j, c]


@compiled
def _eliminate(turn: FloatArray, n_t: int, width: int) -> None:
    """Eliminate upwards in the first ``width`` columns of ``turn``: solution, ring, q, diagonal.

    Row ``n_t`` of the diagonal holds the conductance e; x comes in as D w.
    """
    x, ring, q, diag, spare = (
        turn[Turn.SOLUTION],
        turn[Turn.RING],
        turn[Turn.CLOSING],
        turn[Turn.DIAGONAL],
        turn[Turn.SPARE],
    )
    e, inv, first = diag[n_t], spare[0], spare[1]
    last = n_t - 1
    for c in range(width):
        first[c] = diag[0, c] + 2.0 * e[c]
    for c in range(width):
        inv[c] = 0.5 / first[c]
    for c in range(width):
        ring[0, c], q[0, c] = e[c] * inv[c], -first[c] * inv[c]
        x[0, c] *= inv[c]
    for j in range(1, n_t):
        ring_j, ring_b, x_j, x_b, q_j, q_b = ring[j], ring[j - 1], x[j], x[j - 1], q[j], q[j - 1]
        diag_j = diag[j]
        if j == last:
            for c in range(width):
                diag_j[c] += e[c] * e[c] / first[c]
        for c in range(width):
            inv[c] = 1.0 / (diag_j[c] + 2.0 * e[c] - e[c] * ring_b[c])
        for c in range(width):
            ring_j[c] = e[c] * inv[c]
        for c in range(width):
            x_j[c] = (x_j[c] + e[c] * x_b[c]) * inv[c]
        for c in range(width):
            q_j[c] = e[c] * q_b[c] * inv[c]
    for c in range(width):
        q[last, c] -= e[c] * inv[c]


@compiled
def _close(turn: FloatArray, n_t: int, width: int) -> None:
    """Substitute back and close the ring: Sherman-Morrison."""
    x, ring, q, diag, spare = (
        turn[Turn.SOLUTION],
        turn[Turn.RING],
        turn[Turn.CLOSING],
        turn[Turn.DIAGONAL],
        turn[Turn.SPARE],
    )
    e, share, first = diag[n_t], spare[0], spare[1]
    last = n_t - 1
    for j in range(last - 1, -1, -1):
        ring_j, x_j, x_a, q_j, q_a = ring[j], x[j], x[j + 1], q[j], q[j + 1]
        for c in range(width):
            x_j[c] += ring_j[c] * x_a[c]
        for c in range(width):
            q_j[c] += ring_j[c] * q_a[c]
    for c in range(width):
        v = e[c] / first[c]
        share[c] = (x[0, c] + v * x[last, c]) / (1.0 + q[0, c] + v * q[last, c])
    for j in range(n_t):
        x_j, q_j = x[j], q[j]
        for c in range(width):
            x_j[c] -= share[c] * q_j[c]


@compiled
def sweep_around(metal: Metal, scratch: PanScratch, weight_s: float) -> None:
    """Solve (D - s Lt) delta = D w around every ring, several rings side by side."""
    rings, n_t, lanes = scratch.delta.shape
    turn = scratch.turn
    most = turn.shape[2] // lanes
    for first in range(0, rings, most):
        count = min(most, rings - first)
        for r in range(count):
            x, diag, at = scratch.delta[first + r], scratch.diag[first + r], r * lanes
            for j in range(n_t):
                for c in range(lanes):
                    turn[Turn.DIAGONAL, j, at + c] = diag[j, c]
                    turn[Turn.SOLUTION, j, at + c] = x[j, c] * diag[j, c]
            for c in range(lanes):
                turn[Turn.DIAGONAL, n_t, at + c] = weight_s * metal.around[first + r, c]
        _eliminate(turn, n_t, count * lanes)
        _close(turn, n_t, count * lanes)
        for r in range(count):
            x, at = scratch.delta[first + r], r * lanes
            for j in range(n_t):
                for c in range(lanes):
                    x[j, c] = turn[Turn.SOLUTION, j, at + c]


@compiled
def apply_increments(wide: Core, total: FloatArray, cook: FloatArray) -> None:
    """Add the increments to pan and layer and take the means of each cook.

    ``total`` is the narrow view of the sums over the rings.
    """
    cells, scratch = wide.cells, wide.scratch
    n_r, rows, width = cells.pan.shape
    covered = wide.food.cell.shape[0] > 0  # else every cell is open: one field less to read
    scratch.total[:, :, :] = 0.0
    pan_sum, layer_sum = scratch.total[0], scratch.total[1]
    for i in range(n_r):
        area = wide.grid.area[i]
        pan, layer, open_frac = cells.pan[i], cells.layer[i], cells.open_frac[i]
        delta, shift, gain = scratch.delta[i], scratch.shift[i], scratch.gain[i]
        add_row(pan, delta)  # one written row a loop, see metal
        for j in range(rows):
            for c in range(width):
                layer[j, c] += shift[j, c] + gain[j, c] * delta[j, c]
        for j in range(rows):
            for c in range(width):
                pan_sum[j, c] += area * pan[j, c]
        if covered:
            for j in range(rows):
                for c in range(width):
                    layer_sum[j, c] += area * open_frac[j, c] * layer[j, c]
        else:
            for j in range(rows):
                for c in range(width):
                    layer_sum[j, c] += area * layer[j, c]
    cook[State.MEAN_PAN, :], cook[State.MEAN_LAYER, :] = 0.0, 0.0
    fold(cook[State.MEAN_PAN], total[0])
    fold(cook[State.MEAN_LAYER], total[1])


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
    record.layer[k], record.mass[k], record.heat[k] = (
        cook[State.MEAN_LAYER],
        cook[State.MASS],
        cook[State.INPUT],
    )
    n_r, n_t, lanes = core.cells.pan.shape
    record.wall[k] = 0.0
    for ring in range(record.wall.shape[1]):
        fold(record.wall[k, ring], core.metal.k[n_r + ring])
        for c in range(lanes):
            record.wall[k, ring, c] /= n_t
    for c in range(lanes):
        record.lid[k, c] = cook[State.LID_K, c] if core.fixed[Fixed.LID_CAP, c] > 0.0 else np.nan
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
            out[node, cell[n, FoodAt.PIECE], cell[n, FoodAt.LANE]] += (
                area[cell[n, FoodAt.RING]] * column[n, node]
            )


@compiled
def _book_losses(rate_w: FloatArray, cook: FloatArray, step_s: float) -> None:
    """Sum the losses, trapezoid in time: the first of a run starts from a negative mark."""
    for c in range(rate_w.size):
        if cook[State.LAST_RATE, c] >= -1e30:
            cook[State.LOST, c] += 0.5 * step_s * (cook[State.LAST_RATE, c] + rate_w[c])
        cook[State.LAST_RATE, c] = rate_w[c]


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
    for n in range(steps + 1):
        if n == steps or n % drive.every == 0:
            if not _is_temperature(core.cells.pan, core.cells.layer):
                return n
            renew(core)
            spread(wide, fixed, live, cook)
            _record(core, wide, record, -(-n // drive.every))
        if n < steps:
            renew(core)
            set_heat(core, drive.power[n], step_s)
        contact = drive.contact[min(n, steps - 1)]
        spread(wide, fixed, live, cook)
        live[Live.LOSS_RATE, :] = 0.0
        conduct(wide, core.metal.k, step_s)
        keep_food_conduction(core.food, core.scratch.delta)
        flow_from_hob(wide)
        exchange(wide, step_s)
        exchange_food(core, contact, step_s, IMPLICIT_WEIGHT)
        exchange_hob(wide, step_s)
        exchange_wall(wide, step_s)
        fold(live[Live.LOSS_RATE], total[0])
        exchange_lid(core)
        _book_losses(live[Live.LOSS_RATE], cook, step_s)
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
