"""What the device's reading is made of: its constants, its memory, what it says.

Every number is an integer in the words of ``device/fixedpoint.py``: a temperature
1/64 K (``q6``), a share 1/32768 (``q15``). Times are milliseconds. The names of
:class:`HeadNumbers` are the names of the C structure.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trivet.arrays import IntArray

REPORTERS = ("mean", "trimmed", "upper-half")
MEAN, TRIMMED, UPPER_HALF = range(3)
SHINY, AMBIGUOUS, LIQUID = 1, 2, 4
"""Bits of a surface: not measurable, of what is not known, covers do not count."""
NOTHING = 255
"""Of nothing: no surface is seen."""
EXP_STEPS, EXP_PER_TAU = 128, 16
"""The decay after wake is a table of exp(-x) at 0, 1/16, ... 8, straight lines between."""
HOUSING_RING, HEAT_RING = 32, 16

# Columns of what is said of a burner, and of what is told of it.
REPORTED, HALF, HOTTEST, SPREAD, APPARENT, FLAGS, OF, PRESENT, HEAT_ON, OPEN = range(10)
SAYS = 10
MASK, EPS_LOW, EPS_HIGH, EPS_MIDDLE, SURFACE_OF, BITS, WIDE = range(7)
# Columns of a burner's memory.
SQUARE, LAST, BEFORE, SEEN, HIGH_MS, GONE, HEAT_COUNT, HEAT_HEAD, TOP, LEFT, BACK_MS = range(11)
BURNER_FIELDS = 11


class HeadNumbers(NamedTuple):
    """Constants of one head and of its sensor."""

    cols: int
    drift_a_q12: int
    drift_b_q16: int
    drift_c_ms: int
    drift_d_q12: int
    tau_ms: int
    housing_ref: int
    has_pixel_term: int
    window_rise: int
    transmittance: int
    mirrored: int
    hob_rank_q15: int
    stale_ms: int
    settle_ms: int
    contrast: int
    taken_off: int
    range_low: int
    bound: int
    min_pixels: int
    heated: int
    reporter: int
    drop: int
    noise: int
    steam_square: int
    steam_cap: int
    u_wake: int
    u_housing_q15: int
    u_gain_q15: int
    u_uneven_q15: int
    hot_rows: int
    hot_cols: int
    near_boil: int
    boiled: int
    left_boil: int


@dataclass(frozen=True)
class HeadReading:
    """Everything that the reading of one head's frames needs; all arrays are read only."""

    head: str
    burners: tuple[str, ...]
    surfaces: tuple[str, ...]
    """Names of what can be told, place by place; the first is nothing told."""
    numbers: HeadNumbers
    radiance: IntArray
    """(node,) table of the head's band."""
    decay: IntArray
    """(129,) exp(-x). [1/32768]"""
    pixel_offset: IntArray
    """(pixel,) [1/64 K]"""
    pixel_gain: IntArray
    """(pixel,) one over the gain. [1/16384]; 0 for a bad pixel"""
    beside: IntArray
    """Pixels that stand for the hob."""
    mask_start: IntArray
    """(mask + 1,) where each mask begins in the next two."""
    mask_pixel: IntArray
    mask_weight: IntArray
    """0 near the rim, where only saturation and the hottest place are sought; to 255."""
    hot_start: IntArray
    hot_pixel: IntArray
    """First pixels of the little windows of which the hottest counts."""
    mask_edge: IntArray
    """(mask,) whether the frame's edge cuts it."""
    mask_rim: IntArray
    """(mask,) share of the pan that is not read: it is taken to be as cold as P5."""
    surface: IntArray
    """(burner, told, 7)"""

    @property
    def pixels(self) -> int:
        """Pixels of a frame."""
        return int(self.pixel_gain.size)


@dataclass
class ReadingState:
    """Everything that the reading remembers of one head."""

    head: IntArray
    """Time of the last frame, count and head of the housing's ring."""
    housing: IntArray
    """(32, 2) time and temperature of the housing."""
    pixel: IntArray
    """(pixel, 5) peak, before, open, since, near."""
    burner: IntArray
    """(burner, 11)"""
    heat: IntArray
    """(burner, 16, 2) time and temperature."""
    scratch: IntArray


def cold_reading(constants: HeadReading) -> ReadingState:
    """Return the memory of a head after power-on.

    Parameters
    ----------
    constants : HeadReading
        Gives the sizes.

    Returns
    -------
    ReadingState
        Nothing remembered.

    Notes
    -----
    In C 14 bytes a pixel and about 130 bytes a burner.
    """
    burners = len(constants.burners)
    return ReadingState(
        np.array([-1, 0, 0], dtype=np.int64),
        np.zeros((HOUSING_RING, 2), dtype=np.int64),
        np.zeros((constants.pixels, 5), dtype=np.int64),
        np.zeros((burners, BURNER_FIELDS), dtype=np.int64),
        np.zeros((burners, HEAT_RING, 2), dtype=np.int64),
        np.zeros(constants.pixels, dtype=np.int64),
    )
