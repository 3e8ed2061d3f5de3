"""Faults put into what the product sees, to find out whether and when it says so."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.records.alertlog import Watch
from trivet.records.recording import HeadFrames, ProductInput

HOT_K = 80.0
"""Rise of the housing under a fault; assumed, no source."""
COVER_NOISE_K = 0.1
"""What noise leaves of a covered lens; assumed, no source."""
JUMP_S = 20.0
"""A clock jumps back by this much."""

Frames = tuple[HeadFrames, BoolArray]


def _stuck(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames of which the first of the fault repeats itself."""
    first = int(np.argmax(from_then))
    frames = np.where(from_then[:, None, None], head.apparent_k[first], head.apparent_k)
    return replace(head, apparent_k=frames.astype(np.float32))


def _dropped(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames of which none comes from the fault on, but the very last."""
    kept = ~from_then
    kept[-1] = True
    return head.part(kept)


def _hot(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames whose housing is far too hot."""
    return replace(head, sensor_k=head.sensor_k + HOT_K * from_then)


def _covered(head: HeadFrames, from_then: BoolArray) -> HeadFrames:
    """Return frames that show the inside of a cover at the housing's temperature."""
    noise = np.random.default_rng(1).normal(0.0, COVER_NOISE_K, head.apparent_k.shape)
    plain = head.sensor_k[:, None, None] + noise
    frames = np.where(from_then[:, None, None], plain, head.apparent_k)
    return replace(head, apparent_k=frames.astype(np.float32))


IN_FRAMES: dict[str, Callable[[HeadFrames, BoolArray], HeadFrames]] = {
    "stuck frame": _stuck,
    "dropped frames": _dropped,
    "housing over temperature": _hot,
    "lens covered": _covered,
}
LINK, CLOCK, RESTART = "link lost", "clock jumps back", "brown-out and restart"
FAULTS = (*IN_FRAMES, LINK, CLOCK, RESTART)


def faulty_input(inputs: ProductInput, fault: str, *, at_s: float) -> ProductInput:
    """Return an input with a fault in its frames from a moment on.

    Parameters
    ----------
    inputs : ProductInput
        Of a sound cook.
    fault : str
        One of IN_FRAMES; others leave the frames as they are.
    at_s : float
        From when. [s]

    Returns
    -------
    ProductInput
        To be read and alerted on anew.

    Notes
    -----
    The fault lasts to the end of the cook.

    References
    ----------
    Fault injection as IEC 61508-7:2010, B.6.10, describes it.
    """
    if fault not in IN_FRAMES:
        return inputs
    heads = tuple(IN_FRAMES[fault](head, head.time_s >= at_s) for head in inputs.heads)
    return replace(inputs, heads=heads)


def unlinked(watch: Watch, *, at_s: float) -> Watch:
    """Return what the device knows with the link lost from a moment on."""
    return replace(watch, link=watch.link & (watch.time_s < at_s))


def jumped_back(time_s: FloatArray, *, at_s: float) -> FloatArray:
    """Return times of a clock that jumps back at a moment."""
    return time_s - JUMP_S * (time_s >= at_s)
