"""Tables of one block of cooks at the start of a run, and the same block seen wide."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray
from trivet.constants import STEFAN_BOLTZMANN_W_M2K4
from trivet.errors import InputError
from trivet.physics.heat.food import FoodPatch
from trivet.physics.heat.loads import NUSSELT_PER_K, Lid
from trivet.physics.heat.pan.food import dry_out
from trivet.physics.heat.pan.model import DiscGrid, Hob, PanWall, unit_grid
from trivet.physics.heat.pan.tables import (
    BaseCells,
    Block,
    Core,
    Fixed,
    FoodFigure,
    FoodNodes,
    HobFigure,
    HobNodes,
    Metal,
    PanScratch,
    State,
    Turn,
    WallFigure,
    Work,
)

AIR_PER_K = 0.00261  # growth of the conductivity of air, of that at 300 K: Incropera, table A.4
INERT_J_M2K = 1.0  # own estimate: capacity of a wall or hob that is not there, any above 0
TURN_COLUMNS = 48  # own estimate: values that the sweep around the rings works on side by side
FULL_ROW = 32  # own estimate: values from which on a row keeps the vector units busy
INSTANT_S = 1e-9  # own estimate: a time constant of 0 is taken as this


def fixed_table(block: Block, bare_frac: FloatArray) -> FloatArray:
    """Return the constants of the cooks.

    bare_frac : (lane,) share of each base that no food covers [-]
    Returns : (Fixed, lane) table
    """
    pan, losses, pick = block.pan, block.losses, block.pick
    radius = pick(pan.radius_m)
    area = np.pi * radius**2
    sigma = STEFAN_BOLTZMANN_W_M2K4
    step = block.settings.step_s
    cell = unit_grid(*block.shape.shape[:2]).area[:, None, None]
    share = (cell * block.shape[..., block.cooks]).sum(axis=(0, 1))
    washed = 0.0 if pan.wall is None else pick(pan.wall.heat_frac) * (pick(pan.wall.height_m) > 0)
    lag = np.maximum(pick(block.settings.control.lag_s), INSTANT_S)
    under = Hob(0.0, 0.0, on=False) if losses.hob is None else losses.hob
    open_below = pick(under.on) == 0.0
    rows: dict[int, FloatArray | float] = {
        Fixed.AMBIENT: pick(losses.ambient_k),
        Fixed.SURROUND4: pick(losses.surround_k) ** 4,
        Fixed.TOP: pick(losses.top_w_m2k),
        Fixed.TOP_SLOPE: pick(losses.top_slope_w_m2k2),
        Fixed.TOP_SIGMA: sigma * pick(losses.top_emissivity),
        Fixed.BELOW: pick(losses.below_k),
        Fixed.BELOW4: pick(losses.below_k) ** 4,
        Fixed.BOTTOM_SIGMA: sigma * pick(losses.bottom_emissivity) * open_below,
        Fixed.BASE_AREA: area,
        Fixed.CONTENTS_AREA: area * bare_frac,
        Fixed.CAPTURED: area * share + washed,
        Fixed.THERMOSTAT: pick(block.settings.control.off_above_k),
        Fixed.HYSTERESIS: pick(block.settings.control.hysteresis_k),
        Fixed.FACE_R: pick(pan.face_m2k_w),
        Fixed.CROSS_R: pick(pan.cross_m2k_w),
        Fixed.LAG_KEEP: np.exp(-step / lag),
        Fixed.LAG_MEAN: -lag / step * np.expm1(-step / lag),
        **_layer_rows(block),
        **_lid_rows(block, area),
    }
    table = np.empty((len(Fixed), radius.size))
    for row, value in rows.items():
        table[row] = value
    return table


def _layer_rows(block: Block) -> dict[int, FloatArray | float]:
    """Return the rows of what lies on the pans."""
    layer, pick = block.layer, block.pick
    return {
        Fixed.LAYER_SIGMA: STEFAN_BOLTZMANN_W_M2K4 * pick(layer.emissivity),
        Fixed.BOIL: pick(layer.boil_k),
        Fixed.LATENT: pick(layer.latent_j_kg),
        Fixed.SPECIFIC_HEAT: pick(layer.specific_heat_j_kgk),
        Fixed.FILM_MASS: pick(layer.film_kg_m2),
        Fixed.COVER: pick(layer.cover_frac),
        Fixed.LAYER_G: pick(layer.conductance_w_m2k),
        Fixed.SURFACE_R: pick(layer.surface_m2k_w),
        Fixed.NUCLEATE: pick(layer.nucleate_w_m2k3),
        Fixed.CRITICAL: pick(layer.critical_w_m2),
        Fixed.VAPOUR: pick(layer.evaporation_m_s),
        Fixed.AIR_VAPOUR: pick(layer.air_vapour_kg_m3),
        Fixed.MIXING: -np.expm1(
            -block.settings.step_s / np.maximum(pick(layer.mixing_s), INSTANT_S)
        ),
        Fixed.STATIC_CAPACITY: pick(layer.areal_j_m2k),
        Fixed.NUSSELT: pick(layer.nusselt),
        Fixed.NUSSELT_T: NUSSELT_PER_K,
        Fixed.RELEASE: pick(layer.release_1_ks),
    }


def _lid_rows(block: Block, area: FloatArray) -> dict[int, FloatArray | float]:
    """Return the rows of the lids, and the room that they lose to."""
    lid, losses, pick = block.lid or Lid(), block.losses, block.pick
    return {
        Fixed.LID_CAP: pick(lid.areal_j_m2k) * area,
        Fixed.LID_H: pick(lid.outer_w_m2k),
        Fixed.LID_SIGMA: STEFAN_BOLTZMANN_W_M2K4 * pick(lid.emissivity),
        Fixed.LID_CONDENSE: pick(lid.condense_w_m2k),
        Fixed.LID_LEAK: pick(lid.leak_frac),
        Fixed.ROOM: pick(losses.ambient_k),
        Fixed.ROOM4: pick(losses.surround_k) ** 4,
    }


def base_cells(block: Block, grid: DiscGrid, cover: BoolArray, metal: Metal) -> BaseCells:
    """Return the fields of the block at the start, food already in the layer array.

    cover : (r, theta, lane) where food lies
    """
    pan, settings = block.pan, block.settings
    start = settings.start
    n_r = cover.shape[0]
    layer_k = block.field(block.layer.start_k if start is None else start.layer_k)
    if block.food is not None:
        layer_k = np.where(cover, block.field(np.asarray(block.food.column_k)[0]), layer_k)
    capacity = np.tile(block.pick(pan.areal_j_m2k), (n_r, 1))
    bottom = np.tile(block.pick(block.losses.bottom_w_m2k), (n_r, 1))
    ring_m2 = grid.area[-1] * cover.shape[1] * np.pi * block.pick(pan.radius_m) ** 2
    capacity[-1] += block.pick(pan.rim_j_k) / ring_m2
    bottom[-1] += block.pick(pan.rim_w_k) / ring_m2
    shape = np.ascontiguousarray(block.shape[..., block.cooks])
    hob = block.losses.hob
    if hob is not None:  # what is on the hob loses nothing to the open, and is heated through it
        on = block.pick(hob.on) > 0.0
        bottom = np.where(on, 0.0, bottom)
        shape = shape * np.where(on, 1.0 - block.pick(hob.heat_frac), 1.0)
    return BaseCells(
        metal.k[:n_r],
        np.ascontiguousarray(layer_k),
        shape,
        (~cover).astype(np.float64),
        capacity,
        1.0 / capacity,
        bottom,
    )


def scratch_arrays(shape: tuple[int, int, int], metal: Metal) -> PanScratch:
    """Return work arrays of a block.

    shape : (r, theta, lane)
    """
    _, n_theta, lanes = shape
    columns = lanes * max(1, TURN_COLUMNS // lanes)
    return PanScratch(
        **{name: np.zeros(shape) for name in ("shift", "gain", "from_hob", "up", "booked")},
        **{name: np.zeros(metal.k.shape) for name in ("diag", "delta", "upper")},
        halo=np.zeros((n_theta + 2, lanes)),
        turn=np.zeros((len(Turn), n_theta + 1, columns)),
        total=np.zeros((2, n_theta, lanes)),
        row=np.zeros((len(Work), n_theta, lanes)),
        poly=np.zeros((4, lanes)),
        layer_poly=np.zeros((4, lanes)),
        lane=np.zeros((2, lanes)),
    )


def cook_table(block: Block, grid: DiscGrid, cells: BaseCells, bare_frac: FloatArray) -> FloatArray:
    """Return state and sums of the cooks at the start.

    bare_frac : (lane,) share of each base that no food covers [-]
    Returns : (State, lane) table
    """
    start = block.settings.start
    table = np.zeros((len(State), bare_frac.size))
    weight = grid.area[:, None, None]
    table[State.MASS] = block.pick(block.layer.mass_kg if start is None else start.mass_kg)
    table[State.MEAN_PAN] = (weight * cells.pan).sum(axis=(0, 1))
    layer = (weight * cells.open_frac * cells.layer).sum(axis=(0, 1))
    table[State.MEAN_LAYER] = layer / bare_frac
    table[State.BULK_0] = table[State.MEAN_LAYER]
    table[State.HEATING] = 1.0 if start is None else block.pick(start.heating)
    table[State.LAST_RATE] = -np.inf
    table[State.LIMITING] = 1.0
    if start is not None:
        table[State.ELEMENT], table[State.LIMITING] = start.element[:, block.cooks]
    lid = block.lid or Lid()
    lid_k = block.pick(lid.start_k)
    if start is not None:  # a lid that is on already goes on from where it was
        before = block.pick(start.lid_k)
        lid_k = np.where(np.isnan(before), lid_k, before)
    table[State.LID_K] = lid_k
    return table


def metal_table(block: Block, grid: DiscGrid) -> Metal:
    """Return temperatures, conductances and wall figures of a block.

    grid : of the base

    The wall is a cylinder: its rings have the base's circumference.  From the middle of the
    outermost ring of the base to that of the first of the wall the two halves conduct in series.
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
    wall = np.zeros((len(WallFigure), radius.size))
    metal = Metal(k, inward, outward, around, area, capacity, heat, grip, wall)
    if pan.wall is not None:
        k[n_r:] = k[n_r - 1]
        if start is not None and start.wall_k.shape[0] == rings:
            k[n_r:] = start.wall_k[..., block.cooks]
        _join_wall(block, pan.wall, metal, grid.area[-1] * np.pi * radius**2)
        _wall_losses(block, pan.wall, metal.wall)
    return metal


def _join_wall(block: Block, wall: PanWall, metal: Metal, rim_m2: FloatArray) -> None:
    """Fill areas, capacities, heat and conductances of the wall; none where its height is 0."""
    n_r, n_theta, _ = block.shape.shape
    radius, height = block.pick(block.pan.radius_m), block.pick(wall.height_m)
    there = height > 0.0
    dz = np.where(there, height, 1.0) / wall.rings
    arc = 2.0 * np.pi * radius / n_theta
    sheet = np.where(there, block.pick(wall.sheet_w_k), 0.0)
    cell = arc * dz
    metal.area[:] = np.where(there, cell, 0.0)
    metal.capacity[:] = np.where(there, block.pick(wall.areal_j_m2k), INERT_J_M2K)
    # flames wash the lower wall: a straight fall to nothing at the top; assumed
    fall = np.arange(wall.rings, 0, -1) - 0.5
    share = np.where(there, block.pick(wall.heat_frac), 0.0) / (fall.sum() * n_theta * cell)
    metal.heat[:] = fall[:, None] * share
    metal.wall[WallFigure.HEIGHT] = dz
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
    sigma = STEFAN_BOLTZMANN_W_M2K4 * pick(wall.emissivity)
    rows = {
        WallFigure.LOSS: (slope * ambient - h) * ambient - sigma * pick(losses.surround_k) ** 4,
        WallFigure.LOSS_T: h - 2.0 * slope * ambient,
        WallFigure.LOSS_T2: slope,
        WallFigure.LOSS_T4: sigma,
        WallFigure.GRIP: pick(wall.wet_w_m2k),
        WallFigure.DEPTH: 1.0 / (pick(wall.liquid_kg_m3) * np.pi * pick(block.pan.radius_m) ** 2),
    }
    for row, value in rows.items():
        table[row] = np.where(there, value, 0.0)


def hob_table(block: Block) -> HobNodes:
    """Return the nodes of the hob under the pans of a block; no row without a hob.

    A cook whose hob is not ``on`` has nodes that exchange nothing.  The conductivity of air is
    taken to grow by 0.261 % of its value at 300 K a kelvin: within 2 % from 300 to 600 K.
    """
    n_r, n_theta, _ = block.shape.shape
    hob, start, pick = block.losses.hob, block.settings.start, block.pick
    lanes = pick(0.0).size
    if hob is None:
        none = np.zeros((0, n_theta, lanes))
        phi, fixed = np.zeros((3, 0, n_theta, lanes)), np.zeros((len(HobFigure), lanes))
        return HobNodes(none, none, none, phi, fixed, none, none, none, none)
    on = pick(hob.on) > 0.0
    gap = np.where(on, block.field(hob.gap_w_m2k), 0.0)
    touch = np.where(on, block.field(hob.contact_w_m2k), 0.0)
    black = np.where(on, STEFAN_BOLTZMANN_W_M2K4 * block.field(hob.exchange_frac), 0.0)
    phi = np.stack([gap * (1.0 - 300.0 * AIR_PER_K) + touch, gap * 0.5 * AIR_PER_K, black])
    fixed = np.zeros((len(HobFigure), lanes))
    fixed[HobFigure.SERIES] = pick(hob.series_m2k_w)
    fixed[HobFigure.LOSS] = np.where(on, pick(hob.loss_w_m2k), 0.0)
    fixed[HobFigure.BELOW] = pick(block.losses.below_k)
    fixed[HobFigure.LIMIT], fixed[HobFigure.HYSTERESIS] = pick(hob.limit_k), pick(hob.hysteresis_k)
    k = block.field(block.settings.start_k)
    if start is not None:
        k = block.field(start.hob_k if start.hob_k.shape[0] == n_r else start.pan_k)
    share = np.where(on, pick(hob.heat_frac), 0.0)
    shape = np.ascontiguousarray(block.shape[..., block.cooks] * share)
    cap = np.where(on, block.field(hob.areal_j_m2k), INERT_J_M2K)
    by_hob, by_pan, shift, gain = (np.zeros(k.shape) for _ in range(4))
    return HobNodes(k, cap, shape, phi, fixed, by_hob, by_pan, shift, gain)


def food_table(food: FoodPatch | None, cooks: slice, cover: BoolArray) -> FoodNodes:
    """Return the covered cells of a block, a row each, with their state and constants.

    food : of the whole batch; no row without
    cooks : which of the batch
    cover : (r, theta, lane) where food lies

    Nodes of fields that do not fit one another are an InputError.
    """
    if food is None:
        none, flat = np.zeros((0, 2)), np.zeros(0)
        cell, const = np.zeros((0, 4), dtype=np.int64), np.zeros((0, len(FoodFigure)))
        return FoodNodes(cell, none, none, none, none, none, none, const, none, none, flat, flat)
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
    const = np.zeros((i.size, len(FoodFigure)))
    const[:, [FoodFigure.HALF_BELOW, FoodFigure.HALF_ABOVE]] = rows(
        food.half_m2k_w, 1, "half_m2k_w"
    )
    const[:, FoodFigure.BOIL], const[:, FoodFigure.LATENT] = food.boil_k, food.latent_j_kg
    const[:, FoodFigure.SIGMA] = STEFAN_BOLTZMANN_W_M2K4 * food.emissivity
    const[:, FoodFigure.VAPOUR] = food.evaporation_m_s
    const[:, [FoodFigure.CRUST]] = rows(food.crust, 1, "crust")
    piece = np.asarray(food.piece)[..., cooks][i, j, c]
    start = rows(column, nodes, "column_k")
    water = rows(food.water_kg_m2, nodes, "water_kg_m2")
    made = FoodNodes(
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


def seen_wide(core: Core) -> Core:
    """Return a block with the same fields in wide rows, and tables of its own.

    A few cooks do not fill the vector units, which work along the last axis: g neighbouring
    angles are read as one row of g x lane values of the same memory, (n_r, n_theta / g, g x lane),
    and the figures of each cook are repeated g times; ``spread`` renews those that change.
    Which values share a row changes no value.  A field not in one piece is a ValueError.
    """
    _, n_theta, lanes = core.cells.pan.shape
    fits = (g for g in range(1, n_theta) if n_theta % g == 0 and g * lanes >= FULL_ROW)
    g = next(fits, n_theta)  # 1 from 32 cooks on

    def wide(value: FloatArray) -> FloatArray:
        if value.ndim < 3:
            return np.tile(value, g)
        row: FloatArray = value.view()
        row = row.reshape((*value.shape[:-2], n_theta // g, g * lanes), copy=False)
        return row

    work = core.scratch._asdict()
    for name in ("halo", "turn"):  # always narrow
        del work[name]
    return core._replace(
        cells=BaseCells(*map(wide, core.cells)),
        metal=Metal(*map(wide, core.metal)),
        hob=HobNodes(*map(wide, core.hob)),
        fixed=wide(core.fixed),
        live=wide(core.live),
        cook=wide(core.cook),
        scratch=core.scratch._replace(**{name: wide(value) for name, value in work.items()}),
    )
