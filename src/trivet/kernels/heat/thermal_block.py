"""One block of cooks of the pan simulator: tables in, records and ledger out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields
from operator import attrgetter
from typing import cast

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trivet.errors import InputError, OutOfRangeError
from trivet.kernels.heat import thermal_cells as tc
from trivet.kernels.heat.loads import NUSSELT_PER_K, FoodPatch, Layer
from trivet.kernels.heat.thermal_adi import advance, close_ledger
from trivet.kernels.heat.thermal_exchange import renew, surface_k
from trivet.kernels.heat.thermal_model import (
    EnergyLedger,
    Losses,
    PanBase,
    PanRun,
    PanState,
    RunSettings,
)

FloatArray = NDArray[np.float64]
LANES = 32  # cooks a block: longer rows for the vector units, fields still near the cache
ALLOWED_K = (150.0, 2500.0)


@dataclass(frozen=True)
class Block:
    """One block of cooks of a batch, from ``first`` on."""

    shape: FloatArray
    power: FloatArray
    pan: PanBase
    losses: Losses
    layer: Layer
    food: FoodPatch | None
    settings: RunSettings
    first: int

    @property
    def cooks(self) -> slice:
        """Return which cooks of the batch these are."""
        return slice(self.first, self.first + LANES)

    def pick(self, value: ArrayLike) -> FloatArray:
        """Return a per-cook figure of this block."""
        full = np.broadcast_to(np.asarray(value, dtype=np.float64), (self.shape.shape[2],))
        return np.array(full[self.cooks])

    def field(self, value: ArrayLike) -> FloatArray:
        """Return a per-cell field of this block."""
        full = np.broadcast_to(np.asarray(value, dtype=np.float64), self.shape.shape)
        return np.array(full[..., self.cooks])


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
    rows: dict[int, FloatArray | float] = {
        tc.AMBIENT: pick(losses.ambient_k),
        tc.SURROUND4: pick(losses.surround_k) ** 4,
        tc.TOP: pick(losses.top_w_m2k),
        tc.TOP_SLOPE: pick(losses.top_slope_w_m2k2),
        tc.TOP_SIGMA: sigma * pick(losses.top_emissivity),
        tc.LAYER_SIGMA: sigma * pick(layer.emissivity),
        tc.BELOW: pick(losses.below_k),
        tc.BELOW4: pick(losses.below_k) ** 4,
        tc.BOTTOM_SIGMA: sigma * pick(losses.bottom_emissivity),
        tc.SHEET: pick(pan.sheet_w_k) / radius**2,
        tc.BASE_AREA: area,
        tc.CONTENTS_AREA: area * open_share,
        tc.CAPTURED: area * share,
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
    }
    table = np.empty((tc.N_FIXED, radius.size))
    for row, value in rows.items():
        table[row] = value
    return table


def _cells(block: Block, grid: tc.Grid, cover: NDArray[np.bool_]) -> tc.Cells:
    """Return the fields of the block at the start, food already in the layer array."""
    pan, settings = block.pan, block.settings
    start = settings.start
    n_r = cover.shape[0]
    pan_k = block.field(settings.start_k if start is None else start.pan_k)
    layer_k = block.field(block.layer.start_k if start is None else start.layer_k)
    if block.food is not None:
        layer_k = np.where(cover, block.field(block.food.contact_k), layer_k)
    capacity = np.tile(block.pick(pan.areal_j_m2k), (n_r, 1))
    bottom = np.tile(block.pick(block.losses.bottom_w_m2k), (n_r, 1))
    ring_m2 = grid.area[-1] * cover.shape[1] * np.pi * block.pick(pan.radius_m) ** 2
    capacity[-1] += block.pick(pan.rim_j_k) / ring_m2
    bottom[-1] += block.pick(pan.rim_w_k) / ring_m2
    shape = np.ascontiguousarray(block.shape[..., block.cooks])
    return tc.Cells(
        pan_k, np.ascontiguousarray(layer_k), shape, (~cover).astype(np.float64), capacity, bottom
    )


def _food(block: Block, cover: NDArray[np.bool_]) -> tc.Food:
    """Return the covered cells of the block with their state and constants."""
    cell = np.ascontiguousarray(np.argwhere(cover), dtype=np.int64)  # one layout, one compilation
    const = np.zeros((len(cell), tc.N_FOOD))
    if block.food is None:
        return tc.Food(cell, np.zeros(0), np.zeros(0), const, np.zeros(0))
    food = block.food
    where = tuple(cell.T)
    const[:, tc.F_CONTACT_CAP] = block.field(food.contact_areal_j_m2k)[where]
    const[:, tc.F_BODY_CAP] = block.field(food.body_areal_j_m2k)[where]
    const[:, tc.F_INNER_G] = block.field(food.inner_w_m2k)[where]
    const[:, tc.F_BOIL] = food.boil_k
    const[:, tc.F_LATENT] = food.latent_j_kg
    const[:, tc.F_SIGMA] = tc.STEFAN_BOLTZMANN * food.emissivity
    body, water = block.field(food.body_k)[where], block.field(food.water_kg_m2)[where]
    smaller = const[:, [tc.F_CONTACT_CAP, tc.F_BODY_CAP]].min(axis=1)
    if np.any(const[:, tc.F_INNER_G] * block.settings.step_s > 0.4 * smaller):
        raise OutOfRangeError(
            "inner_w_m2k x step_s exceeds 0.4 of a food node's heat capacity: "
            "the food would oscillate; use a shorter step or a thicker contact node"
        )
    return tc.Food(cell, body, water, const, np.zeros(len(cell)))


def _scratch(shape: tuple[int, int, int]) -> tc.Scratch:
    _, n_theta, lanes = shape
    diag, delta, shift, gain, upper, booked = (np.zeros(shape) for _ in range(6))
    ring, ring_q = np.zeros((n_theta, lanes)), np.zeros((n_theta, lanes))
    row, poly, skin = np.zeros((10, n_theta, lanes)), np.zeros((4, lanes)), np.zeros((4, lanes))
    return tc.Scratch(diag, delta, shift, gain, upper, ring, ring_q, row, poly, skin, booked)


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
    contact = np.zeros((block.power.shape[0], cover.shape[2]))
    if block.food is not None:
        cover |= _covered(block)
        contact = np.ascontiguousarray(_series(block, block.food.contact_w_m2k))
    open_share = (grid.area[:, None, None] * ~cover).sum(axis=(0, 1))
    if np.any(open_share < 0.02):
        raise InputError("food covers all of the base; leave at least 2 % open")
    cells, food = _cells(block, grid, cover), _food(block, cover)
    fixed = _fixed_table(block, open_share)
    live = np.zeros((tc.N_LIVE, open_share.size))
    cook = _cook_table(block, grid, cells, open_share)
    core = tc.Core(grid, cells, food, fixed, live, cook, _scratch(cover.shape))
    before = _stored_j(core)
    power = np.ascontiguousarray(_series(block, block.power))
    records = _march(block, core, power, contact)
    ledger = _ledger(_stored_j(core) - before, cook)
    return PanRun(*records, ledger, _state(cells, food, cook))


def _covered(block: Block) -> NDArray[np.bool_]:
    assert block.food is not None
    cover = np.asarray(block.food.cover, dtype=np.bool_)
    if cover.shape != block.shape.shape:
        raise InputError(f"food cover has shape {cover.shape}; wanted {block.shape.shape}")
    return cover[..., block.cooks]


def _series(block: Block, series: FloatArray) -> FloatArray:
    values = np.asarray(series, dtype=np.float64)
    if values.shape != block.power.shape:
        raise InputError(f"contact_w_m2k has shape {values.shape}; wanted {block.power.shape}")
    return values[:, block.cooks]


def _march(
    block: Block, core: tc.Core, power: FloatArray, contact: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    """Advance from record to record; refuse what is no temperature."""
    cells, cook = core.cells, core.cook
    step, every, steps = block.settings.step_s, block.settings.record_every, len(power)
    marks = np.unique(np.append(np.arange(0, steps + 1, every), steps))
    pan, layer, surface = (np.empty((len(marks), *cells.pan.shape)) for _ in range(3))
    mass = np.empty((len(marks), cook.shape[1]))
    for k, mark in enumerate(marks):
        if k:
            last = marks[k - 1]
            advance(core, power[last:mark], contact[last:mark], step)
            _refuse_runaway(block, cells, float(mark * step))
        pan[k], layer[k], mass[k] = cells.pan, cells.layer, cook[tc.MASS]
        renew(core, np.zeros(cook.shape[1]), 0.0)
        surface_k(core, surface[k])
    close_ledger(core, contact[-1], step)
    return marks * step, pan, layer, surface, mass


def _refuse_runaway(block: Block, cells: tc.Cells, time_s: float) -> None:
    """Name the cook whose solution is no temperature any more."""
    low, high = ALLOWED_K
    for field in (cells.pan, cells.layer):
        good = (field > low) & (field < high)
        if good.all():
            continue
        cook = block.first + int(np.argwhere(~good)[0][2])
        raise OutOfRangeError(
            f"cook {cook} left {low:.0f} to {high:.0f} K at {time_s:.1f} s: "
            "check its heat capacity, power and losses, or take a shorter step"
        )


def _stored_j(core: tc.Core) -> FloatArray:
    """Return the heat stored in pan, liquid and food of each cook (water from its start)."""
    grid, cells, food = core.grid, core.cells, core.food
    fixed, cook = core.fixed, core.cook
    weight = grid.area[:, None, None]
    area = weight * fixed[tc.BASE_AREA]
    stored = (area * cells.capacity[:, None, :] * cells.pan).sum(axis=(0, 1))
    liquid = (area * cells.open_frac * cells.layer).sum(axis=(0, 1))
    water = fixed[tc.FILM_MASS] > 0.0
    mean_k = liquid / fixed[tc.CONTENTS_AREA]
    heat = cook[tc.MASS] * fixed[tc.SPECIFIC_HEAT] * (mean_k - cook[tc.BULK_0])
    stored += np.where(water, heat, fixed[tc.STATIC_CAPACITY] * liquid)
    i, j, c = food.cell.T
    in_food = food.const[:, tc.F_CONTACT_CAP] * cells.layer[i, j, c]
    in_food += food.const[:, tc.F_BODY_CAP] * food.body
    np.add.at(stored, c, grid.area[i] * fixed[tc.BASE_AREA, c] * in_food)
    return np.asarray(stored)


def _ledger(stored: FloatArray, cook: FloatArray) -> EnergyLedger:
    """Return the ledger; losses are summed from the temperatures, not from the solver."""
    into, lost = cook[tc.INPUT], cook[tc.LOST]
    latent, vapour = cook[tc.LATENT_OUT], cook[tc.VAPOUR_OUT]
    scale = np.maximum(np.maximum(into, np.abs(stored)), np.abs(lost) + latent)
    gap = into - lost - latent - vapour - stored
    return EnergyLedger(
        into.copy(), lost.copy(), latent.copy(), vapour.copy(), stored,
        np.abs(gap) / np.maximum(scale, 1e-12),
    )  # fmt: skip


def _state(cells: tc.Cells, food: tc.Food, cook: FloatArray) -> PanState:
    body, water = np.full(cells.pan.shape, np.nan), np.zeros(cells.pan.shape)
    where = tuple(food.cell.T)
    body[where], water[where] = food.body, food.water
    return PanState(
        cells.pan, cells.layer, body, water, cook[tc.MASS].copy(), cook[tc.HEATING].copy()
    )


def joined(parts: Sequence[PanRun]) -> PanRun:
    """Return the runs of the blocks as the run of the batch.

    Parameters
    ----------
    parts : sequence of PanRun
        In the order of the batch.

    Returns
    -------
    PanRun
        Cooks concatenated on the last axis.

    Notes
    -----
    Exact.

    References
    ----------
    None.
    """

    def cat(get: Callable[[PanRun], FloatArray]) -> FloatArray:
        return np.concatenate([get(part) for part in parts], axis=-1)

    ledger = EnergyLedger(*(cat(_getter("ledger", f.name)) for f in fields(EnergyLedger)))
    state = PanState(*(cat(_getter("state", f.name)) for f in fields(PanState)))
    return PanRun(
        parts[0].time_s,
        cat(lambda p: p.pan_k),
        cat(lambda p: p.layer_k),
        cat(lambda p: p.surface_k),
        cat(lambda p: p.mass_kg),
        ledger,
        state,
    )


def _getter(part: str, name: str) -> Callable[[PanRun], FloatArray]:
    return cast(Callable[[PanRun], FloatArray], attrgetter(f"{part}.{name}"))
