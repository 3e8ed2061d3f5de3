"""Compiled food, butter and lid of the pan simulator.

Food is a column of nodes on every covered cell.  Node 0 touches the pan and stands in the
layer array.  The nodes above it are eliminated from the top down (they form a tridiagonal
system), then node 0 is eliminated from the pan's equation like any other layer.  Heat goes
up only: between neighbouring columns it is left out, for a food is far wider than thick.
Each node boils off its own water at the boiling point; so a dry crust grows from the contact
face, and what has dried conducts worse.

A lid is one node over the pan.  What is under it loses heat to the lid in the place of the
room, vapour condenses on it and runs back, and the lid loses to the room.  Butter is fat with
water in it: where the fat is hotter than the boiling point its water boils off at a rate that
falls with the water left.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import VAPOUR_J_KGK, ZERO_C_K
from trivet.physics.heat.loads import AIR_VAPOUR_KG_M3
from trivet.physics.heat.pan.tables import (
    BaseCells,
    Core,
    Fixed,
    FoodAt,
    FoodFigure,
    FoodNodes,
    Live,
    State,
    compiled,
    spread_row,
)


@compiled
def saturated_kg_m3(t_k: float) -> float:
    """Return the density of saturated water vapour."""
    # Magnus form of the saturation pressure (WMO-No. 8, annex 4.B), within 1 % up to 100 C
    return float(611.2 * np.exp(17.62 * (t_k - ZERO_C_K) / (t_k - 30.03)) / (VAPOUR_J_KGK * t_k))


@compiled
def bottom_loss(cells: BaseCells, fixed: FloatArray, i: int, j: int, c: int) -> tuple[float, float]:
    """Return the loss of a cell to what lies below it, and its slope."""
    t = cells.pan[i, j, c]
    t3 = t * t * t
    loss = (t - fixed[Fixed.BELOW, c]) * cells.bottom[i, c]
    loss += fixed[Fixed.BOTTOM_SIGMA, c] * (t3 * t - fixed[Fixed.BELOW4, c])
    return loss, cells.bottom[i, c] + 4.0 * fixed[Fixed.BOTTOM_SIGMA, c] * t3


@compiled
def put_lid(fixed: FloatArray, cook: FloatArray, c: int) -> None:
    """Set what the contents of a lidded pan see: the lid, and air moist at its temperature."""
    if fixed[Fixed.LID_CAP, c] > 0.0:
        lid = cook[State.LID_K, c]
        fixed[Fixed.AMBIENT, c] = lid
        fixed[Fixed.SURROUND4, c] = lid**4
        fixed[Fixed.AIR_VAPOUR, c] = saturated_kg_m3(lid)


@compiled
def exchange_lid(core: Core) -> None:
    """Book what leaves the lid in the place of what leaves the contents under it."""
    grid, cells, booked = core.grid, core.cells, core.scratch.booked
    fixed, live, cook = core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    for c in range(lanes):
        if fixed[Fixed.LID_CAP, c] <= 0.0:
            continue
        into = 0.0
        for i in range(n_r):
            share = grid.area[i] * fixed[Fixed.BASE_AREA, c]
            for j in range(n_t):
                below, _ = bottom_loss(cells, fixed, i, j, c)
                into += share * (booked[i, j, c] - below)
        lid = cook[State.LID_K, c]
        out = (lid - fixed[Fixed.ROOM, c]) * fixed[Fixed.LID_H, c]
        out += fixed[Fixed.LID_SIGMA, c] * (lid**4 - fixed[Fixed.ROOM4, c])
        out *= fixed[Fixed.BASE_AREA, c]
        live[Live.LID_RATE, c] = into - out
        live[Live.LOSS_RATE, c] += out - into


@compiled
def condensed_kg(
    fixed: FloatArray, cook: FloatArray, c: int, vapour: tuple[float, float], step_s: float
) -> float:
    """Return how much of the vapour of a step runs back from the lid, and note its heat.

    ``vapour`` is what left the contents [kg] and the temperature that it left at.
    """
    gone_kg, from_k = vapour
    if fixed[Fixed.LID_CAP, c] <= 0.0:
        return 0.0
    over = max(0.0, from_k - cook[State.LID_K, c])
    most = (
        step_s
        * fixed[Fixed.LID_CONDENSE, c]
        * fixed[Fixed.BASE_AREA, c]
        * over
        / fixed[Fixed.LATENT, c]
    )
    back = min((1.0 - fixed[Fixed.LID_LEAK, c]) * gone_kg, most)
    cook[State.LID_HEAT, c] += back * fixed[Fixed.LATENT, c]
    return float(back)


@compiled
def settle_lid(fixed: FloatArray, live: FloatArray, cook: FloatArray, step_s: float) -> None:
    """Warm the lids by what they took up."""
    for c in range(fixed.shape[1]):
        if fixed[Fixed.LID_CAP, c] > 0.0:
            cook[State.LID_K, c] += (
                step_s * live[Live.LID_RATE, c] + cook[State.LID_HEAT, c]
            ) / fixed[Fixed.LID_CAP, c]
            cook[State.LID_HEAT, c] = 0.0


@compiled
def settle_butter(core: Core, step_s: float) -> None:
    """Boil water out of hot fat, cell by cell; what is left is shared by all cells."""
    grid, cells, fixed, live, cook = core.grid, core.cells, core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    for c in range(lanes):
        if fixed[Fixed.RELEASE, c] <= 0.0 or cook[State.MASS, c] <= 0.0:
            continue
        areal, cap = cook[State.MASS, c] / fixed[Fixed.CONTENTS_AREA, c], live[Live.CAP, c]
        gone = 0.0
        for i in range(n_r):
            share = grid.area[i] * fixed[Fixed.BASE_AREA, c]
            for j in range(n_t):
                over = cells.layer[i, j, c] - fixed[Fixed.BOIL, c]
                if over <= 0.0 or cells.open_frac[i, j, c] <= 0.0:
                    continue
                mass = -areal * np.expm1(-step_s * fixed[Fixed.RELEASE, c] * over)
                mass = min(mass, cap * over / fixed[Fixed.LATENT, c])
                cells.layer[i, j, c] -= mass * fixed[Fixed.LATENT, c] / cap
                gone += share * mass
        cook[State.MEAN_LAYER, c] -= (
            gone * fixed[Fixed.LATENT, c] / (cap * fixed[Fixed.BASE_AREA, c])
        )
        mean = cook[State.MEAN_LAYER, c] * fixed[Fixed.BASE_AREA, c] / fixed[Fixed.CONTENTS_AREA, c]
        net = gone - condensed_kg(fixed, cook, c, (gone, mean), step_s)
        cook[State.MASS, c] -= net
        cook[State.LATENT_OUT, c] += net * fixed[Fixed.LATENT, c]
        cook[State.VAPOUR_OUT, c] += (
            net * fixed[Fixed.SPECIFIC_HEAT, c] * (mean - cook[State.BULK_0, c])
        )


@compiled
def keep_food_conduction(food: FoodNodes, delta: FloatArray) -> None:
    """Note what conduction brings to the covered cells before exchange overwrites them."""
    for n in range(food.cell.shape[0]):
        food.rate[n] = delta[
            food.cell[n, FoodAt.RING], food.cell[n, FoodAt.ANGLE], food.cell[n, FoodAt.LANE]
        ]


@compiled
def _crust(food: FoodNodes, n: int, k: int) -> float:
    """Return by how much more a node resists heat than while it was wet."""
    wet = food.wet[n, k]
    return food.const[n, FoodFigure.CRUST] * (1.0 - food.water[n, k] / wet) if wet > 0.0 else 0.0


@compiled
def dry_out(food: FoodNodes, n: int) -> None:
    """Set a column's conductances to what its nodes' water leaves of them."""
    for k in range(food.column.shape[1] - 1):
        share = food.cap[n, k] / (food.cap[n, k] + food.cap[n, k + 1])
        more = share * _crust(food, n, k) + (1.0 - share) * _crust(food, n, k + 1)
        food.up[n, k] = food.moist[n, k] / (1.0 + more)


@compiled
def top_loss(food: FoodNodes, fixed: FloatArray, n: int, c: int) -> tuple[float, float]:
    """Return the loss of a column's top to air and room, through its last half node.

    Notes the temperature of the face; one Newton step, as for a liquid's skin.
    """
    last = food.column.shape[1] - 1
    t, half = (
        food.column[n, last],
        food.const[n, FoodFigure.HALF_ABOVE] * (1.0 + _crust(food, n, last)),
    )
    sigma = food.const[n, FoodFigure.SIGMA]
    loss = (t - fixed[Fixed.AMBIENT, c]) * fixed[Fixed.TOP, c] + sigma * (
        t**4 - fixed[Fixed.SURROUND4, c]
    )
    slope = fixed[Fixed.TOP, c] + 4.0 * sigma * t**3
    share = 1.0 / (1.0 + half * slope)
    food.face[n] = t - half * loss * share
    return loss * share, slope * share


@compiled
def _eliminate(
    food: FoodNodes, n: int, loss: tuple[float, float], step_s: float, weight_s: float
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
        i, j, c, piece = (
            food.cell[n, FoodAt.RING],
            food.cell[n, FoodAt.ANGLE],
            food.cell[n, FoodAt.LANE],
            food.cell[n, FoodAt.PIECE],
        )
        food.column[n, 0] = cells.layer[i, j, c]
        under = live[Live.POWER, c] * cells.shape[i, j, c] + scratch.from_hob[i, j, c]
        tp, t0 = cells.pan[i, j, c] - fixed[Fixed.CROSS_R, c] * under, food.column[n, 0]
        loss, d_loss = bottom_loss(cells, fixed, i, j, c)
        above = top_loss(food, fixed, n, c)
        _eliminate(food, n, above, step_s, weight_s)
        half = food.const[n, FoodFigure.HALF_BELOW] * (1.0 + _crust(food, n, 0))
        series = half + fixed[Fixed.FACE_R, c]  # the base's upper part too
        g = contact[piece, c] / (1.0 + contact[piece, c] * series)
        inner, cap = food.up[n, 0], food.cap[n, 0]
        into, up = g * (tp - t0), inner * (t0 - food.column[n, 1])
        z = step_s * max(g / cap, (d_loss + g) / cells.capacity[i, c])
        w = step_s * (3.0 + z) / (6.0 + z)
        diag = cap + w * g + weight_s * inner * (1.0 - food.gain[n, 1])
        shift = (step_s * (into - up) + weight_s * inner * food.shift[n, 1]) / diag
        gain = w * g / diag
        heat = live[Live.POWER, c] * cells.shape[i, j, c]
        scratch.up[i, j, c] = into
        scratch.shift[i, j, c] = shift
        scratch.gain[i, j, c] = gain
        scratch.diag[i, j, c] = cells.capacity[i, c] + w * (d_loss + g - g * gain)
        scratch.delta[i, j, c] = food.rate[n] + step_s * (heat - loss - into) + w * g * shift
        # exchange booked a bare or wet top here: take it back, book the food's
        booked = loss + above[0]
        live[Live.LOSS_RATE, c] += (
            grid.area[i] * fixed[Fixed.BASE_AREA, c] * (booked - scratch.booked[i, j, c])
        )
        scratch.booked[i, j, c] = booked


@compiled
def settle_food(core: Core, step_s: float) -> None:
    """Move heat up the columns, boil off what exceeds the boiling point, dry the top."""
    grid, cells, food, scratch = core.grid, core.cells, core.food, core.scratch
    fixed, cook = core.fixed, core.cook
    last = food.column.shape[1] - 1
    for n in range(food.cell.shape[0]):
        i, j, c = food.cell[n, FoodAt.RING], food.cell[n, FoodAt.ANGLE], food.cell[n, FoodAt.LANE]
        boil, latent = food.const[n, FoodFigure.BOIL], food.const[n, FoodFigure.LATENT]
        area = grid.area[i] * fixed[Fixed.BASE_AREA, c]
        step = scratch.shift[i, j, c] + scratch.gain[i, j, c] * scratch.delta[i, j, c]
        food.column[n, 0] = cells.layer[i, j, c]
        for k in range(1, last + 1):
            step = food.shift[n, k] + food.gain[n, k] * step
            food.column[n, k] += step
        if fixed[Fixed.LID_CAP, c] <= 0.0:  # under a lid the air is moist
            dry = (
                fixed[Fixed.AIR_VAPOUR, c] if fixed[Fixed.AIR_VAPOUR, c] > 0.0 else AIR_VAPOUR_KG_M3
            )
            thick = max(0.0, saturated_kg_m3(min(food.face[n], boil)) - dry)
            mass = min(step_s * food.const[n, FoodFigure.VAPOUR] * thick, food.water[n, last])
            food.water[n, last] -= mass
            food.column[n, last] -= mass * latent / food.cap[n, last]
            cook[State.LATENT_OUT, c] += area * mass * latent
        for k in range(last + 1):
            over = food.column[n, k] - boil
            if over > 0.0 and food.water[n, k] > 0.0:
                mass = min(food.cap[n, k] * over / latent, food.water[n, k])
                food.water[n, k] -= mass
                food.column[n, k] -= mass * latent / food.cap[n, k]
                cook[State.LATENT_OUT, c] += area * mass * latent
        dry_out(food, n)
        cells.layer[i, j, c] = food.column[n, 0]


@compiled
def face_under_food_k(core: Core, out: FloatArray) -> None:
    """Set the upper face under food in ``out``, which is as narrow as the core."""
    cells, fixed, food = core.cells, core.fixed, core.food
    for n in range(food.cell.shape[0]):  # food takes what its contact lets through
        i, j, c = food.cell[n, FoodAt.RING], food.cell[n, FoodAt.ANGLE], food.cell[n, FoodAt.LANE]
        step = core.live[Live.POWER, c] * cells.shape[i, j, c] + core.scratch.from_hob[i, j, c]
        into = core.scratch.up[i, j, c]
        out[i, j, c] = (
            cells.pan[i, j, c] - fixed[Fixed.CROSS_R, c] * step - fixed[Fixed.FACE_R, c] * into
        )


@compiled
def surface_of_food_k(food: FoodNodes, out: FloatArray) -> None:
    """Set the top of food in ``out``."""
    for n in range(food.cell.shape[0]):
        out[food.cell[n, FoodAt.RING], food.cell[n, FoodAt.ANGLE], food.cell[n, FoodAt.LANE]] = (
            food.face[n]
        )


@compiled
def settle(core: Core, wide: Core, step_s: float) -> None:
    """Stir the layer, boil off the excess, account for the vapour, find dryness."""
    cells, fixed, live, cook = core.cells, core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    stirred = False
    for c in range(lanes):
        mean = cook[State.MEAN_LAYER, c] * fixed[Fixed.BASE_AREA, c] / fixed[Fixed.CONTENTS_AREA, c]
        cook[State.MEAN_LAYER, c] = mean
        stirred = stirred or fixed[Fixed.MIXING, c] > 0.0
        if fixed[Fixed.FILM_MASS, c] <= 0.0 or cook[State.MASS, c] <= 0.0:
            continue
        area = fixed[Fixed.CONTENTS_AREA, c]
        gone = (
            area * live[Live.WET, c] * live[Live.EVAPORATION, c] * step_s / fixed[Fixed.LATENT, c]
        )
        excess = 0.0
        if mean > fixed[Fixed.BOIL, c]:
            excess = area * live[Live.CAP, c] * (mean - fixed[Fixed.BOIL, c])
            mean = fixed[Fixed.BOIL, c]
        gone += excess / fixed[Fixed.LATENT, c]
        spare = 0.0
        if gone >= cook[State.MASS, c]:  # dry: the heat that found no water goes back to the pan
            spare = (gone - cook[State.MASS, c]) * fixed[Fixed.LATENT, c]
            gone = cook[State.MASS, c]
        gone -= condensed_kg(fixed, cook, c, (gone, mean), step_s)
        cook[State.MASS, c] -= gone
        cook[State.LATENT_OUT, c] += gone * fixed[Fixed.LATENT, c]
        cook[State.VAPOUR_OUT, c] += (
            gone * fixed[Fixed.SPECIFIC_HEAT, c] * (mean - cook[State.BULK_0, c])
        )
        cook[State.MEAN_LAYER, c] = mean
        if spare > 0.0:
            for i in range(n_r):
                rise = spare / (fixed[Fixed.BASE_AREA, c] * cells.capacity[i, c])
                for j in range(n_t):
                    cells.pan[i, j, c] += rise
    if stirred:
        spread_row(wide.cook[State.MEAN_LAYER], cook[State.MEAN_LAYER])
        mixing, mean_k = wide.fixed[Fixed.MIXING], wide.cook[State.MEAN_LAYER]
        for i in range(n_r):
            layer, open_frac = wide.cells.layer[i], wide.cells.open_frac[i]
            for j in range(layer.shape[0]):
                for c in range(layer.shape[1]):
                    pull = mixing[c] * open_frac[j, c]
                    layer[j, c] += pull * (mean_k[c] - layer[j, c])
