"""Tables of the compiled food: columns in, temperatures of the cores out."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError
from trivet.physics.heat import thermal_cells as tc
from trivet.physics.heat.foodpatch import FoodPatch, coldest_k
from trivet.physics.heat.thermal_food import dry_out


def no_food() -> tc.Food:
    """Return the table of a block without food, of the same types as any other.

    Returns
    -------
    thermal_cells.Food
        No cell.

    Notes
    -----
    Exact.
    """
    none, flat = np.zeros((0, 2)), np.zeros(0)
    cell, const = np.zeros((0, 4), dtype=np.int64), np.zeros((0, tc.N_FOOD))
    return tc.Food(
        cell, none, none.copy(), none.copy(), none.copy(), none.copy(), none.copy(), const,
        none.copy(), none.copy(), flat, flat.copy(),
    )  # fmt: skip


def food_table(food: FoodPatch, cooks: slice, cover: BoolArray) -> tc.Food:
    """Return the covered cells of a block with their state and constants.

    Parameters
    ----------
    food : FoodPatch
        Food of the whole batch.
    cooks : slice
        Which cooks of it.
    cover : (r, theta, lane)
        Where food lies.

    Returns
    -------
    thermal_cells.Food
        One row a covered cell.

    Raises
    ------
    InputError
        If the nodes of the fields do not fit one another.

    Notes
    -----
    Exact.
    """
    shape = food.piece.shape
    column = np.asarray(food.column_k, dtype=np.float64)
    nodes = column.shape[0] if column.ndim == 4 else 0
    if nodes < 2:
        raise InputError(f"column_k has shape {column.shape}; wanted (node, r, theta, cook)")
    i, j, c = np.argwhere(cover).T

    def rows(value: ArrayLike, depth: int, name: str) -> FloatArray:
        array = np.asarray(value, dtype=np.float64)
        try:
            full = np.broadcast_to(array, (depth, *shape))
        except ValueError:
            raise InputError(f"{name} has shape {array.shape}; wanted {(depth, *shape)}") from None
        return np.ascontiguousarray(full[..., cooks][:, i, j, c].T)

    up = np.zeros((i.size, nodes))
    up[:, :-1] = rows(food.between_w_m2k, nodes - 1, "between_w_m2k")
    const = np.zeros((i.size, tc.N_FOOD))
    const[:, [tc.F_HALF_BELOW, tc.F_HALF_ABOVE]] = rows(food.half_m2k_w, 1, "half_m2k_w")
    const[:, tc.F_BOIL], const[:, tc.F_LATENT] = food.boil_k, food.latent_j_kg
    const[:, tc.F_SIGMA] = tc.STEFAN_BOLTZMANN * food.emissivity
    const[:, tc.F_VAPOUR] = food.evaporation_m_s
    const[:, [tc.F_CRUST]] = rows(food.crust, 1, "crust")
    piece = np.asarray(food.piece)[..., cooks][i, j, c]
    start = rows(column, nodes, "column_k")
    water = rows(food.water_kg_m2, nodes, "water_kg_m2")
    made = tc.Food(
        cell=np.ascontiguousarray(np.stack([i, j, c, piece], axis=1), dtype=np.int64),
        column=start,
        water=water,
        wet=water.copy() if food.wet_kg_m2 is None else rows(food.wet_kg_m2, nodes, "wet_kg_m2"),
        cap=rows(food.areal_j_m2k, nodes, "areal_j_m2k"),
        up=up,
        moist=up.copy(),
        const=const,
        shift=np.zeros((i.size, nodes)),
        gain=np.zeros((i.size, nodes)),
        rate=np.zeros(i.size),
        face=start[:, -1].copy(),
    )
    for n in range(i.size):
        dry_out(made, n)
    return made


def core_temperatures_k(food: tc.Food, area: FloatArray, sums_k: FloatArray) -> FloatArray:
    """Return the coldest height of each piece, as an area mean over its columns.

    Parameters
    ----------
    food : thermal_cells.Food
        Where the pieces lie.
    area : (r,)
        Share of the disc of one cell of each ring. [-]
    sums_k : (time, node, piece, lane)
        Sums of share x temperature over the columns. [K]

    Returns
    -------
    (time, piece, lane)
        Temperature, NaN where no such piece lies. [K]

    Notes
    -----
    The coldest column of an uneven pan is up to some kelvin colder than the mean:
    a food-safety log wants its probe there.
    """
    times, nodes, pieces, lanes = sums_k.shape
    if nodes == 0:
        return np.full((times, pieces, lanes), np.nan)
    i, _, c, piece = food.cell.T
    weight = np.zeros((pieces, lanes))
    np.add.at(weight, (piece, c), area[i])
    with np.errstate(invalid="ignore"):
        return coldest_k(np.moveaxis(sums_k, 1, 0) / np.where(weight > 0.0, weight, np.nan))
