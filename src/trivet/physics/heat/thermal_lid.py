"""Compiled lid and butter of the pan simulator.

A lid is one node over the pan.  What is under it loses heat to the lid in the
place of the room, vapour condenses on it and runs back, and the lid loses to
the room.  Butter is fat with water in it: where the fat is hotter than the
boiling point its water boils off at a rate that falls with the water left.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    AIR_VAPOUR,
    AMBIENT,
    BASE_AREA,
    BELOW,
    BELOW4,
    BOIL,
    BOTTOM_SIGMA,
    BULK_0,
    CAP,
    CONTENTS_AREA,
    LATENT,
    LATENT_OUT,
    LID_CAP,
    LID_CONDENSE,
    LID_H,
    LID_HEAT,
    LID_K,
    LID_LEAK,
    LID_RATE,
    LID_SIGMA,
    LOSS_RATE,
    MASS,
    MEAN_LAYER,
    RELEASE,
    ROOM,
    ROOM4,
    SPECIFIC_HEAT,
    SURROUND4,
    VAPOUR_OUT,
    Cells,
    Core,
    compiled,
)


@compiled
def saturated_kg_m3(t_k: float) -> float:
    """Return the density of saturated water vapour."""
    # Magnus form of the saturation pressure (WMO-No. 8, annex 4.B), within 1 % up to 100 C
    return float(611.2 * np.exp(17.62 * (t_k - 273.15) / (t_k - 30.03)) / (461.5 * t_k))


@compiled
def bottom_loss(cells: Cells, fixed: FloatArray, i: int, j: int, c: int) -> tuple[float, float]:
    """Return the loss of a cell to what lies below it, and its slope."""
    t = cells.pan[i, j, c]
    t3 = t * t * t
    loss = (t - fixed[BELOW, c]) * cells.bottom[i, c]
    loss += fixed[BOTTOM_SIGMA, c] * (t3 * t - fixed[BELOW4, c])
    return loss, cells.bottom[i, c] + 4.0 * fixed[BOTTOM_SIGMA, c] * t3


@compiled
def put_lid(fixed: FloatArray, cook: FloatArray, c: int) -> None:
    """Set what the contents of a lidded pan see: the lid, and air moist at its temperature."""
    if fixed[LID_CAP, c] > 0.0:
        lid = cook[LID_K, c]
        fixed[AMBIENT, c] = lid
        fixed[SURROUND4, c] = lid**4
        fixed[AIR_VAPOUR, c] = saturated_kg_m3(lid)


@compiled
def exchange_lid(core: Core) -> None:
    """Book what leaves the lid in the place of what leaves the contents under it."""
    grid, cells, booked = core.grid, core.cells, core.scratch.booked
    fixed, live, cook = core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    for c in range(lanes):
        if fixed[LID_CAP, c] <= 0.0:
            continue
        into = 0.0
        for i in range(n_r):
            share = grid.area[i] * fixed[BASE_AREA, c]
            for j in range(n_t):
                below, _ = bottom_loss(cells, fixed, i, j, c)
                into += share * (booked[i, j, c] - below)
        lid = cook[LID_K, c]
        out = (lid - fixed[ROOM, c]) * fixed[LID_H, c]
        out += fixed[LID_SIGMA, c] * (lid**4 - fixed[ROOM4, c])
        out *= fixed[BASE_AREA, c]
        live[LID_RATE, c] = into - out
        live[LOSS_RATE, c] += out - into


@compiled
def condensed_kg(
    fixed: FloatArray, cook: FloatArray, c: int, vapour: tuple[float, float], step_s: float
) -> float:
    """Return how much of the vapour of a step runs back from the lid, and note its heat.

    ``vapour`` is what left the contents [kg] and the temperature that it left at.
    """
    gone_kg, from_k = vapour
    if fixed[LID_CAP, c] <= 0.0:
        return 0.0
    over = max(0.0, from_k - cook[LID_K, c])
    most = step_s * fixed[LID_CONDENSE, c] * fixed[BASE_AREA, c] * over / fixed[LATENT, c]
    back = min((1.0 - fixed[LID_LEAK, c]) * gone_kg, most)
    cook[LID_HEAT, c] += back * fixed[LATENT, c]
    return float(back)


@compiled
def settle_lid(fixed: FloatArray, live: FloatArray, cook: FloatArray, step_s: float) -> None:
    """Warm the lids by what they took up."""
    for c in range(fixed.shape[1]):
        if fixed[LID_CAP, c] > 0.0:
            cook[LID_K, c] += (step_s * live[LID_RATE, c] + cook[LID_HEAT, c]) / fixed[LID_CAP, c]
            cook[LID_HEAT, c] = 0.0


@compiled
def settle_butter(core: Core, step_s: float) -> None:
    """Boil water out of hot fat, cell by cell; what is left is shared by all cells."""
    grid, cells, fixed, live, cook = core.grid, core.cells, core.fixed, core.live, core.cook
    n_r, n_t, lanes = cells.pan.shape
    for c in range(lanes):
        if fixed[RELEASE, c] <= 0.0 or cook[MASS, c] <= 0.0:
            continue
        areal, cap = cook[MASS, c] / fixed[CONTENTS_AREA, c], live[CAP, c]
        gone = 0.0
        for i in range(n_r):
            share = grid.area[i] * fixed[BASE_AREA, c]
            for j in range(n_t):
                over = cells.layer[i, j, c] - fixed[BOIL, c]
                if over <= 0.0 or cells.open_frac[i, j, c] <= 0.0:
                    continue
                mass = -areal * np.expm1(-step_s * fixed[RELEASE, c] * over)
                mass = min(mass, cap * over / fixed[LATENT, c])
                cells.layer[i, j, c] -= mass * fixed[LATENT, c] / cap
                gone += share * mass
        cook[MEAN_LAYER, c] -= gone * fixed[LATENT, c] / (cap * fixed[BASE_AREA, c])
        mean = cook[MEAN_LAYER, c] * fixed[BASE_AREA, c] / fixed[CONTENTS_AREA, c]
        net = gone - condensed_kg(fixed, cook, c, (gone, mean), step_s)
        cook[MASS, c] -= net
        cook[LATENT_OUT, c] += net * fixed[LATENT, c]
        cook[VAPOUR_OUT, c] += net * fixed[SPECIFIC_HEAT, c] * (mean - cook[BULK_0, c])
