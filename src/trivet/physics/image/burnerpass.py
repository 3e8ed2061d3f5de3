"""One burner through a block of frames: find, read and ring its pan in one pass.

Everything that a later frame needs is in the burner's memory, so any way of cutting a recording
into blocks gives the same numbers, in constant memory. The hob beside the pans is the level from
which a pan's contrast counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.physics.compiled import family
from trivet.physics.image import panreading
from trivet.physics.image.panfinder import (
    BurnerRegion,
    FinderRule,
    FinderScratch,
    RegionPixels,
    follow_pan,
    take_pixels,
)
from trivet.physics.image.panreading import Covers, ReadingRule, no_covers, read_frame
from trivet.physics.image.panrings import (
    RINGS,
    Contrast,
    RingFit,
    RingRule,
    fit_rings,
    no_contrast,
    no_fit,
    take_contrast,
)
from trivet.physics.image.ranks import RANK_BINS, lay_out, quantile
from trivet.physics.radiation.scenepass import SceneFrames

compiled = family(Path(__file__).parent)

NOTHING_COLD_K = 2000.0  # own estimate: of a frame without a finite pixel: no pan stands out


def background_level_k(
    scene_k: FloatArray, *, beside: IntArray, quantile_frac: float
) -> FloatArray:
    """Return the apparent temperature of the hob beside the pans.

    scene_k : (time, pixel) apparent temperature before the window [K]
    beside : (n,) places of the pixels that see the hob and no pan
    quantile_frac : which quantile stands for the hob: the median, or a lower one where pans may be
        among the pixels
    Returns : (time,) [K]; 2,000 K where no pixel is finite
    Notes : Each frame by itself. Half of the pixels may be splashed or hidden before the median
        moves by more than their spread.
    Source : Quantile linear between order statistics, textbook form
    """
    return np.asarray(_levels(scene_k, beside, quantile_frac))


@compiled
def _levels(scene: Any, beside: Any, share: float) -> Any:
    out = np.empty(scene.shape[0])
    values, room = np.empty(beside.size), np.empty(beside.size)
    ends = np.empty(RANK_BINS, np.int64)
    for t in range(scene.shape[0]):
        count = 0
        for k in range(beside.size):
            value = scene[t, beside[k]]
            if math.isfinite(value):
                values[count] = value
                count += 1
        out[t] = NOTHING_COLD_K
        if count:
            out[t] = quantile(lay_out(values, count, room, ends), count, ends, share)
    return out


CONTRAST, HOB, PAN = 3, 4, 5  # columns after a pan's centre and radius, before the reading's
FITS = 2  # readings of the rings: without a wall, and with one as deep as the pan


class PassRules(NamedTuple):
    """Constants of one burner's pass; ``rings`` for either of FITS."""

    finder: FinderRule
    reading: ReadingRule
    rings: tuple[RingRule, RingRule]
    reads_rings: bool


class BurnerMemory(NamedTuple):
    """What one burner's pass remembers between frames; continued in place.

    ``frame`` (pixel,) is the region's part of the frame at hand.
    """

    pan: FloatArray
    covers: Covers
    fits: tuple[RingFit, RingFit]
    contrast: Contrast
    frame: FloatArray
    room: FinderScratch


@dataclass(frozen=True)
class PanTrace:
    """A pan's place, statistics and rings over some frames; ``table`` (time, column)."""

    table: FloatArray

    @property
    def radius_m(self) -> FloatArray:
        """(time,) radius of the rim as projected onto the cooktop; NaN before a pan was found."""
        return self.table[:, 2]

    @property
    def contrast_k(self) -> FloatArray:
        """(time,) hot part of the region over the background. [K]"""
        return self.table[:, CONTRAST]

    @property
    def hob_k(self) -> FloatArray:
        """(time,) the hob beside the pans, from which contrast counts. [K]"""
        return self.table[:, HOB]

    def read(self, column: int) -> FloatArray:
        """(time,) a statistic, by its column in ``panreading``."""
        return self.table[:, PAN + column]

    def ring_radiance(self, fit: int) -> FloatArray:
        """(time, ring) radiance of the rings of one fit. [W/m2/sr]"""
        first = PAN + panreading.COLUMNS + 2 * RINGS * fit
        return self.table[:, first : first + RINGS]

    def ring_open_frac(self, fit: int) -> FloatArray:
        """(time, ring) share of each ring's area that is in view and that no food covers."""
        first = PAN + panreading.COLUMNS + 2 * RINGS * fit + RINGS
        return self.table[:, first : first + RINGS]


WIDTH = PAN + panreading.COLUMNS + 2 * RINGS * FITS  # columns of a PanTrace


def burner_place(region: BurnerRegion, *, cols: int) -> RegionPixels:
    """Return a region for the compiled loops.

    cols : pixels across a frame
    """
    pixel = np.ascontiguousarray(region.rows * cols + region.cols, dtype=np.int64)
    x_m, y_m = (np.ascontiguousarray(axis, np.float64) for axis in (region.x_m, region.y_m))
    return RegionPixels(pixel, x_m, y_m, x_m * x_m + y_m * y_m, float(region.pitch_m), _runs(pixel))


def _runs(pixel: IntArray) -> IntArray:
    """Return where stretches of pixels begin, here and in the frame, and how long they are."""
    begin = np.flatnonzero(np.diff(pixel, prepend=pixel[:1] - 2) != 1)
    length = np.diff(begin, append=pixel.size)
    return np.ascontiguousarray(np.stack([begin, pixel[begin], length], axis=1))


def new_memory(pixels: int) -> BurnerMemory:
    """Return the memory of a burner on which nothing has been seen.

    pixels : of its region
    Notes : About 200 bytes a pixel, whatever the length of the recording.
    """
    pan = np.array([np.nan, np.nan, np.nan, 0.0])
    fits = (no_fit(pixels), no_fit(pixels))
    frame, first, second, laid = (np.empty(pixels) for _ in range(4))
    room = FinderScratch(
        first, second, laid, np.empty(RANK_BINS, np.int64), np.full((4, 2), np.nan)
    )
    return BurnerMemory(pan, no_covers(pixels), fits, no_contrast(pixels), frame, room)


def advance_burner(
    scene: SceneFrames,
    *,
    time_s: FloatArray,
    background: tuple[FloatArray, FloatArray],
    place: RegionPixels,
    rules: PassRules,
    memory: BurnerMemory,
    out: FloatArray,
) -> None:
    """Take frames into a burner's memory and fill a row of statistics for each.

    scene : (time, pixel) temperature and radiance of whole frames [K, W/m2/sr]
    time_s : (time,) moments of the frames [s]
    background : temperature and radiance of the hob beside the pans, (time,) each.
    memory : continued in place
    out : (time, WIDTH) table of a :class:`PanTrace`
    Notes : About 5 us a frame with 135 pixels in the region, rings included, on one core. Validity
        of each part: panfinder, panreading, panrings.
    Source : As those parts
    """
    _advance(scene, time_s, background, (place, rules), memory, out)


@compiled
def _advance(scene: Any, time: Any, background: Any, fixed: Any, memory: Any, out: Any) -> None:  # noqa: PLR0917
    place, rules = fixed
    frame, room = memory.frame, memory.room
    first = PAN + panreading.COLUMNS
    for t in range(time.size):
        take_pixels(scene.temperature_k[t], place, frame)
        row = out[t]
        search = (place, rules.finder, room)
        row[CONTRAST] = follow_pan(frame, background[0][t], time[t], search, memory.pan)
        row[:CONTRAST] = memory.pan[:CONTRAST]
        row[HOB] = background[0][t]
        reading = (place, rules.reading, room)
        read_frame(frame, memory.pan, time[t], reading, memory.covers, row[PAN:first])
        if rules.reads_rings:
            contrast = memory.contrast
            unknown = take_contrast(scene.radiance[t], background[1][t], place, contrast)
            hob = (background[1][t], unknown)
            for k in range(FITS):
                fixed_k = (place, rules.rings[k], memory.covers)
                begin = first + 2 * RINGS * k
                end = begin + 2 * RINGS
                fit_rings(contrast, hob, memory.pan, fixed_k, memory.fits[k], row[begin:end])
