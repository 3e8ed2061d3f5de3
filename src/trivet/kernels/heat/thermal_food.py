"""Compiled food of the pan simulator: a contact node and a body in each covered cell.

The contact node (the layer array) boils off its water at the boiling point; the
body above it is slow and explicit.
"""

from __future__ import annotations

from trivet.kernels.heat.thermal_cells import (
    AMBIENT,
    BASE_AREA,
    BELOW,
    BELOW4,
    BOTTOM_SIGMA,
    F_BODY_CAP,
    F_BOIL,
    F_CONTACT_CAP,
    F_INNER_G,
    F_LATENT,
    F_SIGMA,
    LATENT_OUT,
    LOSS_RATE,
    POWER,
    SURROUND4,
    TOP,
    Core,
    FloatArray,
    Food,
    compiled,
)


@compiled
def keep_food_conduction(food: Food, delta: FloatArray) -> None:
    """Note what conduction brings to the covered cells before exchange overwrites them."""
    for n in range(food.cell.shape[0]):
        food.rate[n] = delta[food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]]


@compiled
def exchange_food(core: Core, contact: FloatArray, step_s: float) -> None:
    """Put food in the place of the layer in covered cells; its body is explicit."""
    grid, cells, food, scratch = core.grid, core.cells, core.food, core.scratch
    fixed, live = core.fixed, core.live
    for n in range(food.cell.shape[0]):
        i, j, c = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]
        tp, tf, body = cells.pan[i, j, c], cells.layer[i, j, c], food.body[n]
        t3 = tp * tp * tp
        loss = (tp - fixed[BELOW, c]) * cells.bottom[i, c]
        loss += fixed[BOTTOM_SIGMA, c] * (t3 * tp - fixed[BELOW4, c])
        d_loss = cells.bottom[i, c] + 4.0 * fixed[BOTTOM_SIGMA, c] * t3
        g, inner, cap = contact[c], food.const[n, F_INNER_G], food.const[n, F_CONTACT_CAP]
        into, up = g * (tp - tf), inner * (tf - body)
        z = step_s * max(g / cap, (d_loss + g) / cells.capacity[i, c])
        w = step_s * (3.0 + z) / (6.0 + z)
        inv = 1.0 / (cap + w * g)
        shift, gain = step_s * (into - up) * inv, w * g * inv
        heat = live[POWER, c] * cells.shape[i, j, c]
        scratch.shift[i, j, c] = shift
        scratch.gain[i, j, c] = gain
        scratch.diag[i, j, c] = cells.capacity[i, c] + w * (d_loss + g - g * gain)
        scratch.delta[i, j, c] = food.rate[n] + step_s * (heat - loss - into) + w * g * shift
        # exchange booked a bare or wet top here: take it back, book the food's
        wrong = scratch.booked[i, j, c] - loss
        top = (body - fixed[AMBIENT, c]) * fixed[TOP, c]
        top += food.const[n, F_SIGMA] * (body**4 - fixed[SURROUND4, c])
        live[LOSS_RATE, c] += grid.area[i] * fixed[BASE_AREA, c] * (top - wrong)
        food.rate[n] = up - top


@compiled
def settle_food(core: Core, step_s: float) -> None:
    """Move heat into the bodies and boil off what exceeds the boiling point."""
    grid, cells, food = core.grid, core.cells, core.food
    fixed, cook = core.fixed, core.cook
    for n in range(food.cell.shape[0]):
        i, j, c = food.cell[n, 0], food.cell[n, 1], food.cell[n, 2]
        const = food.const[n]
        area = grid.area[i] * fixed[BASE_AREA, c]
        food.body[n] += step_s * food.rate[n] / const[F_BODY_CAP]
        for part in range(2):
            heat_cap = const[F_CONTACT_CAP] if part == 0 else const[F_BODY_CAP]
            temp = cells.layer[i, j, c] if part == 0 else food.body[n]
            if temp <= const[F_BOIL] or food.water[n] <= 0.0:
                continue
            mass = min(heat_cap * (temp - const[F_BOIL]) / const[F_LATENT], food.water[n])
            food.water[n] -= mass
            cook[LATENT_OUT, c] += area * mass * const[F_LATENT]
            temp -= mass * const[F_LATENT] / heat_cap
            if part == 0:
                cells.layer[i, j, c] = temp
            else:
                food.body[n] = temp
