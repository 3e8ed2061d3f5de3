"""Temperature of pans and of what lies in them: a polar finite-volume disc per cook.

The base of a pan is a disc of ``n_r`` x ``n_theta`` cells (24 x 32 unless told
otherwise; the rim is a grid line), the wall a cylinder of rings that carries on
from it.  Each cell carries the base (a sheet, clad or not, with the quasi-steady
step between its mean and its faces), at most one layer on it (water, oil or
food), and below it perhaps the glass or coil of the hob.  Many cooks are solved
at once; cooks are the last axis of every array.

What is *not* here: flow in the liquid other than stirring, heat sideways in the
glass (3 cm in 20 minutes), the part of a zone that no pan covers, a wall's
contact with oil.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat.food import FoodPatch, coldest_k
from trivet.physics.heat.loads import Layer, Lid
from trivet.physics.heat.pan.march import HIGHEST_K, LOWEST_K, Drive, Record, march
from trivet.physics.heat.pan.model import (
    EnergyLedger,
    Losses,
    PanBase,
    PanRun,
    PanState,
    RunSettings,
    check_figures,
    unit_grid,
)
from trivet.physics.heat.pan.setup import (
    base_cells,
    cook_table,
    fixed_table,
    food_table,
    hob_table,
    metal_table,
    scratch_arrays,
    seen_wide,
)
from trivet.physics.heat.pan.tables import (
    LANES,
    BaseCells,
    Block,
    Core,
    Fixed,
    FoodNodes,
    Live,
    State,
)

MAX_STEP_S = 2.0
"""Own estimate: beyond it boiling and radiation are not followed to the stated accuracy."""
MIN_OPEN_FRAC = 0.02
"""Of a base without food; own estimate: a layer that covers less has no mean."""


def cook_pans(
    flux_shape_m2: ArrayLike,
    *,
    power_w: ArrayLike,
    pan: PanBase,
    losses: Losses,
    layer: Layer | None = None,
    food: FoodPatch | None = None,
    lid: Lid | None = None,
    run: RunSettings | None = None,
) -> PanRun:
    """Return the temperatures of a batch of pans under given heating.

    Solves C dT/dt = div(k d grad T) + q - losses - exchange with the layer.

    flux_shape_m2 : (n_r, n_theta, cook) where the heat enters; the area-weighted sum of each
        cook is 1 or less (see ``burners.flux_map``) [1/m2]
    power_w : (step, cook) heat into the pan, mean over each step [W]
    layer : water or oil on the pan, from ``loads``
    food : food on the pan, from ``heat.food``; it displaces the layer where it lies
    lid : lids, from ``loads``
    run : step, recording interval, start and thermostat

    Shapes that do not fit or values that are not physical are an InputError, a step outside
    (0, 2] s or a solution outside 150 to 2500 K an OutOfRangeError.

    Second order in time and space.  On exact disc modes, 20 minutes, 24 x 32 cells and 1 s steps:
    under 0.1 K rms.  Halving the grid multiplies the error by about four.  A layer is one node
    between two half resistances: pan minus surface is exact for steady and for evenly rising
    heating, the stored heat is low by flux x thickness / 6 k x capacity while the flux changes.

    Douglas and Gunn, Numer. Math. 6 (1964) 428 (splitting in delta form); Press et al.,
    Numerical Recipes, section 2.7 (cyclic systems).
    """
    settings = run or RunSettings()
    shape = np.ascontiguousarray(flux_shape_m2, dtype=np.float64)
    power = np.asarray(power_w, dtype=np.float64)
    _check_inputs(shape, power, settings)
    check_figures(pan, losses=losses, layer=layer)
    parts = [
        _run_block(Block(shape, power, pan, losses, layer or Layer(), food, lid, settings, first))
        for first in range(0, shape.shape[2], LANES)
    ]
    return parts[0] if len(parts) == 1 else _joined(parts)


def _check_inputs(shape: FloatArray, power: FloatArray, settings: RunSettings) -> None:
    if shape.ndim != 3:
        raise InputError(f"flux_shape_m2 has shape {shape.shape}; wanted (n_r, n_theta, cook)")
    if power.ndim != 2 or power.shape[1] != shape.shape[2]:
        raise InputError(
            f"power_w has shape {power.shape}; wanted (step, {shape.shape[2]}): one column a cook"
        )
    if power.shape[0] < 1:
        raise InputError("power_w has no step; give one row for every step to run")
    if not np.all(np.isfinite(power)) or np.any(power < 0.0):
        raise InputError("power_w holds a negative or missing value; heating is 0 W or more")
    if not np.all(np.isfinite(shape)) or np.any(shape < 0.0):
        raise InputError("flux_shape_m2 holds a negative or missing value")
    if not 0.0 < settings.step_s <= MAX_STEP_S:
        raise OutOfRangeError(
            f"step_s is {settings.step_s}; allowed: above 0, up to {MAX_STEP_S} s "
            "(beyond it boiling and radiation are not followed to the stated accuracy)"
        )
    if settings.record_every < 1:
        raise InputError(f"record_every is {settings.record_every}; wanted 1 step or more")


def _run_block(block: Block) -> PanRun:
    """Return the run of one block; the compiled march releases the interpreter lock."""
    n_r, n_theta, n_cook = block.shape.shape
    grid = unit_grid(n_r, n_theta)
    cover = np.zeros((n_r, n_theta, min(LANES, n_cook - block.first)), dtype=np.bool_)
    contact = np.zeros((block.power.shape[0], 1, cover.shape[2]))
    if block.food is not None:
        cover |= _covered(block)
        contact = _contact(block, block.food)
    bare_frac = (grid.area[:, None, None] * ~cover).sum(axis=(0, 1))
    if np.any(bare_frac < MIN_OPEN_FRAC):
        raise InputError("food covers all of the base; leave at least 2 % open")
    metal, hob = metal_table(block, grid), hob_table(block)
    food = food_table(block.food, block.cooks, cover)
    cells = base_cells(block, grid, cover, metal)
    fixed = fixed_table(block, bare_frac)
    live = np.zeros((len(Live), bare_frac.size))
    cook = cook_table(block, grid, cells, bare_frac)
    scratch = scratch_arrays(cover.shape, metal)
    core = Core(grid, cells, food, metal, hob, fixed, live, cook, scratch)
    before = _stored_j(core)
    power = np.ascontiguousarray(block.power[:, block.cooks])
    records = _march(block, core, power, contact)
    ledger = _energy_ledger(_stored_j(core) - before, cook)
    return records(ledger=ledger, state=_end_state(core))


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


def _march(block: Block, core: Core, power: FloatArray, contact: FloatArray) -> partial[PanRun]:
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
        core_k=_core_temperatures_k(core.food, core.grid.area, record.food),
        wall_k=record.wall,
        hob_k=np.where(on, record.hob, np.nan),
        heat_w=heat,
    )


def _empty_record(core: Core, *, moments: int, pieces: int) -> Record:
    """Return room for the records; none for a surface where nothing lies on any pan."""
    shape, lanes = core.cells.pan.shape, core.fixed.shape[1]
    wet = core.fixed[[Fixed.COVER, Fixed.FILM_MASS]].any() or len(core.food.cell) > 0
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


def _refuse_runaway(block: Block, cells: BaseCells, time_s: float) -> None:
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


def _core_temperatures_k(food: FoodNodes, area: FloatArray, sums_k: FloatArray) -> FloatArray:
    """Return the coldest height of each piece, NaN where none lies, (time, piece, lane).

    An area mean over its columns, from ``sums_k`` (time, node, piece, lane) of share x temperature.
    The coldest column of an uneven pan is up to some kelvin colder than the mean: a food-safety
    log wants its probe there.
    """
    times, nodes, pieces, lanes = sums_k.shape
    if nodes == 0:
        return np.full((times, pieces, lanes), np.nan)
    i, _, c, piece = food.cell.T
    weight = np.zeros((pieces, lanes))
    np.add.at(weight, (piece, c), area[i])
    with np.errstate(invalid="ignore"):
        return coldest_k(np.moveaxis(sums_k, 1, 0) / np.where(weight > 0.0, weight, np.nan))


def _stored_j(core: Core) -> FloatArray:
    """Return the heat stored in pan, hob, contents and lid of a cook, water from its start [J]."""
    grid, cells, food = core.grid, core.cells, core.food
    fixed, cook = core.fixed, core.cook
    weight = grid.area[:, None, None]
    area = weight * fixed[Fixed.BASE_AREA]
    stored = (area * cells.capacity[:, None, :] * cells.pan).sum(axis=(0, 1))
    metal, hob = core.metal, core.hob
    wall = (metal.area * metal.capacity)[:, None, :] * metal.k[cells.pan.shape[0] :]
    stored += wall.sum(axis=(0, 1))
    if len(hob.k):
        stored += (area * hob.cap * hob.k).sum(axis=(0, 1))
    liquid = (area * cells.open_frac * cells.layer).sum(axis=(0, 1))
    mean_k = liquid / fixed[Fixed.CONTENTS_AREA]
    heat = cook[State.MASS] * fixed[Fixed.SPECIFIC_HEAT] * (mean_k - cook[State.BULK_0])
    stored += heat + fixed[Fixed.STATIC_CAPACITY] * liquid
    stored += fixed[Fixed.LID_CAP] * cook[State.LID_K]
    i, j, c, _ = food.cell.T
    in_food = (food.cap[:, 1:] * food.column[:, 1:]).sum(axis=1)
    in_food += food.cap[:, 0] * cells.layer[i, j, c]
    np.add.at(stored, c, grid.area[i] * fixed[Fixed.BASE_AREA, c] * in_food)
    return np.asarray(stored)


def _energy_ledger(stored: FloatArray, cook: FloatArray) -> EnergyLedger:
    """Return the ledger of a run, from the growth of the heat ``stored`` [J] and its states.

    Losses are summed from the temperatures and not from the solver, so the ledger can fail to
    close: by 0.1 % at 2 s steps and mostly far less.
    """
    into, lost = cook[State.INPUT], cook[State.LOST]
    latent, vapour = cook[State.LATENT_OUT], cook[State.VAPOUR_OUT]
    scale = np.maximum(np.maximum(into, np.abs(stored)), np.abs(lost) + latent)
    gap = into - lost - latent - vapour - stored
    return EnergyLedger(
        into.copy(), lost.copy(), latent.copy(), vapour.copy(), stored,
        np.abs(gap) / np.maximum(scale, 1e-12),
    )  # fmt: skip


def _end_state(core: Core) -> PanState:
    """Return where the cooks of a block stand at the end of a run: two runs joined equal one."""
    cells, food, cook = core.cells, core.food, core.cook
    nodes = food.column.shape[1] if len(food.cell) else 0
    column = np.full((nodes, *cells.pan.shape), np.nan)
    water = np.zeros((nodes, *cells.pan.shape))
    if nodes:
        i, j, c, _ = food.cell.T
        column[:, i, j, c], water[:, i, j, c] = food.column.T, food.water.T
        column[0, i, j, c] = cells.layer[i, j, c]
    lid_k = np.where(core.fixed[Fixed.LID_CAP] > 0.0, cook[State.LID_K], np.nan)
    return PanState(
        cells.pan,
        cells.layer,
        column,
        water,
        cook[State.MASS].copy(),
        cook[State.HEATING].copy(),
        lid_k,
        core.metal.k[cells.pan.shape[0] :].copy(),
        core.hob.k.copy(),
        np.stack([cook[State.ELEMENT], cook[State.LIMITING]]),
    )


def _joined(parts: Sequence[PanRun]) -> PanRun:
    """Return the runs of the blocks, in the order of the batch, as the run of the batch."""
    bare = all(part.surface_k is part.pan_k for part in parts)
    whole = {
        one.name: _beside([getattr(part, one.name) for part in parts])
        for one in fields(PanRun)
        if one.name not in ("time_s", "surface_k")
    }
    surface = whole["pan_k"] if bare else _beside([part.surface_k for part in parts])
    return PanRun(time_s=parts[0].time_s, surface_k=surface, **whole)


def _beside(parts: Sequence[Any]) -> Any:
    """Return arrays, or records of them, with their cooks side by side."""
    if isinstance(parts[0], np.ndarray):
        return np.concatenate(parts, axis=-1)
    kind = type(parts[0])
    return kind(*(_beside([getattr(part, one.name) for part in parts]) for one in fields(kind)))
