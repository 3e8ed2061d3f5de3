"""The stage's public function: a whole recording through the stream."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from trivet.errors import RecordingError
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import Estimate
from trivet.records.recording import HeadFrames, ProductInput
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
        Frames, sensor state and what the cook told; nothing else of a recording.
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
    Intervals: see docs/reading.md for their terms.

    References
    ----------
    The radiometric equation and its terms are in physics/radiation/seensurface.py.
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


def blocks(heads: tuple[HeadFrames, ...], frames_at_once: int) -> Iterator[tuple[HeadFrames, ...]]:
    """Cut recordings of several heads at the same moments, after so many of the first's frames."""
    time_s = heads[0].time_s
    begins = [0] * len(heads)
    for end in range(frames_at_once, time_s.size + frames_at_once, frames_at_once):
        until = time_s[min(end, time_s.size) - 1]
        ends = [int(np.searchsorted(one.time_s, until, side="right")) for one in heads]
        yield tuple(
            HeadFrames(
                head=one.head,
                time_s=one.time_s[begin:stop],
                apparent_k=one.apparent_k[begin:stop],
                sensor_k=one.sensor_k[begin:stop],
                awake_s=one.awake_s[begin:stop],
            )
            for one, begin, stop in zip(heads, begins, ends, strict=True)
        )
        begins = ends
