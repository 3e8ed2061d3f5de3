"""What a block of frames says of one burner, before it is judged."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from trivet.arrays import BoolArray, FloatArray
from trivet.physics.image.burnerpass import PanTrace
from trivet.physics.radiation.seensurface import SurfaceReading, weighed_sum


@dataclass(frozen=True)
class Seen:
    """What a block of frames says of a burner's surface, arrays (time,) where not said."""

    trace: PanTrace
    mean_k: FloatArray
    """Mean of the open pan, in apparent temperature."""
    p5_k: FloatArray
    leaps: BoolArray
    """Whether a liquid seems to change faster than one can."""
    whole_k: FloatArray
    """The same over all of the base, also what is out of view; means something without food."""
    hidden: FloatArray
    """Share of the pan under food or beside it."""
    hidden_u_k: FloatArray
    """Standard uncertainty, within that of the reading, for what it hides. [K]"""
    reading: SurfaceReading
    weight: FloatArray
    """(time, hypothesis)"""

    @cached_property
    def slope(self) -> FloatArray:
        """Kelvin of surface for one kelvin of apparent temperature, (time,)."""
        return weighed_sum(self.weight, of=self.reading.slope)
