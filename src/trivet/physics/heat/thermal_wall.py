"""Compiled wall of the pan simulator: rings that carry on from the rim, round a cylinder.

The rings lie behind the base's in the arrays of the sweeps, so that conduction
up the wall and round it is solved with that of the base.  Both faces lose heat;
the lowest rings may touch the liquid, which takes their heat stirred.
"""

from __future__ import annotations

from trivet.arrays import FloatArray
from trivet.physics.heat.thermal_cells import (
    CAP,
    CONTENTS_AREA,
    MASS,
    MEAN_LAYER,
    POWER,
    W_DEPTH,
    W_GRIP,
    W_HEIGHT,
    Core,
    compiled,
)
from trivet.physics.heat.thermal_exchange import add_loss, add_row, slope_row, value_row


@compiled
def _grip(grip: FloatArray, wall: FloatArray, mass_kg: FloatArray, ring: int) -> None:
    """Set the coefficient from a ring to the liquid: by how much of the ring is wetted."""
    for c in range(grip.size):
        depth = wall[W_DEPTH, c] * mass_kg[c]
        grip[c] = wall[W_GRIP, c] * min(1.0, max(0.0, depth / wall[W_HEIGHT, c] - ring))


@compiled
def _terms(
    diag: FloatArray, delta: FloatArray, row: FloatArray, lane: FloatArray, step_s: float
) -> None:
    """Add loss, liquid and heat: ``lane`` has capacity, grip, and heat with the liquid's pull."""
    loss, slope, t = row[0], row[1], row[2]
    cap, grip, heat = lane[0], lane[1], lane[2]
    for j in range(diag.shape[0]):
        for c in range(diag.shape[1]):
            steep = slope[j, c] + grip[c]
            six = 6.0 * cap[c] + step_s * steep
            diag[j, c] = cap[c] + step_s * steep * (3.0 * cap[c] + step_s * steep) / six
    for j in range(diag.shape[0]):
        for c in range(diag.shape[1]):
            delta[j, c] += step_s * (heat[c] - loss[j, c] - grip[c] * t[j, c])


@compiled
def exchange_wall(core: Core, step_s: float) -> None:
    """Add losses, heating and the liquid to right side and diagonal of a wide core's wall."""
    metal, live, cook, scratch = core.metal, core.live, core.cook, core.scratch
    n_r, _, lanes = core.cells.pan.shape
    row, lane = scratch.row, scratch.poly
    for ring in range(metal.area.shape[0]):
        _grip(metal.grip[ring], metal.wall, cook[MASS], ring)
        for c in range(lanes):
            lane[0, c], lane[1, c] = metal.capacity[ring, c], metal.grip[ring, c]
            heat = live[POWER, c] * metal.heat[ring, c]
            lane[2, c] = heat + metal.grip[ring, c] * cook[MEAN_LAYER, c]
        t = metal.k[n_r + ring]
        value_row(row[0], t, metal.wall)
        slope_row(row[1], t, metal.wall)
        row[2, :, :] = t
        _terms(scratch.diag[n_r + ring], scratch.delta[n_r + ring], row, lane, step_s)
        add_loss(scratch.total[0], row[0], metal.area[ring], 1.0)


@compiled
def settle_wall(core: Core, wide: Core, step_s: float) -> None:
    """Add the increments to the wall and give its heat to the liquid, before it is stirred."""
    metal, fixed, live, cook, scratch = core.metal, core.fixed, core.live, core.cook, core.scratch
    cells = core.cells
    n_r, n_t, lanes = cells.pan.shape
    into = scratch.poly[0]
    into[:] = 0.0
    for ring in range(metal.area.shape[0]):
        t, step, diag = metal.k[n_r + ring], scratch.delta[n_r + ring], scratch.diag[n_r + ring]
        cap, area = metal.capacity[ring], metal.area[ring]
        grip = wide.metal.grip[ring]  # its first lanes are the cooks'
        for c in range(lanes):
            if grip[c] <= 0.0:
                continue
            for j in range(n_t):
                b, d, e = metal.wall[1, c], metal.wall[2, c], metal.wall[3, c]
                slope = b + 2.0 * d * t[j, c] + 4.0 * e * t[j, c] ** 3 + grip[c]
                # the weight of the new level is what the diagonal was given
                moved = step_s * (t[j, c] - cook[MEAN_LAYER, c])
                moved += (diag[j, c] - cap[c]) / slope * step[j, c]
                into[c] += area[c] * grip[c] * moved
        add_row(wide.metal.k[n_r + ring], wide.scratch.delta[n_r + ring])
    for c in range(lanes):
        if into[c] == 0.0:
            continue
        rise = into[c] / (fixed[CONTENTS_AREA, c] * live[CAP, c])
        for i in range(n_r):
            for j in range(n_t):
                if cells.open_frac[i, j, c] > 0.0:
                    cells.layer[i, j, c] += rise
