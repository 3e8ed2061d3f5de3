"""What one pan did over a cook: the series that scene, probes and truth are made from."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.stages.simulate.films import FilmTrack
from trivet.stages.simulate.setting import STEP_S, PanSetting


@dataclass(frozen=True)
class SmokeMarks:
    """When the oil of a pan began to smoke and when it ignited; NaN where it did not."""

    smoke_s: float = float("nan")
    smoke_k: float = float("nan")
    ignition_s: float = float("nan")
    ignition_k: float = float("nan")


@dataclass(frozen=True)
class PanHistory:
    """What one pan did: arrays (time,) and (time, cell)."""

    setting: PanSetting
    time_s: FloatArray
    pan_k: FloatArray
    surface_k: FloatArray
    """The top of pan, liquid or food, under the lid where one is on."""
    mass_kg: FloatArray
    """Water left, of water or of butter."""
    heat_w: FloatArray
    film: FilmTrack
    lid_k: FloatArray
    """(time,) temperature of the lid, NaN where none is on."""
    wall_k: FloatArray
    """(time, ring) the side wall, mean round it, from the rim up."""
    hob_k: FloatArray
    """(time,) glass or coil under the pan, area mean; NaN over gas."""
    core_k: FloatArray
    """(time, piece) coldest layer of each piece of food, NaN where it is not in the pan."""
    marks: SmokeMarks = field(default_factory=SmokeMarks)

    @cached_property
    def covered(self) -> BoolArray:
        """Return which cells lie under food, (time, cell)."""
        index = np.arange(self.time_s.size)
        out = np.zeros(self.pan_k.shape, dtype=np.bool_)
        for piece in self.setting.pieces:
            into, _, last = piece.moments(STEP_S)
            out[(index >= into) & (index < last)] |= piece.cover
        return out

    @cached_property
    def food(self) -> BoolArray:
        """Return whether any food lies in the pan, (time,)."""
        return np.asarray(self.covered.any(axis=1))

    @cached_property
    def lidded(self) -> BoolArray:
        """Return whether the lid is on, (time,)."""
        return np.isfinite(self.lid_k)

    @cached_property
    def inserted_k(self) -> FloatArray:
        """Return the core of the food in the pan, the first of several, NaN without, (time,)."""
        core = np.full(self.time_s.size, np.nan)
        for piece in self.core_k.T[::-1]:
            core = np.where(np.isfinite(piece), piece, core)
        return core

    @cached_property
    def seen_k(self) -> FloatArray:
        """Return the temperature of what an eye above sees, (time, cell): the lid if it is on."""
        if not self.lidded.any():
            return self.surface_k
        return np.where(self.lidded[:, None], self.lid_k[:, None], self.surface_k)
