"""Half frames: which pixels a subpage fills, and whole frames made of two of them.

A thermopile array that reads its pixels in two turns gives, at each turn, half a picture. The
pixels of the other half are older by one turn; on a pan that heats at 3 K/s and an array that turns
at 2 Hz the two halves differ by 1.5 K, which shows as a checkerboard. So a composed frame carries
the age of each pixel beside its value.

Read patterns are those of the MLX90640 datasheet, revision 12 (2019), section 9; what share of the
pixels decides is an own estimate.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import RecordingError

ReadPattern = Literal["chess", "interleaved"]

PATTERNS: tuple[ReadPattern, ...] = ("chess", "interleaved")


@dataclass(frozen=True)
class FullFrames:
    """Whole frames composed of half frames, one at each half frame's moment.

    temperature_k : (time, row, col) the newest value of each pixel [K]; NaN where none has come yet
    age_s : (time, row, col) how long ago that value was read [s]; NaN where none has come yet
    repeated : (time,) true where a half frame filled the same subpage as the one before it, so that
        the other half is staler than one turn
    """

    temperature_k: FloatArray
    age_s: FloatArray
    repeated: BoolArray


def subpage_mask(rows: int, *, cols: int, pattern: ReadPattern, subpage: int) -> BoolArray:
    """Return which pixels one subpage fills.

    rows, cols : size of the array
    pattern : "chess" or "interleaved": chess fills the pixels whose row and column indices add to
        an even number (subpage 0) or an odd one (subpage 1); interleaved fills every second row
    subpage : 0 or 1
    Returns : (row, col) true where the subpage fills the pixel
    Raises : RecordingError if the pattern is unknown or the subpage is neither 0 nor 1
    Notes : The two masks of a pattern are disjoint and cover every pixel.
    """
    if pattern not in PATTERNS:
        raise RecordingError(
            f"read pattern {pattern!r} is unknown; allowed: chess, interleaved. "
            "It is bit 12 of the array's control register."
        )
    if subpage not in (0, 1):
        raise RecordingError(
            f"subpage {subpage!r} does not exist; a half frame is of subpage 0 or 1. "
            "Check the status word that was stored with the half frame."
        )
    row, col = np.indices((rows, cols))
    turn = (row + col) % 2 if pattern == "chess" else row % 2
    return np.asarray(turn == subpage, dtype=np.bool_)


def compose_full_frames(half_k: ArrayLike, *, time_s: ArrayLike) -> FullFrames:
    """Return whole frames made of half frames, with the age of every pixel.

    half_k : (time, row, col) half frames; NaN in the pixels that the turn did not read [K]
    time_s : (time,) moment of each half frame, increasing [s]
    Returns : at each half frame's moment the newest value of every pixel. Only the past is used, so
        the composition may stand in a causal chain.
    Raises : RecordingError if the axes do not match or time does not increase
    Notes : Nothing is interpolated. The error of a pixel that is ``age_s`` old is its rate of
        change times that age: 1.5 K at 3 K/s and 0.5 s.
    """
    half = np.asarray(half_k, dtype=np.float64)
    time = np.asarray(time_s, dtype=np.float64)
    if half.ndim != 3 or time.shape != half.shape[:1]:
        raise RecordingError(
            f"half frames of shape {half.shape} and {time.shape} moments do not match; "
            "allowed: (time, row, col) and (time,)"
        )
    if np.any(~(np.diff(time) > 0.0)):
        raise RecordingError("the moments of the half frames must increase from one to the next")
    fresh = ~np.isnan(half)  # infinities are values: beyond the range
    steps = np.arange(time.size)[:, None, None]
    newest = np.maximum.accumulate(np.where(fresh, steps, -1), axis=0)
    known = newest >= 0
    at = np.maximum(newest, 0)
    value = np.take_along_axis(half, at, axis=0)
    age = time[:, None, None] - time[at]
    return FullFrames(
        temperature_k=np.where(known, value, np.nan),
        age_s=np.where(known, age, np.nan),
        repeated=repeated_subpages(fresh),
    )


def repeated_subpages(filled: ArrayLike) -> BoolArray:
    """Return where a half frame filled the same half as the one before it.

    filled : (time, row, col) of bool which pixels each half frame filled
    Returns : (time,) true at the second of two equal halves in a row: one turn was lost or
        read twice. The first half frame is never marked.
    Notes : Two halves count as equal when more than half of the pixels of the later one were filled
        by the earlier one too, so single dead pixels do not matter.
    """
    fill = np.asarray(filled, dtype=np.bool_)
    marks = np.zeros(fill.shape[0], dtype=np.bool_)
    if fill.shape[0] > 1:
        both = np.sum(fill[1:] & fill[:-1], axis=(1, 2))
        marks[1:] = both > 0.5 * np.maximum(np.sum(fill[1:], axis=(1, 2)), 1)
    return marks


def half_frame_pattern(filled: ArrayLike) -> ReadPattern | None:
    """Return the read pattern that half-filled frames betray, or None.

    filled : (time, row, col) true where a frame carries a value of its own: neither NaN nor
        a filler, or changed since the frame before
    Returns : "chess", "interleaved" or None: the pattern whose one subpage is filled and whose
        other is empty in most frames; None for whole frames or another kind of gap
    Notes : A frame counts when over 90 % of one subpage is filled and under 10 % of the other; the
        stack counts when over half of its frames do.
    """
    fill = np.asarray(filled, dtype=np.bool_)
    rows, cols = fill.shape[1:]
    for pattern in PATTERNS:
        masks = [
            subpage_mask(rows, cols=cols, pattern=pattern, subpage=subpage) for subpage in (0, 1)
        ]
        share = np.stack([np.mean(fill[:, mask], axis=1) for mask in masks])
        half = (share.max(axis=0) > 0.9) & (share.min(axis=0) < 0.1)
        if half.size and np.mean(half) > 0.5:
            return pattern
    return None
