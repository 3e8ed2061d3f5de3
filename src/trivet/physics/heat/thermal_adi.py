"""Compiled core of the pan simulator: alternating directions, a block of cooks at a time.

Conduction is split by direction in delta form with the diagonal D kept in both
factors,

    (D - s Lr) D^-1 (D - s Lt) delta = dt * rates(T),

which conserves energy exactly (each L has zero area-weighted column sums) and
is second order in time for s = dt/2.  The ring sweeps are cyclic and closed by
the Sherman-Morrison formula.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    BASE_AREA,
    BOIL,
    BULK_0,
    CAP,
    CONTENTS_AREA,
    EVAPORATION,
    FILM_MASS,
    LATENT,
    LATENT_OUT,
    MASS,
    MEAN_LAYER,
    MEAN_PAN,
    MIXING,
    SPECIFIC_HEAT,
    VAPOUR_OUT,
    WET,
    Core,
    Metal,
    Scratch,
    compiled,
)
from trivet.physics.heat.thermal_exchange import add_row
from trivet.physics.heat.thermal_lid import condensed_kg
from trivet.physics.heat.thermal_wide import fold, spread_row

# Weight of the new time level in conduction: a little above 1/2 so that the
# stiff modes near the centre die out instead of ringing.
IMPLICIT_WEIGHT = 0.52


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
def sweep_radial(metal: Metal, scratch: Scratch, weight_s: float) -> None:
    """Solve (D - s Lr) w = right side along every ray, in place in a wide ``delta``."""
    n_r, n_t, lanes = scratch.delta.shape
    inv = scratch.row[0]
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
    x, ring, q, diag, spare = turn[0], turn[1], turn[2], turn[3], turn[4]
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
    x, ring, q, diag, spare = turn[0], turn[1], turn[2], turn[3], turn[4]
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
def sweep_around(metal: Metal, scratch: Scratch, weight_s: float) -> None:
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
                    turn[3, j, at + c] = diag[j, c]
                    turn[0, j, at + c] = x[j, c] * diag[j, c]
            for c in range(lanes):
                turn[3, n_t, at + c] = weight_s * metal.around[first + r, c]
        _eliminate(turn, n_t, count * lanes)
        _close(turn, n_t, count * lanes)
        for r in range(count):
            x, at = scratch.delta[first + r], r * lanes
            for j in range(n_t):
                for c in range(lanes):
                    x[j, c] = turn[0, j, at + c]


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
        add_row(pan, delta)  # one written row a loop, see thermal_exchange
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
    cook[MEAN_PAN, :], cook[MEAN_LAYER, :] = 0.0, 0.0
    fold(cook[MEAN_PAN], total[0])
    fold(cook[MEAN_LAYER], total[1])


@compiled
def settle(core: Core, wide: Core, step_s: float) -> None:
    """Stir the layer, boil off the excess, account for the vapour, find dryness."""
    cells, fixed, live, cook = core.cells, core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    stirred = False
    for c in range(lanes):
        mean = cook[MEAN_LAYER, c] * fixed[BASE_AREA, c] / fixed[CONTENTS_AREA, c]
        cook[MEAN_LAYER, c] = mean
        stirred = stirred or fixed[MIXING, c] > 0.0
        if fixed[FILM_MASS, c] <= 0.0 or cook[MASS, c] <= 0.0:
            continue
        area = fixed[CONTENTS_AREA, c]
        gone = area * live[WET, c] * live[EVAPORATION, c] * step_s / fixed[LATENT, c]
        excess = 0.0
        if mean > fixed[BOIL, c]:
            excess = area * live[CAP, c] * (mean - fixed[BOIL, c])
            mean = fixed[BOIL, c]
        gone += excess / fixed[LATENT, c]
        spare = 0.0
        if gone >= cook[MASS, c]:  # dry: the heat that found no water goes back to the pan
            spare = (gone - cook[MASS, c]) * fixed[LATENT, c]
            gone = cook[MASS, c]
        gone -= condensed_kg(fixed, cook, c, (gone, mean), step_s)
        cook[MASS, c] -= gone
        cook[LATENT_OUT, c] += gone * fixed[LATENT, c]
        cook[VAPOUR_OUT, c] += gone * fixed[SPECIFIC_HEAT, c] * (mean - cook[BULK_0, c])
        cook[MEAN_LAYER, c] = mean
        if spare > 0.0:
            for i in range(n_r):
                rise = spare / (fixed[BASE_AREA, c] * cells.capacity[i, c])
                for j in range(n_t):
                    cells.pan[i, j, c] += rise
    if stirred:
        spread_row(wide.cook[MEAN_LAYER], cook[MEAN_LAYER])
        mixing, mean_k = wide.fixed[MIXING], wide.cook[MEAN_LAYER]
        for i in range(n_r):
            layer, open_frac = wide.cells.layer[i], wide.cells.open_frac[i]
            for j in range(layer.shape[0]):
                for c in range(layer.shape[1]):
                    pull = mixing[c] * open_frac[j, c]
                    layer[j, c] += pull * (mean_k[c] - layer[j, c])
