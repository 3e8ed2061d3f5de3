"""Heat stored, ledger, end state and joined runs of the pan simulator."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import fields
from operator import attrgetter
from typing import cast

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.heat import thermal_cells as tc
from trivet.physics.heat.thermal_model import EnergyLedger, PanRun, PanState


def stored_j(core: tc.Core) -> FloatArray:
    """Return the heat stored in pan, hob, contents and lid of each cook (water from its start).

    Parameters
    ----------
    core : Core
        A block at some moment.

    Returns
    -------
    (lane,)
        Heat; only differences mean something. [J]

    Notes
    -----
    Linear in temperature: constant heat capacities.
    """
    grid, cells, food = core.grid, core.cells, core.food
    fixed, cook = core.fixed, core.cook
    weight = grid.area[:, None, None]
    area = weight * fixed[tc.BASE_AREA]
    stored = (area * cells.capacity[:, None, :] * cells.pan).sum(axis=(0, 1))
    metal, hob = core.metal, core.hob
    wall = (metal.area * metal.capacity)[:, None, :] * metal.k[cells.pan.shape[0] :]
    stored += wall.sum(axis=(0, 1))
    if len(hob.k):
        stored += (area * hob.cap * hob.k).sum(axis=(0, 1))
    liquid = (area * cells.open_frac * cells.layer).sum(axis=(0, 1))
    mean_k = liquid / fixed[tc.CONTENTS_AREA]
    heat = cook[tc.MASS] * fixed[tc.SPECIFIC_HEAT] * (mean_k - cook[tc.BULK_0])
    stored += heat + fixed[tc.STATIC_CAPACITY] * liquid
    stored += fixed[tc.LID_CAP] * cook[tc.LID_K]
    i, j, c, _ = food.cell.T
    in_food = (food.cap[:, 1:] * food.column[:, 1:]).sum(axis=1)
    in_food += food.cap[:, 0] * cells.layer[i, j, c]
    np.add.at(stored, c, grid.area[i] * fixed[tc.BASE_AREA, c] * in_food)
    return np.asarray(stored)


def energy_ledger(stored: FloatArray, cook: FloatArray) -> EnergyLedger:
    """Return the ledger of a run.

    Parameters
    ----------
    stored : (lane,)
        Growth of the heat stored. [J]
    cook : (N_COOK, lane)
        Table of states and sums.

    Returns
    -------
    EnergyLedger
        Of each cook.

    Notes
    -----
    Losses are summed from the temperatures and not from the solver, so the
    ledger can fail to close: by 0.1 % at 2 s steps and mostly far less.
    """
    into, lost = cook[tc.INPUT], cook[tc.LOST]
    latent, vapour = cook[tc.LATENT_OUT], cook[tc.VAPOUR_OUT]
    scale = np.maximum(np.maximum(into, np.abs(stored)), np.abs(lost) + latent)
    gap = into - lost - latent - vapour - stored
    return EnergyLedger(
        into.copy(), lost.copy(), latent.copy(), vapour.copy(), stored,
        np.abs(gap) / np.maximum(scale, 1e-12),
    )  # fmt: skip


def end_state(core: tc.Core) -> PanState:
    """Return where the cooks of a block stand at the end of a run.

    Parameters
    ----------
    core : Core
        After the last step.

    Returns
    -------
    PanState
        From which the next run can start.

    Notes
    -----
    Exact: two runs joined equal one.
    """
    cells, food, cook = core.cells, core.food, core.cook
    nodes = food.column.shape[1] if len(food.cell) else 0
    column = np.full((nodes, *cells.pan.shape), np.nan)
    water = np.zeros((nodes, *cells.pan.shape))
    if nodes:
        i, j, c, _ = food.cell.T
        column[:, i, j, c], water[:, i, j, c] = food.column.T, food.water.T
        column[0, i, j, c] = cells.layer[i, j, c]
    lid_k = np.where(core.fixed[tc.LID_CAP] > 0.0, cook[tc.LID_K], np.nan)
    return PanState(
        cells.pan,
        cells.layer,
        column,
        water,
        cook[tc.MASS].copy(),
        cook[tc.HEATING].copy(),
        lid_k,
        core.metal.k[cells.pan.shape[0] :].copy(),
        core.hob.k.copy(),
        np.stack([cook[tc.ELEMENT], cook[tc.LIMITING]]),
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
    """

    def cat(get: Callable[[PanRun], FloatArray]) -> FloatArray:
        return np.concatenate([get(part) for part in parts], axis=-1)

    pan = cat(lambda p: p.pan_k)
    bare = all(part.surface_k is part.pan_k for part in parts)
    ledger = EnergyLedger(*(cat(_getter("ledger", f.name)) for f in fields(EnergyLedger)))
    state = PanState(*(cat(_getter("state", f.name)) for f in fields(PanState)))
    return PanRun(
        parts[0].time_s,
        pan,
        cat(lambda p: p.layer_k),
        pan if bare else cat(lambda p: p.surface_k),
        cat(lambda p: p.mass_kg),
        cat(lambda p: p.lid_k),
        cat(lambda p: p.core_k),
        cat(lambda p: p.wall_k),
        cat(lambda p: p.hob_k),
        cat(lambda p: p.heat_w),
        ledger,
        state,
    )


def _getter(part: str, name: str) -> Callable[[PanRun], FloatArray]:
    return cast(Callable[[PanRun], FloatArray], attrgetter(f"{part}.{name}"))
