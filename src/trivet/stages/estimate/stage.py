"""The stage's public functions: a whole recording through the stream, and maps of its pixels."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import RecordingError
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import Estimate
from trivet.records.recording import HeadFrames, LabelMaps, ProductInput
from trivet.stages.estimate.streaming import Estimator, joined

BLOCK_FRAMES, BLOCK_VALUES = 1024, 4_000_000
"""Frames read at a time, and pixel values; it changes memory and speed, never a number."""


def estimate(
    inputs: ProductInput,
    *,
    design: Design,
    calibration: Calibration,
    leave_out_rate: bool = False,
) -> Estimate:
    """Return what the product would report for every burner and moment of a recording.

    Parameters
    ----------
    inputs : ProductInput
        Frames, sensor state and what the user told; nothing else of a recording.
    design : Design
    calibration : Calibration
    leave_out_rate : bool
        Read as if nothing were known of how fast a pan can heat, to see what that
        evidence decides.

    Returns
    -------
    Estimate
        On the time axis of the first head; a burner seen by several heads is read
        by the one with the most pixels on it.

    Raises
    ------
    RecordingError
        If a head or its frame shape is not the design's, or there are no frames.

    Notes
    -----
    Causal: the estimate of a truncated recording is the beginning of the whole
    one's, and that of any cut into blocks is the same bit for bit (tests/stages).
    Intervals: see docs/reading.md for their terms, physics/radiation/seensurface.py for the
    radiometric equation.
    """
    if not inputs.heads:
        raise RecordingError("the recording has no frames; import at least one head's")
    for frames in inputs.heads:
        if frames.time_s.size < 2:
            raise RecordingError(
                f"head {frames.head!r} has {frames.time_s.size} frame(s); a reading needs at "
                "least 2, since rate and flicker come from several"
            )
    estimator = Estimator(
        tuple(one.head for one in inputs.heads),
        design=design,
        calibration=calibration,
        told=inputs.told,
        leave_out_rate=leave_out_rate,
    )
    pixels = max(one.apparent_k[0].size for one in inputs.heads)
    at_once = max(1, min(BLOCK_FRAMES, BLOCK_VALUES // pixels))
    return joined([estimator.advance(block) for block in blocks(inputs.heads, at_once)])


def label_maps(
    inputs: ProductInput, *, design: Design, calibration: Calibration, at_s: FloatArray
) -> tuple[LabelMaps, ...]:
    """Return what the product makes of each pixel at some moments of a recording.

    Parameters
    ----------
    inputs, design, calibration : ProductInput, Design, Calibration
        As for :func:`estimate`.
    at_s : (moment,)
        Rising; the last frame at or before each is looked at. [s]

    Returns
    -------
    tuple of LabelMaps
        One a head, for the moments by which every head has given a frame.

    Raises
    ------
    RecordingError
        As :func:`estimate`.

    Notes
    -----
    Causal: a map rests on the frames up to its moment, whichever other moments are
    asked for.  About 1 ms a burner and moment.
    """
    names = tuple(one.head for one in inputs.heads)
    estimator = Estimator(names, design=design, calibration=calibration, told=inputs.told)
    first = max(float(one.time_s[0]) for one in inputs.heads)
    begins = [0] * len(names)
    found: list[tuple[LabelMaps, ...]] = []
    for at in at_s[at_s >= first]:
        block = frames_until(inputs.heads, begins, float(at))
        if all(one.time_s.size for one in block):
            estimator.advance(block)
            begins = [begin + one.time_s.size for begin, one in zip(begins, block, strict=True)]
        found.append(estimator.labels(float(at)))
    return tuple(_one_map(maps) for maps in zip(*found, strict=True))


def _one_map(maps: tuple[LabelMaps, ...]) -> LabelMaps:
    """Join the maps of one head's moments."""
    names = ("time_s", "label", "owner", "area_px", "area_u_px")
    rows: dict[str, Any] = {
        name: np.concatenate([getattr(one, name) for one in maps]) for name in names
    }
    return replace(maps[0], **rows)


def blocks(heads: tuple[HeadFrames, ...], frames_at_once: int) -> Iterator[tuple[HeadFrames, ...]]:
    """Cut recordings of several heads at the same moments, after so many of the first's frames."""
    time_s, begins = heads[0].time_s, [0] * len(heads)
    for end in range(frames_at_once, time_s.size + frames_at_once, frames_at_once):
        block = frames_until(heads, begins, time_s[min(end, time_s.size) - 1])
        yield block
        begins = [begin + one.time_s.size for begin, one in zip(begins, block, strict=True)]


def frames_until(
    heads: tuple[HeadFrames, ...], begins: list[int], until_s: float
) -> tuple[HeadFrames, ...]:
    """Return each head's frames from its next one to the last at or before a moment."""
    return tuple(
        one.part(slice(begin, int(np.searchsorted(one.time_s, until_s, side="right"))))
        for one, begin in zip(heads, begins, strict=True)
    )
