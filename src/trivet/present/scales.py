"""Arrays of charts in the units of the screen; temperatures and differences never mix."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.records.design import Display
from trivet.units import ABSOLUTE_ZERO_C


@dataclass(frozen=True)
class Scale:
    """Conversions from SI to the units of a :class:`Display`."""

    display: Display

    @property
    def temperature_unit(self) -> str:
        """The unit of temperatures."""
        return "°F" if self.display.temperature == "degF" else "°C"

    @property
    def difference_unit(self) -> str:
        """The unit of differences."""
        return "°F" if self.display.temperature == "degF" else "K"

    @property
    def length_unit(self) -> str:
        """The unit of lengths."""
        return self.display.length

    def temperature(self, value_k: npt.ArrayLike) -> FloatArray:
        """Return temperatures in degC or degF."""
        celsius = np.asarray(value_k, dtype=np.float64) + ABSOLUTE_ZERO_C
        return celsius * 9 / 5 + 32 if self.display.temperature == "degF" else celsius

    def difference(self, value_k: npt.ArrayLike) -> FloatArray:
        """Return differences in K or in Fahrenheit degrees: no offset."""
        kelvin = np.asarray(value_k, dtype=np.float64)
        return kelvin * 9 / 5 if self.display.temperature == "degF" else kelvin

    def length(self, value_m: npt.ArrayLike) -> FloatArray:
        """Return lengths in mm or inches."""
        metres = np.asarray(value_m, dtype=np.float64)
        return metres / 0.0254 if self.display.length == "in" else metres * 1000
