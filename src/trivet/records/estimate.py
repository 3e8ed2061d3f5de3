"""An estimate: what the product would say, burner by burner and moment by moment.

``stages/estimate`` makes one::

    estimate(inputs: ProductInput, *, design: Design, calibration: Calibration) -> Estimate
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FlagArray, FloatArray, Int8Array
from trivet.quality import BLOCKING, has

ABSENT, PRESENT, UNSURE = 0, 1, 2  # codes of presence, by definition


@dataclass(frozen=True)
class PanShape:
    """Where a pan stands and how uneven it is, arrays (time, ...); NaN where withheld."""

    x_m: FloatArray
    """Middle of its base, from the burner's centre. [m]"""
    y_m: FloatArray
    diameter_m: FloatArray
    """Inner diameter of its base. [m]"""
    nonuniformity_u_k: FloatArray
    """Standard uncertainty of ``nonuniformity_k``. [K]"""
    ring_k: FloatArray
    """(time, ring) mean of five rings of equal width, from the middle. [K]"""
    sector_delta_k: FloatArray
    """(time, sector) mean of the outer half of each eighth, from the mean of all eight; from +x
    counter-clockwise. [K]"""
    hot_x_m: FloatArray
    """Middle of what is hottest, from the burner's centre. [m]"""
    hot_y_m: FloatArray
    hot_u_m: FloatArray
    """Standard uncertainty of either: how far what is hottest reaches. [m]"""
    hot_kps: FloatArray
    """Rate of the hottest 5 cm2. [K/s]"""
    hot_u_kps: FloatArray
    """Its standard uncertainty. [K/s]"""


@dataclass(frozen=True)
class BurnerEstimate:
    """One burner over time; arrays of shape (time,)."""

    burner: str
    head: str
    present: Int8Array
    """0 no pan, 1 pan, 2 uncertain."""
    of: Int8Array
    """Index in OF_WORDS of what the reported temperature is of; -1 where nothing is seen."""
    reported_k: FloatArray
    """Reported temperature; NaN where not valid. [K]"""
    u95_k: FloatArray
    """Half-width of its 95 % interval; NaN where not valid. [K]"""
    hottest_k: FloatArray
    """Hottest part of about 5 cm2, for alerts; +inf at or above the sensor's range; NaN
    where nothing can be said.  Given also while settling. [K]"""
    nonuniformity_k: FloatArray
    """P95 - P5 over the pan; NaN where withheld. [K]"""
    apparent_k: FloatArray
    """Mean apparent temperature of the open pan before the window, whatever its emissivity; NaN
    where no pan has been found.  Given also for a shiny pan, of which it says only how much it
    radiates and mirrors. [K]"""
    flags: FlagArray
    """Bits of quality.Quality."""
    heat_on: BoolArray
    """Whether the burner seems to be heating."""
    pixels: Int8Array
    """Pixels used, at most 127."""
    withheld_k: FloatArray | None = None
    """What would have been shown where a reading is withheld; NaN where nothing could, and where
    one is shown.  For scores alone: no alert and no display may use it. [K]"""
    shape: PanShape | None = None
    """None where whoever read the burner does not say."""

    @property
    def valid(self) -> BoolArray:
        """Return where a reading is given: a finite number without a blocking flag, (time,)."""
        return np.isfinite(self.reported_k) & ~has(self.flags, BLOCKING)


@dataclass(frozen=True)
class Estimate:
    """All burners of one recording."""

    time_s: FloatArray
    """(time,) [s]"""
    burners: tuple[BurnerEstimate, ...]
