"""Food and lids of a cook: put in or on, turned and taken out or off."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.pans import surface
from trivet.physics.heat.food import FOOD_NODES, FoodPatch, contact_w_m2k
from trivet.physics.heat.loads import Lid, lid_areal_j_m2k, stack_lids
from trivet.physics.heat.pan.model import PanState
from trivet.stages.simulate.draws import Kitchen
from trivet.stages.simulate.setting import COOK_STEP_S, FOOD_PARTS, N_R, N_THETA, PanSetting

FILLER_K = 278.15  # own estimate: of columns where no food lies, never read


def moments(setting: PanSetting, steps: int) -> tuple[int, ...]:
    """Return the steps at which food goes in, is turned and comes out, none over ``steps``."""
    found = (mark for piece in setting.pieces for mark in piece.moments(COOK_STEP_S))
    return tuple(min(steps, mark) for mark in found)


def prepared(
    settings: Sequence[PanSetting],
    state: PanState | None,
    room: Kitchen,
    first: int,
    last: int,
) -> tuple[PanState | None, FoodPatch | None]:
    """Return state and food for a part of the cook: food put in, turned or taken out.

    The contact of food is that of the middle of ``FOOD_PARTS`` steps a record.
    """
    if not any(one.pieces for one in settings):
        return state, None
    field = _Fields(
        len(settings), max(len(one.pieces) for one in settings), FOOD_PARTS * (last - first)
    )
    field.go_on(state)
    layer = None if state is None else np.array(state.layer_k)
    for k, one in enumerate(settings):
        for number, piece in enumerate(one.pieces):
            into, turn, out = piece.moments(COOK_STEP_S)
            cells = piece.cover.reshape(N_R, N_THETA)
            if first == out and state is not None and layer is not None:
                layer[cells, k] = _open_mean(layer[..., k], state.pan_k[..., k], one, ~cells)
            if not into <= first < out:
                continue
            field.lay(k, number, one, cells)
            if first == into:
                field.column[:, cells, k] = float(piece.plan.start_k)
                field.water[:, cells, k] = piece.column.water_kg_m2[:, None]
            if first == turn:
                field.column[:, cells, k] = field.column[::-1, cells, k].copy()
                field.water[:, cells, k] = field.water[::-1, cells, k].copy()
            start = turn if first >= turn else into
            middle = (np.arange(FOOD_PARTS * (last - first)) + 0.5) / FOOD_PARTS
            since = (first - start + middle) * COOK_STEP_S
            field.contact[:, number, k] = contact_w_m2k(
                since,
                start_w_m2k=piece.food.contact_start_w_m2k,
                peak_w_m2k=piece.food.contact_peak_w_m2k,
                peak_s=piece.food.contact_peak_s,
                decay_s=piece.food.contact_decay_s,
            )
    if state is not None and layer is not None:
        state = dataclasses.replace(state, layer_k=layer)
    return state, field.patch(room.boiling_k)


class _Fields:
    """The fields of the columns of all pans, filled piece by piece."""

    def __init__(self, pans: int, pieces: int, steps: int) -> None:
        shape = (N_R, N_THETA, pans)
        self.piece = np.full(shape, -1, dtype=np.int64)
        self.contact = np.zeros((steps, pieces, pans))
        self.column = np.full((FOOD_NODES, *shape), FILLER_K)
        self.water = np.zeros((FOOD_NODES, *shape))
        self.wet = np.zeros((FOOD_NODES, *shape))
        self.areal = np.ones((FOOD_NODES, *shape))
        self.between = np.ones((FOOD_NODES - 1, *shape))
        self.half = np.zeros(shape)
        self.crust = np.zeros(shape)

    def go_on(self, state: PanState | None) -> None:
        """Take over the columns of the run before."""
        if state is not None and len(state.column_k):
            self.column = np.nan_to_num(state.column_k, nan=FILLER_K)
            self.water = np.array(state.food_water_kg_m2)

    def lay(self, pan: int, number: int, setting: PanSetting, cells: BoolArray) -> None:
        """Put one piece on its cells."""
        column = setting.pieces[number].column
        self.piece[cells, pan] = number
        self.areal[:, cells, pan] = column.areal_j_m2k[:, None]
        self.between[:, cells, pan] = column.between_w_m2k[:, None]
        self.half[cells, pan] = column.half_m2k_w
        self.wet[:, cells, pan] = column.water_kg_m2[:, None]
        self.crust[cells, pan] = column.crust

    def patch(self, boil_k: float) -> FoodPatch | None:
        """Return the food, None where none lies."""
        if not (self.piece >= 0).any():
            return None
        return FoodPatch(
            self.piece,
            self.contact,
            column_k=self.column,
            water_kg_m2=self.water,
            areal_j_m2k=self.areal,
            between_w_m2k=self.between,
            half_m2k_w=self.half,
            wet_kg_m2=self.wet,
            crust=self.crust,
            boil_k=boil_k,
        )


def _open_mean(
    layer: FloatArray, pan: FloatArray, setting: PanSetting, open_cells: BoolArray
) -> float:
    """Return what fills the place that food has left: the liquid beside it, or nothing."""
    field = layer if setting.base.contents != "dry" else pan
    area = setting.area_m2.reshape(N_R, N_THETA)[open_cells]
    return float((field[open_cells] * area).sum() / area.sum())


# Thickness of common lids: common practice, no source.
GLASS_LID_M, STEEL_LID_M = 4.0e-3, 0.8e-3


def lid_moments(setting: PanSetting, steps: int) -> tuple[int, ...]:
    """Return the steps at which the lid is put on or taken off, none over ``steps``."""
    times = [span.on_s for span in setting.plan.lid]
    times += [span.off_s for span in setting.plan.lid if span.off_s is not None]
    return tuple(min(steps, round(float(at) / COOK_STEP_S)) for at in times)


def lids_on(settings: Sequence[PanSetting], room: Kitchen, step: int) -> Lid | None:
    """Return the lids that are on from a step on, None where no pan is covered."""
    return stack_lids([_lid(one, room) if _is_on(one, step) else None for one in settings])


def _is_on(setting: PanSetting, step: int) -> bool:
    for span in setting.plan.lid:
        off = None if span.off_s is None else round(float(span.off_s) / COOK_STEP_S)
        if round(float(span.on_s) / COOK_STEP_S) <= step and (off is None or step < off):
            return True
    return False


def _lid(setting: PanSetting, room: Kitchen) -> Lid:
    """Return a pan's lid, as warm as the room when it is put on."""
    glass = setting.pan.lid_surface == "glass-lid"
    return Lid(
        areal_j_m2k=lid_areal_j_m2k(GLASS_LID_M if glass else STEEL_LID_M, glass=glass),
        emissivity=surface(setting.pan.lid_surface).emissivity,
        outer_w_m2k=room.convection_w_m2k,
        start_k=room.ambient_k,
    )
