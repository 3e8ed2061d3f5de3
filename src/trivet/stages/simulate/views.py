"""One head as it looks at a cook."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.physics.geometry.optics import Lens
from trivet.physics.radiation.planck import Band
from trivet.stages.simulate.draws import HeadUnit, Kitchen


@dataclass(frozen=True)
class HeadView:
    """One head looking at the pans of a cook."""

    unit: HeadUnit
    lens: Lens
    band: Band
    room: Kitchen
