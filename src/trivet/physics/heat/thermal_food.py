"""Compiled food of the pan simulator: a column of nodes on every covered cell.

Node 0 touches the pan and stands in the layer array.  The nodes above it are
eliminated from the top down (they form a tridiagonal system), then node 0 is
eliminated from the pan's equation like any other layer.  Heat goes up only:
between neighbouring columns it is left out, for a food is far wider than thick.
Each node boils off its own water at the boiling point; so a dry crust grows
from the contact face, and what has dried conducts worse.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    AIR_VAPOUR,
    AMBIENT,
    BASE_AREA,
    CROSS_R,
    F_BOIL,
    F_CRUST,
    F_HALF_ABOVE,
    F_HALF_BELOW,
    F_LATENT,
    F_SIGMA,
    F_VAPOUR,
    FACE_R,
    LATENT_OUT,
    LID_CAP,
    LOSS_RATE,
    POWER,
    SURROUND4,
    TOP,
    Core,
    Food,
    compiled,
)
from trivet.physics.heat.thermal_lid import bottom_loss, saturated_kg_m3

ROOM_VAPOUR_KG_M3 = 0.010  # room air, 20 C and 58 %


@compiled
def keep_food_conduction(food: Food, delta: FloatArray) -> None:
    """Note what conduction brings to the covered cells before exchange overwrites them."""
    for n in range(food.cell.shape[0]):
        food.rate[n] = delta[food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]]


@compiled
def _crust(food: Food, n: int, k: int) -> float:
    """Return by how much more a node resists heat than while it was wet."""
    wet = food.wet[n, k]
    return food.const[n, F_CRUST] * (1.0 - food.water[n, k] / wet) if wet > 0.0 else 0.0


@compiled
def dry_out(food: Food, n: int) -> None:
    """Set a column's conductances to what its nodes' water leaves of them."""
    for k in range(food.column.shape[1] - 1):
        share = food.cap[n, k] / (food.cap[n, k] + food.cap[n, k + 1])
        more = share * _crust(food, n, k) + (1.0 - share) * _crust(food, n, k + 1)
        food.up[n, k] = food.moist[n, k] / (1.0 + more)


@compiled
def top_loss(food: Food, fixed: FloatArray, n: int, c: int) -> tuple[float, float]:
    """Return the loss of a column's top to air and room, through its last half node.

    Notes the temperature of the face; one Newton step, as for a liquid's skin.
    """
    last = food.column.shape[1] - 1
    t, half = food.column[n, last], food.const[n, F_HALF_ABOVE] * (1.0 + _crust(food, n, last))
    sigma = food.const[n, F_SIGMA]
    loss = (t - fixed[AMBIENT, c]) * fixed[TOP, c] + sigma * (t**4 - fixed[SURROUND4, c])
    slope = fixed[TOP, c] + 4.0 * sigma * t**3
    share = 1.0 / (1.0 + half * slope)
    food.face[n] = t - half * loss * share
    return loss * share, slope * share


@compiled
def _eliminate(
    food: Food, n: int, loss: tuple[float, float], step_s: float, weight_s: float
) -> None:
    """Fill ``shift + gain x (increment of the node below)`` of nodes above the first."""
    last = food.column.shape[1] - 1
    for k in range(last, 0, -1):
        t, below = food.column[n, k], food.up[n, k - 1]
        rate = below * (food.column[n, k - 1] - t)
        if k == last:
            rate -= loss[0]
            diag = food.cap[n, k] + weight_s * (below + loss[1])
            right = step_s * rate
        else:
            above = food.up[n, k]
            rate -= above * (t - food.column[n, k + 1])
            diag = food.cap[n, k] + weight_s * (below + above * (1.0 - food.gain[n, k + 1]))
            right = step_s * rate + weight_s * above * food.shift[n, k + 1]
        food.shift[n, k] = right / diag
        food.gain[n, k] = weight_s * below / diag


@compiled
def exchange_food(core: Core, contact: FloatArray, step_s: float, implicit: float) -> None:
    """Put food in the place of the layer in covered cells."""
    grid, cells, food, scratch = core.grid, core.cells, core.food, core.scratch
    fixed, live = core.fixed, core.live
    weight_s = implicit * step_s
    for n in range(food.cell.shape[0]):
        i, j, c, piece = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2], food.cell[n, 3]
        food.column[n, 0] = cells.layer[i, j, c]
        under = live[POWER, c] * cells.shape[i, j, c] + scratch.from_hob[i, j, c]
        tp, t0 = cells.pan[i, j, c] - fixed[CROSS_R, c] * under, food.column[n, 0]
        loss, d_loss = bottom_loss(cells, fixed, i, j, c)
        above = top_loss(food, fixed, n, c)
        _eliminate(food, n, above, step_s, weight_s)
        half = food.const[n, F_HALF_BELOW] * (1.0 + _crust(food, n, 0))
        series = half + fixed[FACE_R, c]  # the base's upper part too
        g = contact[piece, c] / (1.0 + contact[piece, c] * series)
        inner, cap = food.up[n, 0], food.cap[n, 0]
        into, up = g * (tp - t0), inner * (t0 - food.column[n, 1])
        z = step_s * max(g / cap, (d_loss + g) / cells.capacity[i, c])
        w = step_s * (3.0 + z) / (6.0 + z)
        diag = cap + w * g + weight_s * inner * (1.0 - food.gain[n, 1])
        shift = (step_s * (into - up) + weight_s * inner * food.shift[n, 1]) / diag
        gain = w * g / diag
        heat = live[POWER, c] * cells.shape[i, j, c]
        scratch.up[i, j, c] = into
        scratch.shift[i, j, c] = shift
        scratch.gain[i, j, c] = gain
        scratch.diag[i, j, c] = cells.capacity[i, c] + w * (d_loss + g - g * gain)
        scratch.delta[i, j, c] = food.rate[n] + step_s * (heat - loss - into) + w * g * shift
        # exchange booked a bare or wet top here: take it back, book the food's
        booked = loss + above[0]
        live[LOSS_RATE, c] += (
            grid.area[i] * fixed[BASE_AREA, c] * (booked - scratch.booked[i, j, c])
        )
        scratch.booked[i, j, c] = booked


@compiled
def settle_food(core: Core, step_s: float) -> None:
    """Move heat up the columns, boil off what exceeds the boiling point, dry the top."""
    grid, cells, food, scratch = core.grid, core.cells, core.food, core.scratch
    fixed, cook = core.fixed, core.cook
    last = food.column.shape[1] - 1
    for n in range(food.cell.shape[0]):
        i, j, c = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]
        boil, latent = food.const[n, F_BOIL], food.const[n, F_LATENT]
        area = grid.area[i] * fixed[BASE_AREA, c]
        step = scratch.shift[i, j, c] + scratch.gain[i, j, c] * scratch.delta[i, j, c]
        food.column[n, 0] = cells.layer[i, j, c]
        for k in range(1, last + 1):
            step = food.shift[n, k] + food.gain[n, k] * step
            food.column[n, k] += step
        if fixed[LID_CAP, c] <= 0.0:  # under a lid the air is moist
            dry = fixed[AIR_VAPOUR, c] if fixed[AIR_VAPOUR, c] > 0.0 else ROOM_VAPOUR_KG_M3
            thick = max(0.0, saturated_kg_m3(min(food.face[n], boil)) - dry)
            mass = min(step_s * food.const[n, F_VAPOUR] * thick, food.water[n, last])
            food.water[n, last] -= mass
            food.column[n, last] -= mass * latent / food.cap[n, last]
            cook[LATENT_OUT, c] += area * mass * latent
        for k in range(last + 1):
            over = food.column[n, k] - boil
            if over > 0.0 and food.water[n, k] > 0.0:
                mass = min(food.cap[n, k] * over / latent, food.water[n, k])
                food.water[n, k] -= mass
                food.column[n, k] -= mass * latent / food.cap[n, k]
                cook[LATENT_OUT, c] += area * mass * latent
        dry_out(food, n)
        cells.layer[i, j, c] = food.column[n, 0]


@compiled
def face_under_food_k(core: Core, out: FloatArray) -> None:
    """Set the upper face under food in ``out``, which is as narrow as the core."""
    cells, fixed, food = core.cells, core.fixed, core.food
    for n in range(food.cell.shape[0]):  # food takes what its contact lets through
        i, j, c = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]
        step = core.live[POWER, c] * cells.shape[i, j, c] + core.scratch.from_hob[i, j, c]
        into = core.scratch.up[i, j, c]
        out[i, j, c] = cells.pan[i, j, c] - fixed[CROSS_R, c] * step - fixed[FACE_R, c] * into


@compiled
def surface_of_food_k(food: Food, out: FloatArray) -> None:
    """Set the top of food in ``out``."""
    for n in range(food.cell.shape[0]):
        out[food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]] = food.face[n]
