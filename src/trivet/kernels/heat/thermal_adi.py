"""Compiled core of the pan simulator: alternating directions, a block of cooks at a time.

Conduction is split by direction in delta form with the diagonal D kept in both
factors,

    (D - s Lr) D^-1 (D - s Lt) delta = dt * rates(T),

which conserves energy exactly (each L has zero area-weighted column sums) and
is second order in time for s = dt/2.  The ring sweeps are cyclic and closed by
the Sherman-Morrison formula.
"""

from __future__ import annotations

from trivet.kernels.heat.thermal_cells import (
    BASE_AREA,
    BOIL,
    BULK_0,
    CAP,
    CONTENTS_AREA,
    EVAPORATION,
    FILM_MASS,
    LAST_RATE,
    LATENT,
    LATENT_OUT,
    LOSS_RATE,
    LOST,
    MASS,
    MEAN_LAYER,
    MEAN_PAN,
    MIXING,
    SPECIFIC_HEAT,
    VAPOUR_OUT,
    WET,
    Core,
    FloatArray,
    Metal,
    Scratch,
    compiled,
)
from trivet.kernels.heat.thermal_exchange import exchange, renew
from trivet.kernels.heat.thermal_food import exchange_food, keep_food_conduction, settle_food
from trivet.kernels.heat.thermal_hob import exchange_hob, flow_from_hob, settle_hob
from trivet.kernels.heat.thermal_lid import condensed_kg, exchange_lid, settle_butter, settle_lid
from trivet.kernels.heat.thermal_wall import exchange_wall, settle_wall

# Weight of the new time level in conduction: a little above 1/2 so that the
# stiff modes near the centre die out instead of ringing.
IMPLICIT_WEIGHT = 0.52


@compiled
def _conduct(core: Core, step_s: float) -> None:
    """Put dt * L(T) into ``delta``."""
    metal, delta = core.metal, core.scratch.delta
    rings, n_t, lanes = metal.k.shape
    for i in range(rings):
        a, b, e = metal.inward[i], metal.outward[i], metal.around[i]
        below, above = max(i - 1, 0), min(i + 1, rings - 1)
        pan, inner, outer = metal.k[i], metal.k[below], metal.k[above]
        for j in range(n_t):
            left = j - 1 if j > 0 else n_t - 1
            right = j + 1 if j < n_t - 1 else 0
            for c in range(lanes):
                t = pan[j, c]
                flow = a[c] * (inner[j, c] - t) + b[c] * (outer[j, c] - t)
                flow += e[c] * (pan[left, c] + pan[right, c] - 2.0 * t)
                delta[i, j, c] = step_s * flow


@compiled
def _sweep_radial(metal: Metal, scratch: Scratch, weight_s: float) -> None:
    """Solve (D - s Lr) w = right side along every ray, in place in ``delta``."""
    delta, diag, upper = scratch.delta, scratch.diag, scratch.upper
    n_r, n_t, lanes = delta.shape
    for i in range(n_r):
        inward, outward, back = metal.inward[i], metal.outward[i], max(i - 1, 0)
        for j in range(n_t):
            for c in range(lanes):
                a, b = weight_s * inward[c], weight_s * outward[c]
                # at i = 0 the inward weight is zero, so the stale row does not act
                inv = 1.0 / (diag[i, j, c] + a + b - a * upper[back, j, c])
                upper[i, j, c] = b * inv
                delta[i, j, c] = (delta[i, j, c] + a * delta[back, j, c]) * inv
    for i in range(n_r - 2, -1, -1):
        for j in range(n_t):
            for c in range(lanes):
                delta[i, j, c] += upper[i, j, c] * delta[i + 1, j, c]


@compiled
def _sweep_around(metal: Metal, scratch: Scratch, weight_s: float) -> None:
    """Solve (D - s Lt) delta = D w around every ring (cyclic, Sherman-Morrison)."""
    rings, n_t, lanes = scratch.delta.shape
    ring, q = scratch.ring, scratch.ring_q
    last = n_t - 1
    for i in range(rings):
        around = metal.around[i]
        x, diag = scratch.delta[i], scratch.diag[i]
        for c in range(lanes):
            e = weight_s * around[c]
            b0 = diag[0, c] + 2.0 * e
            inv = 0.5 / b0
            ring[0, c] = e * inv
            x[0, c] = x[0, c] * diag[0, c] * inv
            q[0, c] = -b0 * inv
        for j in range(1, last):
            for c in range(lanes):
                e = weight_s * around[c]
                inv = 1.0 / (diag[j, c] + 2.0 * e - e * ring[j - 1, c])
                ring[j, c] = e * inv
                x[j, c] = (x[j, c] * diag[j, c] + e * x[j - 1, c]) * inv
                q[j, c] = e * q[j - 1, c] * inv
        for c in range(lanes):
            e = weight_s * around[c]
            b0 = diag[0, c] + 2.0 * e
            inv = 1.0 / (diag[last, c] + 2.0 * e + e * e / b0 - e * ring[last - 1, c])
            x[last, c] = (x[last, c] * diag[last, c] + e * x[last - 1, c]) * inv
            q[last, c] = (-e + e * q[last - 1, c]) * inv
        for j in range(last - 1, -1, -1):
            for c in range(lanes):
                x[j, c] += ring[j, c] * x[j + 1, c]
                q[j, c] += ring[j, c] * q[j + 1, c]
        for c in range(lanes):
            e = weight_s * around[c]
            v = e / (diag[0, c] + 2.0 * e)
            ring[last, c] = (x[0, c] + v * x[last, c]) / (1.0 + q[0, c] + v * q[last, c])
        for j in range(n_t):
            for c in range(lanes):
                x[j, c] -= ring[last, c] * q[j, c]


@compiled
def _apply(core: Core) -> None:
    """Add the increments to pan and layer and take the means."""
    grid, cells, cook, scratch = core.grid, core.cells, core.cook, core.scratch
    n_r, n_t, lanes = cells.pan.shape
    cook[MEAN_PAN, :] = 0.0
    cook[MEAN_LAYER, :] = 0.0
    pan_mean, layer_mean = cook[MEAN_PAN], cook[MEAN_LAYER]
    covered = core.food.cell.shape[0] > 0  # else every cell is open: one field less to read
    for i in range(n_r):
        area = grid.area[i]
        pan, layer, open_frac = cells.pan[i], cells.layer[i], cells.open_frac[i]
        delta, shift, gain = scratch.delta[i], scratch.shift[i], scratch.gain[i]
        for j in range(n_t):  # one written row a loop, see thermal_exchange
            for c in range(lanes):
                pan[j, c] += delta[j, c]
            for c in range(lanes):
                layer[j, c] += shift[j, c] + gain[j, c] * delta[j, c]
            for c in range(lanes):
                pan_mean[c] += area * pan[j, c]
            if covered:
                for c in range(lanes):
                    layer_mean[c] += area * open_frac[j, c] * layer[j, c]
            else:
                for c in range(lanes):
                    layer_mean[c] += area * layer[j, c]


@compiled
def _settle(core: Core, step_s: float) -> None:
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
        gone -= condensed_kg(core, c, mean, gone, step_s)
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
        for i in range(n_r):
            for j in range(n_t):
                for c in range(lanes):
                    pull = fixed[MIXING, c] * cells.open_frac[i, j, c]
                    cells.layer[i, j, c] += pull * (cook[MEAN_LAYER, c] - cells.layer[i, j, c])


@compiled
def _rates(core: Core, contact: FloatArray, step_s: float) -> None:
    """Assemble right side, diagonal and eliminated layer of one step."""
    _conduct(core, step_s)
    keep_food_conduction(core.food, core.scratch.delta)
    flow_from_hob(core)
    exchange(core, step_s)
    exchange_food(core, contact, step_s, IMPLICIT_WEIGHT)
    exchange_hob(core, step_s)
    exchange_wall(core, step_s)
    exchange_lid(core)


@compiled
def advance(core: Core, power: FloatArray, contact: FloatArray, step_s: float) -> None:
    """Advance a block by ``len(power)`` steps and keep its ledger.

    Power is (step, lane), the contact coefficient of food (step, piece, lane).
    """
    live, cook = core.live, core.cook
    weight_s = IMPLICIT_WEIGHT * step_s
    for n in range(power.shape[0]):
        renew(core, power[n], step_s)
        _rates(core, contact[n], step_s)
        for c in range(power.shape[1]):
            # trapezoid in time: the first call of a run starts from a negative mark
            if cook[LAST_RATE, c] >= -1e30:
                cook[LOST, c] += 0.5 * step_s * (cook[LAST_RATE, c] + live[LOSS_RATE, c])
            cook[LAST_RATE, c] = live[LOSS_RATE, c]
        _sweep_radial(core.metal, core.scratch, weight_s)
        _sweep_around(core.metal, core.scratch, weight_s)
        settle_hob(core)
        settle_wall(core, step_s)
        _apply(core)
        settle_food(core, step_s)
        settle_butter(core, step_s)
        _settle(core, step_s)
        settle_lid(core, step_s)


@compiled
def close_ledger(core: Core, contact: FloatArray, step_s: float) -> None:
    """Add the last half step of losses, evaluated at the final temperatures."""
    _rates(core, contact, step_s)
    for c in range(core.fixed.shape[1]):
        core.cook[LOST, c] += 0.5 * step_s * (core.cook[LAST_RATE, c] + core.live[LOSS_RATE, c])
