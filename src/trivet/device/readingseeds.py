"""Seeded frames that the checker draws for itself, and the fingerprints of what is said of them.

Both sides draw the same numbers (xorshift, 32 bits), so no frame is shipped. The scenes
walk through levels and told surfaces, with hands, gaps, clocks that jump back, dead
pixels and both sentinels among them.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numba import njit

from trivet.device import readingrules as rules
from trivet.device.fixedpoint import Ints
from trivet.device.reading import device_reading
from trivet.device.readingrules import HeadReading, cold_reading

FRAMES = 3600
FIRST_SEED = 0x9E3779B9
SCENE = 40
"""Frames of one scene."""
SCENES = 3
"""Scenes after which the device starts anew."""


@njit(cache=True)
def drawn(x):  # type: ignore[no-untyped-def]
    """Return the next of the 32-bit numbers."""
    x ^= (x << 13) & 0xFFFFFFFF
    x ^= x >> 17
    return x ^ ((x << 5) & 0xFFFFFFFF)


@njit(cache=True)
def _seeded(frames, sensor, told, shape, beside):  # type: ignore[no-untyped-def] # noqa: PLR0912
    choices, cols = shape
    x, now, level, slope, housing, hidden = FIRST_SEED, 0, 19000, 0, 19200, 0
    for i in range(frames.shape[0]):
        if i % SCENE == 0:
            x = drawn(x)
            level = 18500 + x % 17000
            x = drawn(x)
            slope = x % 81 - 20
            for b in range(told.shape[1]):
                x = drawn(x)
                told[i, b] = x % choices
        elif i:
            told[i] = told[i - 1]
        x = drawn(x)
        step = 250
        if x % 61 == 0:
            step = 4000
        elif x % 67 == 0:
            step = -900
        now = max(0, now + step)
        x = drawn(x)
        housing += x % 13 - 6
        sensor[i, 0], sensor[i, 1], sensor[i, 2] = now, housing, i * 900
        x = drawn(x)
        if x % 41 == 0:
            hidden = x % cols
        level += slope
        for p in range(frames.shape[1]):
            x = drawn(x)
            word = level + x % 48
            if hidden and p % cols < hidden:
                word -= 2600
            if x % 1993 == 0:
                word = 0
            elif x % 1997 == 0:
                word = 65535
            elif x % 1999 == 0:
                word = 1
            frames[i, p] = min(max(word, 0), 65535)
        for p in beside:
            x = drawn(x)
            frames[i, p] = 19400 + x % 48
        if hidden and i % 29 == 0:
            hidden = 0


def seeded_frames(constants: HeadReading, *, frames: int = FRAMES) -> tuple[Ints, Ints, Ints]:
    """Return the checker's own frames, sensor words and what is told.

    Parameters
    ----------
    constants : HeadReading
        Gives pixels, burners and what can be told.
    frames : int
        How many. [-]

    Returns
    -------
    tuple
        (time, pixel), (time, 3) and (time, burner).

    Notes
    -----
    3,600 frames of 768 pixels draw 3 million numbers.

    References
    ----------
    Marsaglia's xorshift with shifts 13, 17, 5, from memory.
    """
    pixels = np.zeros((frames, constants.pixels), dtype=np.int64)
    sensor = np.zeros((frames, 3), dtype=np.int64)
    told = np.zeros((frames, len(constants.burners)), dtype=np.int64)
    beside = constants.beside
    if beside.size == constants.pixels:  # no hob of its own beside the pans
        beside = beside[:0]
    shape = (constants.surface.shape[1], constants.numbers.cols)
    _seeded(pixels, sensor, told, shape, beside)
    return pixels, sensor, told


def said_fingerprints(words: Ints) -> list[int]:
    """Return the hash of what is said of each frame, (time, burner, 10), as the checker does."""
    found = []
    for frame in words.reshape(words.shape[0], -1).tolist():
        digest = 2166136261
        for word in frame:
            for shift in (0, 8, 16, 24):
                digest = ((digest ^ ((word >> shift) & 255)) * 16777619) & 0xFFFFFFFF
        found.append(digest)
    return found


def seeded_words(constants: HeadReading, *, frames: int = FRAMES) -> Ints:
    """Return what the twin says of the checker's own frames, (time, burner, 10)."""
    pixels, sensor, told = seeded_frames(constants, frames=frames)
    state = cold_reading(constants)
    out = np.zeros((frames, told.shape[1], rules.SAYS), dtype=np.int64)
    begins = [*range(0, frames, SCENE), frames]
    for begin, end in pairwise(begins):
        if begin % (SCENES * SCENE) == 0:
            state = cold_reading(constants)
        out[begin:end] = device_reading(
            pixels[begin:end],
            sensor=sensor[begin:end],
            told=told[begin],
            constants=constants,
            state=state,
        )
    return out
