"""What the device's reading is made of: constants, memory, words; even frames; covered pixels.

Every number is an integer in the words of ``device/fixedpoint.py``: a temperature
1/64 K (``q6``), a share 1/32768 (``q15``). Times are milliseconds. The names of
:class:`HeadNumbers` are the names of the C structure. A pixel that falls by the drop faster than
a pan can cool is covered, until it regains three quarters of the fall within 5 s, or lies for
20 s near the open ones or above where it was before: the rules of
``physics/image/panreading.py``, in integers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from trivet.arrays import IntArray
from trivet.device import compiled
from trivet.device.arithmetic import divided, shifted
from trivet.device.fixedpoint import NO_READING, OVER_RANGE, UNDER_RANGE
from trivet.device.thresholds import (
    BRIEF_MS,
    COOLING_STEPS,
    FRESH_MS,
    HOUSING_MS,
    HOUSING_STEP_MS,
    LONGEST_STEP_MS,
    MIN_HOUSING_MS,
    NEAR_MS,
    REGAINED_BITS,
)

REPORTERS = ("mean", "trimmed", "upper-half")
MEAN, TRIMMED, UPPER_HALF = range(3)
SHINY, AMBIGUOUS, LIQUID = 1, 2, 4
"""Bits of a surface: not measurable, of what is not known, covers do not count."""
NOTHING = 255
"""Of nothing: no surface is seen."""
HOUSING_RING, HEAT_RING = 32, 16  # own estimate: 30 s and 15 s at one reading a second

# Columns of what is said of a burner, and of what is told of it.
REPORTED, HALF, HOTTEST, SPREAD, APPARENT, FLAGS, OF, PRESENT, HEAT_ON, OPEN = range(10)
SAYS = 10  # columns above
MASK, EPS_LOW, EPS_HIGH, EPS_MIDDLE, SURFACE_OF, BITS, WIDE = range(7)
# Columns of a burner's memory.
SQUARE, LAST, BEFORE, SEEN, HIGH_MS, GONE, HEAT_COUNT, HEAT_HEAD, TOP, LEFT, BACK_MS = range(11)
BURNER_FIELDS = 11  # columns above


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
    """Return the memory of a head after power-on: words as in ``constants``, floats or integers.

    In C 14 bytes a pixel and about 130 bytes a burner.
    """
    burners, kind = len(constants.burners), constants.pixel_offset.dtype
    return ReadingState(
        np.array([-1, 0, 0], dtype=np.int64),
        np.zeros((HOUSING_RING, 2), dtype=kind),
        np.zeros((constants.pixels, 5), dtype=kind),
        np.zeros((burners, BURNER_FIELDS), dtype=kind),
        np.zeros((burners, HEAT_RING, 2), dtype=kind),
        np.zeros(constants.pixels, dtype=kind),
    )


PEAK, WAS, OPENED, SINCE, NEAR = range(5)
STAMP = 0xFFFFFFFF  # 32 bits


@compiled
def stamp(now):  # type: ignore[no-untyped-def]
    """Return a moment as 32 bits that are never 0, to 2 ms."""
    return (now & STAMP) | 1


@compiled
def passed(now, then):  # type: ignore[no-untyped-def]
    """Return the milliseconds since a stamp."""
    return (stamp(now) - np.int64(then)) & STAMP


@compiled
def housing_rate_q20(now, word, head, ring):  # type: ignore[no-untyped-def]
    """Return the housing's rate by least squares over 30 s. [1/64 K per ms, times 2**20]"""
    count, first = head[1], head[2]
    if count == 0 or now < ring[(first + count - 1) % HOUSING_RING, 0]:
        count, first = 0, 0
    if count == 0 or now - ring[(first + count - 1) % HOUSING_RING, 0] >= HOUSING_STEP_MS:
        if count == HOUSING_RING:
            first, count = (first + 1) % HOUSING_RING, count - 1
        at = (first + count) % HOUSING_RING
        ring[at, 0], ring[at, 1] = now, word
        count += 1
    while now - ring[first, 0] > HOUSING_MS and count > 1:
        first, count = (first + 1) % HOUSING_RING, count - 1
    head[1], head[2] = count, first
    last = (first + count - 1) % HOUSING_RING
    if ring[last, 0] - ring[first, 0] < MIN_HOUSING_MS:
        return 0
    sum_t, sum_tt, sum_y, sum_ty = 0, 0, 0, 0
    for i in range(count):
        at = (first + i) % HOUSING_RING
        t, y = ring[at, 0] - ring[last, 0], ring[at, 1] - ring[last, 1]
        sum_t += t
        sum_tt += t * t
        sum_y += y
        sum_ty += t * y
    rise = count * sum_ty - sum_t * sum_y
    return divided(rise * (1 << 20), count * sum_tt - sum_t * sum_t)


@compiled
def drift_steps(housing, rate_q20, decay, h):  # type: ignore[no-untyped-def]
    """Return the offset of all pixels, rounded once. [1/64 K]"""
    offset = h.drift_a_q12 + divided(h.drift_b_q16 * (housing - h.housing_ref), 1 << 10)
    offset += divided(h.drift_c_ms * rate_q20, 1 << 14)
    offset += divided(h.drift_d_q12 * decay, 1 << 15)
    return divided(offset, 64)


@compiled
def even_frame(frame, housing, offset, h, pixel_offset, pixel_gain):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Take each pixel's own offset and gain and the drift off a frame, in place."""
    for p in range(frame.size):
        word = frame[p]
        if pixel_gain[p] == 0:
            frame[p] = NO_READING
            continue
        if word in (NO_READING, UNDER_RANGE, OVER_RANGE):
            continue
        if h.has_pixel_term:
            word = housing + divided((word - pixel_offset[p] - housing) * pixel_gain[p], 1 << 14)
        frame[p] = min(max(word - offset, UNDER_RANGE + 1), OVER_RANGE - 1)


@compiled
def cover(frame, now, step_ms, drop, pixel):  # type: ignore[no-untyped-def]
    """Note which pixels fell faster than a pan can cool."""
    fall = COOLING_STEPS * min(step_ms, LONGEST_STEP_MS) // 1000
    for p in range(frame.size):
        word = frame[p]
        if word in (NO_READING, OVER_RANGE) or pixel[p, SINCE] != 0:
            continue
        pixel[p, PEAK] = max(word, pixel[p, PEAK] - fall)
        if word < pixel[p, PEAK] - drop:
            pixel[p, SINCE] = stamp(now)
            pixel[p, WAS] = pixel[p, PEAK]
            pixel[p, OPENED] = 0
            pixel[p, NEAR] = 0


@compiled
def uncover(frame, now, mean, drop, pixel, place):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Note which pixels of a pan are open again; ``mean`` is that of the open ones or 0."""
    for p in place:
        word = frame[p]
        if pixel[p, SINCE] == 0 or word == NO_READING:
            continue
        since, risen = passed(now, pixel[p, SINCE]), 0
        if since < FRESH_MS or pixel[p, OPENED] == 0:
            pixel[p, OPENED] = mean
        elif mean > pixel[p, OPENED]:
            risen = mean - pixel[p, OPENED]
        regained = word > pixel[p, WAS] + risen - shifted(drop, REGAINED_BITS)
        near = mean != 0 and word > mean - drop
        if not (regained or near):
            pixel[p, NEAR] = 0
        elif pixel[p, NEAR] == 0:
            pixel[p, NEAR] = stamp(now)
        long = pixel[p, NEAR] != 0 and passed(now, pixel[p, NEAR]) >= NEAR_MS
        if (since < BRIEF_MS and regained) or long:
            pixel[p, SINCE] = 0
            pixel[p, PEAK] = min(word, OVER_RANGE - 1)


@compiled
def shaded(p, cols, pixel):  # type: ignore[no-untyped-def]
    """Return whether a pixel shares a side with a covered one."""
    col = p % cols
    if col > 0 and pixel[p - 1, SINCE] != 0:
        return True
    if col < cols - 1 and pixel[p + 1, SINCE] != 0:
        return True
    if p >= cols and pixel[p - cols, SINCE] != 0:
        return True
    return p + cols < pixel.shape[0] and pixel[p + cols, SINCE] != 0
