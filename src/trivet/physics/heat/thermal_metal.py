"""Tables of the conducting metal and of the hob of one block of cooks."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat import thermal_cells as tc
from trivet.physics.heat.thermal_batch import Block
from trivet.physics.heat.thermal_model import PanWall

AIR_PER_K = 0.00261  # growth of the conductivity of air, of that at 300 K: Incropera, table A.4
INERT = 1.0  # J/m2/K of a wall that is not there


def metal_table(block: Block, grid: tc.Grid) -> tc.Metal:
    """Return temperatures, conductances and wall figures of a block.

    Parameters
    ----------
    block : Block
        Which cooks, their pans and losses, and how they start.
    grid : Grid
        Of the base.

    Returns
    -------
    Metal
        Of base and wall.

    Notes
    -----
    The wall is a cylinder: its rings have the base's circumference.  From the
    middle of the outermost ring of the base to that of the first of the wall
    the two halves conduct in series.

    References
    ----------
    Standard finite volumes.
    """
    pan, start = block.pan, block.settings.start
    n_r, n_theta, _ = block.shape.shape
    radius = block.pick(pan.radius_m)
    unit = block.pick(pan.sheet_w_k) / radius**2
    rings = 0 if pan.wall is None else pan.wall.rings
    total = n_r + rings
    inward, outward, around = (np.zeros((total, radius.size)) for _ in range(3))
    inward[:n_r], outward[:n_r] = grid.inward[:, None] * unit, grid.outward[:, None] * unit
    around[:n_r] = grid.around[:, None] * unit
    k = np.empty((total, n_theta, radius.size))
    k[:n_r] = block.field(block.settings.start_k if start is None else start.pan_k)
    area, capacity, heat, grip = (np.zeros((rings, radius.size)) for _ in range(4))
    wall = np.zeros((tc.N_WALL, radius.size))
    metal = tc.Metal(k, inward, outward, around, area, capacity, heat, grip, wall)
    if pan.wall is not None:
        k[n_r:] = k[n_r - 1]
        if start is not None and start.wall_k.shape[0] == rings:
            k[n_r:] = start.wall_k[..., block.cooks]
        _join_wall(block, pan.wall, metal, grid.area[-1] * np.pi * radius**2)
        _wall_losses(block, pan.wall, metal.wall)
    return metal


def _join_wall(block: Block, wall: PanWall, metal: tc.Metal, rim_m2: FloatArray) -> None:
    """Fill areas, capacities, heat and conductances of the wall; none where its height is 0."""
    n_r, n_theta, _ = block.shape.shape
    radius, height = block.pick(block.pan.radius_m), block.pick(wall.height_m)
    there = height > 0.0
    dz = np.where(there, height, 1.0) / wall.rings
    arc = 2.0 * np.pi * radius / n_theta
    sheet = np.where(there, block.pick(wall.sheet_w_k), 0.0)
    cell = arc * dz
    metal.area[:] = np.where(there, cell, 0.0)
    metal.capacity[:] = np.where(there, block.pick(wall.areal_j_m2k), INERT)
    # flames wash the lower wall: a straight fall to nothing at the top; assumed
    fall = np.arange(wall.rings, 0, -1) - 0.5
    share = np.where(there, block.pick(wall.heat_frac), 0.0) / (fall.sum() * n_theta * cell)
    metal.heat[:] = fall[:, None] * share
    metal.wall[tc.W_HEIGHT] = dz
    half_rim = 0.5 * radius / n_r / block.pick(block.pan.sheet_w_k)
    joint = np.where(there, arc / (half_rim + 0.5 * dz / np.maximum(sheet, 1e-30)), 0.0)
    metal.outward[n_r - 1] = joint / rim_m2
    metal.inward[n_r] = joint / cell
    metal.inward[n_r + 1 :] = metal.outward[n_r:-1] = sheet / dz**2
    metal.around[n_r:] = sheet / arc**2


def _wall_losses(block: Block, wall: PanWall, table: FloatArray) -> None:
    """Fill the coefficients of the loss of both faces, and the hold of the liquid."""
    there = block.pick(wall.height_m) > 0.0
    losses, pick = block.losses, block.pick
    ambient, slope, h = pick(losses.ambient_k), pick(wall.loss_slope_w_m2k2), pick(wall.loss_w_m2k)
    sigma = tc.STEFAN_BOLTZMANN * pick(wall.emissivity)
    rows = {
        0: (slope * ambient - h) * ambient - sigma * pick(losses.surround_k) ** 4,
        1: h - 2.0 * slope * ambient,
        2: slope,
        3: sigma,
        tc.W_GRIP: pick(wall.wet_w_m2k),
        tc.W_DEPTH: 1.0 / (pick(wall.liquid_kg_m3) * np.pi * pick(block.pan.radius_m) ** 2),
    }
    for row, value in rows.items():
        table[row] = np.where(there, value, 0.0)


def hob_table(block: Block) -> tc.Hob:
    """Return the nodes of the hob under the pans of a block; no row without a hob.

    Parameters
    ----------
    block : Block
        Which cooks, what lies below them, and how they start.

    Returns
    -------
    Hob
        A cook whose hob is not ``on`` has nodes that exchange nothing.

    Notes
    -----
    The conductivity of air is taken to grow by 0.261 % of its value at 300 K a
    kelvin: within 2 % from 300 to 600 K.

    References
    ----------
    Air: Incropera et al., table A.4.
    """
    n_r, n_theta, _ = block.shape.shape
    hob, start, pick = block.losses.hob, block.settings.start, block.pick
    lanes = pick(0.0).size
    if hob is None:
        none = np.zeros((0, n_theta, lanes))
        phi, fixed = np.zeros((3, 0, n_theta, lanes)), np.zeros((tc.N_HOB, lanes))
        return tc.Hob(none, none, none, phi, fixed, none, none, none, none)
    on = pick(hob.on) > 0.0
    gap = np.where(on, block.field(hob.gap_w_m2k), 0.0)
    touch = np.where(on, block.field(hob.contact_w_m2k), 0.0)
    black = np.where(on, tc.STEFAN_BOLTZMANN * block.field(hob.exchange_frac), 0.0)
    phi = np.stack([gap * (1.0 - 300.0 * AIR_PER_K) + touch, gap * 0.5 * AIR_PER_K, black])
    fixed = np.zeros((tc.N_HOB, lanes))
    fixed[tc.H_SERIES] = pick(hob.series_m2k_w)
    fixed[tc.H_LOSS] = np.where(on, pick(hob.loss_w_m2k), 0.0)
    fixed[tc.H_BELOW] = pick(block.losses.below_k)
    fixed[tc.H_LIMIT], fixed[tc.H_HYSTERESIS] = pick(hob.limit_k), pick(hob.hysteresis_k)
    k = block.field(block.settings.start_k)
    if start is not None:
        k = block.field(start.hob_k if start.hob_k.shape[0] == n_r else start.pan_k)
    share = np.where(on, pick(hob.heat_frac), 0.0)
    shape = np.ascontiguousarray(block.shape[..., block.cooks] * share)
    cap = np.where(on, block.field(hob.areal_j_m2k), INERT)
    by_hob, by_pan, shift, gain = (np.zeros(k.shape) for _ in range(4))
    return tc.Hob(k, cap, shape, phi, fixed, by_hob, by_pan, shift, gain)
