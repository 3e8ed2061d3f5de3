"""One block of cooks of the pan simulator: tables in, records and ledger out."""

from __future__ import annotations

from functools import partial

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat import thermal_cells as tc
from trivet.physics.heat.foodpatch import FoodPatch
from trivet.physics.heat.lids import Lid
from trivet.physics.heat.loads import NUSSELT_PER_K
from trivet.physics.heat.thermal_batch import LANES, Block
from trivet.physics.heat.thermal_foodtable import core_temperatures_k, food_table, no_food
from trivet.physics.heat.thermal_ledger import end_state, energy_ledger, stored_j
from trivet.physics.heat.thermal_march import HIGHEST_K, LOWEST_K, Drive, Record, march
from trivet.physics.heat.thermal_metal import hob_table, metal_table
from trivet.physics.heat.thermal_model import Hob, PanRun
from trivet.physics.heat.thermal_wide import seen_wide

TURN_COLUMNS = 48  # values that the sweep around the rings works on side by side


def _lid_rows(block: Block, area: FloatArray) -> dict[int, FloatArray | float]:
    """Return the rows of the lids, and the room that they lose to."""
    lid, losses, pick = block.lid or Lid(), block.losses, block.pick
    return {
        tc.LID_CAP: pick(lid.areal_j_m2k) * area,
        tc.LID_H: pick(lid.outer_w_m2k),
        tc.LID_SIGMA: tc.STEFAN_BOLTZMANN * pick(lid.emissivity),
        tc.LID_CONDENSE: pick(lid.condense_w_m2k),
        tc.LID_LEAK: pick(lid.leak_frac),
        tc.ROOM: pick(losses.ambient_k),
        tc.ROOM4: pick(losses.surround_k) ** 4,
    }


def _fixed_table(block: Block, open_share: FloatArray) -> FloatArray:
    """Return the per-cook constants in the rows that ``thermal_cells`` numbers."""
    pan, losses, layer, pick = block.pan, block.losses, block.layer, block.pick
    radius = pick(pan.radius_m)
    area = np.pi * radius**2
    sigma = tc.STEFAN_BOLTZMANN
    step = block.settings.step_s
    mixing = pick(layer.mixing_s)
    cell = tc.unit_grid(*block.shape.shape[:2]).area[:, None, None]
    share = (cell * block.shape[..., block.cooks]).sum(axis=(0, 1))
    washed = 0.0 if pan.wall is None else pick(pan.wall.heat_frac) * (pick(pan.wall.height_m) > 0)
    lag = np.maximum(pick(block.settings.control.lag_s), 1e-9)
    under = Hob(0.0, 0.0, on=False) if losses.hob is None else losses.hob
    open_below = pick(under.on) == 0.0
    rows: dict[int, FloatArray | float] = {
        tc.AMBIENT: pick(losses.ambient_k),
        tc.SURROUND4: pick(losses.surround_k) ** 4,
        tc.TOP: pick(losses.top_w_m2k),
        tc.TOP_SLOPE: pick(losses.top_slope_w_m2k2),
        tc.TOP_SIGMA: sigma * pick(losses.top_emissivity),
        tc.LAYER_SIGMA: sigma * pick(layer.emissivity),
        tc.BELOW: pick(losses.below_k),
        tc.BELOW4: pick(losses.below_k) ** 4,
        tc.BOTTOM_SIGMA: sigma * pick(losses.bottom_emissivity) * open_below,
        tc.SHEET: pick(pan.sheet_w_k) / radius**2,
        tc.BASE_AREA: area,
        tc.CONTENTS_AREA: area * open_share,
        tc.CAPTURED: area * share + washed,
        tc.BOIL: pick(layer.boil_k),
        tc.LATENT: pick(layer.latent_j_kg),
        tc.SPECIFIC_HEAT: pick(layer.specific_heat_j_kgk),
        tc.FILM_MASS: pick(layer.film_kg_m2),
        tc.COVER: pick(layer.cover_frac),
        tc.LAYER_G: pick(layer.conductance_w_m2k),
        tc.SURFACE_R: pick(layer.surface_m2k_w),
        tc.NUCLEATE: pick(layer.nucleate_w_m2k3),
        tc.CRITICAL: pick(layer.critical_w_m2),
        tc.VAPOUR: pick(layer.evaporation_m_s),
        tc.AIR_VAPOUR: pick(layer.air_vapour_kg_m3),
        tc.MIXING: -np.expm1(-step / np.maximum(mixing, 1e-9)),
        tc.STATIC_CAPACITY: pick(layer.areal_j_m2k),
        tc.NUSSELT: pick(layer.nusselt),
        tc.NUSSELT_T: NUSSELT_PER_K,
        tc.THERMOSTAT: pick(block.settings.control.off_above_k),
        tc.HYSTERESIS: pick(block.settings.control.hysteresis_k),
        tc.FACE_R: pick(pan.face_m2k_w),
        tc.CROSS_R: pick(pan.cross_m2k_w),
        tc.LAG_KEEP: np.exp(-step / lag),
        tc.LAG_MEAN: -lag / step * np.expm1(-step / lag),
        tc.RELEASE: pick(layer.release_1_ks),
        **_lid_rows(block, area),
    }
    table = np.empty((tc.N_FIXED, radius.size))
    for row, value in rows.items():
        table[row] = value
    return table


def _cells(block: Block, grid: tc.Grid, cover: BoolArray, metal: tc.Metal) -> tc.Cells:
    """Return the fields of the block at the start, food already in the layer array."""
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
    return tc.Cells(
        metal.k[:n_r],
        np.ascontiguousarray(layer_k),
        shape,
        (~cover).astype(np.float64),
        capacity,
        1.0 / capacity,
        bottom,
    )


def _scratch(shape: tuple[int, int, int], metal: tc.Metal) -> tc.Scratch:
    _, n_theta, lanes = shape
    shift, gain, from_hob, up, booked = (np.zeros(shape) for _ in range(5))
    diag, delta, upper = (np.zeros(metal.k.shape) for _ in range(3))
    halo, total = np.zeros((n_theta + 2, lanes)), np.zeros((2, n_theta, lanes))
    turn = np.zeros((5, n_theta + 1, lanes * max(1, TURN_COLUMNS // lanes)))
    row, poly, skin = np.zeros((11, n_theta, lanes)), np.zeros((4, lanes)), np.zeros((4, lanes))
    return tc.Scratch(
        diag, delta, shift, gain, from_hob, up, upper, halo, turn, total, row, poly, skin,
        np.zeros((2, lanes)), booked,
    )  # fmt: skip


def _cook_table(block: Block, grid: tc.Grid, cells: tc.Cells, open_share: FloatArray) -> FloatArray:
    """Return state and ledger of the cooks at the start."""
    start = block.settings.start
    table = np.zeros((tc.N_COOK, open_share.size))
    weight = grid.area[:, None, None]
    table[tc.MASS] = block.pick(block.layer.mass_kg if start is None else start.mass_kg)
    table[tc.MEAN_PAN] = (weight * cells.pan).sum(axis=(0, 1))
    layer = (weight * cells.open_frac * cells.layer).sum(axis=(0, 1))
    table[tc.MEAN_LAYER] = layer / open_share
    table[tc.BULK_0] = table[tc.MEAN_LAYER]
    table[tc.HEATING] = 1.0 if start is None else block.pick(start.heating)
    table[tc.LAST_RATE] = -np.inf
    table[tc.LIMITING] = 1.0
    if start is not None:
        table[tc.ELEMENT], table[tc.LIMITING] = start.element[:, block.cooks]
    lid = block.lid or Lid()
    lid_k = block.pick(lid.start_k)
    if start is not None:  # a lid that is on already goes on from where it was
        before = block.pick(start.lid_k)
        lid_k = np.where(np.isnan(before), lid_k, before)
    table[tc.LID_K] = lid_k
    return table


def run_block(block: Block) -> PanRun:
    """Return the run of one block of cooks; the compiled core releases the interpreter lock.

    Parameters
    ----------
    block : Block
        Inputs of the whole batch and where the block starts.

    Returns
    -------
    PanRun
        Records, ledger and end state of the block's cooks.

    Raises
    ------
    InputError, OutOfRangeError
        As ``cook_pans``.

    Notes
    -----
    See ``cook_pans``.

    References
    ----------
    See ``cook_pans``.
    """
    n_r, n_theta, n_cook = block.shape.shape
    grid = tc.unit_grid(n_r, n_theta)
    cover = np.zeros((n_r, n_theta, min(LANES, n_cook - block.first)), dtype=np.bool_)
    contact = np.zeros((block.power.shape[0], 1, cover.shape[2]))
    if block.food is not None:
        cover |= _covered(block)
        contact = _contact(block, block.food)
    open_share = (grid.area[:, None, None] * ~cover).sum(axis=(0, 1))
    if np.any(open_share < 0.02):
        raise InputError("food covers all of the base; leave at least 2 % open")
    metal, hob = metal_table(block, grid), hob_table(block)
    food = no_food() if block.food is None else food_table(block.food, block.cooks, cover)
    cells = _cells(block, grid, cover, metal)
    fixed = _fixed_table(block, open_share)
    live = np.zeros((tc.N_LIVE, open_share.size))
    cook = _cook_table(block, grid, cells, open_share)
    scratch = _scratch(cover.shape, metal)
    core = tc.Core(grid, cells, food, metal, hob, fixed, live, cook, scratch)
    before = stored_j(core)
    power = np.ascontiguousarray(block.power[:, block.cooks])
    records = _march(block, core, power, contact)
    ledger = energy_ledger(stored_j(core) - before, cook)
    return records(ledger=ledger, state=end_state(core))


def _covered(block: Block) -> BoolArray:
    assert block.food is not None
    cover = np.asarray(block.food.piece) >= 0
    if cover.shape != block.shape.shape:
        raise InputError(f"food piece has shape {cover.shape}; wanted {block.shape.shape}")
    return cover[..., block.cooks]


def _contact(block: Block, food: FoodPatch) -> FloatArray:
    values = np.asarray(food.contact_w_m2k, dtype=np.float64)
    steps, cooks = block.power.shape
    pieces = int(np.max(food.piece)) + 1
    if values.ndim != 3 or values.shape[::2] != (steps, cooks) or values.shape[1] < pieces:
        raise InputError(
            f"contact_w_m2k has shape {values.shape}; wanted ({steps}, {pieces}, {cooks}): "
            "step, piece and cook"
        )
    return np.ascontiguousarray(values[..., block.cooks])


def _march(block: Block, core: tc.Core, power: FloatArray, contact: FloatArray) -> partial[PanRun]:
    """Advance from record to record; refuse what is no temperature."""
    step, every, steps = block.settings.step_s, block.settings.record_every, len(power)
    marks = np.unique(np.append(np.arange(0, steps + 1, every), steps))
    record = _empty_record(core, moments=len(marks), pieces=contact.shape[1])
    # copies: the march is compiled once more for arrays that may not be written
    drive = Drive(np.array(power, order="C"), np.array(contact, order="C"), float(step), int(every))
    wrong = march(core, seen_wide(core), drive, record)
    if wrong >= 0:
        _refuse_runaway(block, core.cells, wrong * step)
    heat = np.empty_like(record.heat)
    heat[1:] = np.diff(record.heat, axis=0) / (np.diff(marks) * step)[:, None]
    heat[0] = heat[1] if len(marks) > 1 else 0.0
    on = core.hob.phi.any(axis=(0, 1, 2))
    return partial(
        PanRun,
        time_s=marks * step,
        pan_k=record.pan,
        layer_k=record.layer,
        surface_k=record.surface if len(record.surface) else record.pan,
        mass_kg=record.mass,
        lid_k=record.lid,
        core_k=core_temperatures_k(core.food, core.grid.area, record.food),
        wall_k=record.wall,
        hob_k=np.where(on, record.hob, np.nan),
        heat_w=heat,
    )


def _empty_record(core: tc.Core, *, moments: int, pieces: int) -> Record:
    """Return room for the records; none for a surface where nothing lies on any pan."""
    shape, lanes = core.cells.pan.shape, core.fixed.shape[1]
    wet = core.fixed[[tc.COVER, tc.FILM_MASS]].any() or len(core.food.cell) > 0
    nodes = core.food.column.shape[1] if len(core.food.cell) else 0
    mass, layer, lid, hob, heat = (np.empty((moments, lanes)) for _ in range(5))
    hob[:] = np.nan
    return Record(
        pan=np.empty((moments, *shape)),
        surface=np.empty((moments if wet else 0, *shape)),
        layer=layer,
        mass=mass,
        lid=lid,
        hob=hob,
        heat=heat,
        wall=np.empty((moments, *core.metal.area.shape)),
        food=np.empty((moments, nodes, pieces, lanes)),
    )


def _refuse_runaway(block: Block, cells: tc.Cells, time_s: float) -> None:
    """Name the cook whose solution is no temperature any more."""
    for field in (cells.pan, cells.layer):
        good = (field > LOWEST_K) & (field < HIGHEST_K)
        if good.all():
            continue
        cook = block.first + int(np.argwhere(~good)[0][2])
        raise OutOfRangeError(
            f"cook {cook} left {LOWEST_K:.0f} to {HIGHEST_K:.0f} K at {time_s:.1f} s: "
            "check its heat capacity, power and losses, or take a shorter step"
        )
