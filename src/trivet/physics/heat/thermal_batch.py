"""One block of cooks of a batch, and what it picks out of the batch's figures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.physics.heat.foodpatch import FoodPatch
from trivet.physics.heat.lids import Lid
from trivet.physics.heat.loads import Layer
from trivet.physics.heat.thermal_model import Losses, PanBase, RunSettings

LANES = 32  # cooks a block: longer rows for the vector units, fields still near the cache


@dataclass(frozen=True)
class Block:
    """One block of cooks of a batch, from ``first`` on."""

    shape: FloatArray
    power: FloatArray
    pan: PanBase
    losses: Losses
    layer: Layer
    food: FoodPatch | None
    lid: Lid | None
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
