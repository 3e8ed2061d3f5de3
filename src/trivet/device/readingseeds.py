"""Seeded frames that the checker draws for itself, and the fingerprints of what is said of them.

Both sides draw the same numbers (xorshift, 32 bits), so no frame is shipped. Eras begin
with a device that starts anew and with limits, reporter and pixel terms drawn too, so that
rules that the design itself seldom meets are held as well. Scenes walk through levels near
the limits, told surfaces, slopes, leaps, flicker, hands over drawn shares of the pixels,
gaps, clocks that jump back, dead pixels and sentinels.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from trivet.arrays import IntArray
from trivet.device import compiled
from trivet.device import readingrules as rules
from trivet.device.reading import device_reading
from trivet.device.readingrules import HeadReading, cold_reading

FRAMES = 12_000  # own estimate: fifty eras
DRAW_SEED = 0x9E3779B9  # 2**32 over the golden ratio, common practice
SCENE = 40
"""Frames of one scene."""
SCENES = 6
"""Scenes of one era."""
DRAWN_LIMITS = (
    ("reporter", 0, 3),
    ("min_pixels", 1, 12),
    ("bound", 200, 2500),
    ("contrast", 60, 500),
    ("settle_ms", 0, 60_000),
    ("stale_ms", 300, 3000),
    ("heated", 19_200, 6000),
    ("range_low", 17_000, 4000),
    ("has_pixel_term", 0, 2),
    ("drift_b_q16", -8000, 16_000),
    ("drift_c_ms", -20_000, 40_000),
    ("drift_d_q12", -20_000, 40_000),
    ("tau_ms", 20_000, 200_000),
    ("hot_rows", 1, 3),
)
"""Numbers that an era draws: name, least, how many. hot_cols follows hot_rows."""


@compiled
def drawn(x):  # type: ignore[no-untyped-def]
    """Return the next of the 32-bit numbers."""
    x ^= (x << 13) & 0xFFFFFFFF
    x ^= x >> 17
    return x ^ ((x << 5) & 0xFFFFFFFF)


@compiled
def _era(x, limits, ranges, offset, gain):  # type: ignore[no-untyped-def]
    for k in range(ranges.shape[0]):
        x = drawn(x)
        limits[k] = ranges[k, 0] + x % ranges[k, 1]
    for p in range(offset.size):
        x = drawn(x)
        offset[p] = x % 129 - 64
        x = drawn(x)
        gain[p] = 0 if x % 97 == 0 else 16128 + x % 513
    return drawn(x)


@compiled
def _level(x, kind, boil):  # type: ignore[no-untyped-def]
    if kind == 0:
        return 18500 + x % 17000
    if kind == 1:
        return boil - 900 + x % 1800
    if kind == 2:
        return 19300 + x % 3000
    return 30000 + x % 9000


@compiled
def _slope(x):  # type: ignore[no-untyped-def]
    """Return a change a frame in 1/16 of a word: steep, slow or none."""
    if x % 4 == 0:
        return (x >> 8) % 5600 - 3200
    return (x >> 8) % 513 - 256 if x % 4 < 3 else 0


@compiled
def _scene(x, scene, told, shape):  # type: ignore[no-untyped-def]
    """Draw a scene: level, slopes, the turn, leap, flicker, spread and what is hidden."""
    choices, boil, liquid = shape
    x = drawn(x)
    kind = x % 6
    x = drawn(x)
    goes_on = kind > 3 and scene[0] > 0
    if not goes_on:
        scene[0] = 16 * _level(x, kind % 4, boil)
    for k in (1, 2):
        x = drawn(x)
        scene[k] = 0 if goes_on else _slope(x)
    x = drawn(x)
    scene[3] = x % 40
    x = drawn(x)
    scene[4] = 16 * ((x >> 8) % 4000) if x % 3 == 0 and not goes_on else 0
    x = drawn(x)
    scene[5] = (x >> 8) % 120 if x % 3 == 0 else 0
    x = drawn(x)
    scene[6] = (x >> 8) % 3000 if x % 2 == 0 else (x >> 8) % 200
    x = drawn(x)
    scene[7] = (x >> 8) % 101 if x % 2 == 0 else (x >> 8) % 12
    x = drawn(x)
    scene[8] = 500 + x % 3500
    x = drawn(x)
    scene[9] = x % 40
    x = drawn(x)
    scene[10] = scene[9] + 1 + x % 60
    x = drawn(x)
    scene[11] = x % 500
    for b in range(told.size):
        x = drawn(x)
        if not goes_on:
            told[b] = liquid if kind == 1 else x % choices
    return x


@compiled
def _moment(x, now, housing, sensor):  # type: ignore[no-untyped-def]
    x = drawn(x)
    step = 100 + x % 300
    if x % 61 == 0:
        step = 4000
    elif x % 67 == 0:
        step = -900
    elif x % 401 == 0:
        step = 70_000
    now = max(0, now + step)
    x = drawn(x)
    housing += x % 29 - 14
    x = drawn(x)
    sensor[0], sensor[1] = now, housing
    if x % 151 == 0:
        sensor[1] = (0, 1, 65535)[(x >> 8) % 3]
    return x, now, housing


@compiled
def _frame(x, frame, place, scene, beside):  # type: ignore[no-untyped-def]
    """Draw the pixels of frame ``place`` of a scene."""
    x = drawn(x)
    level = scene[0] // 16 + (x % (2 * scene[5] + 1) - scene[5])
    hides = place < scene[10]
    for p in range(frame.size):
        x = drawn(x)
        word = level + x % 48 + scene[6] * ((p * 37) % 64) // 64
        if place >= scene[9] and ((p * 2654435761) >> 16) % 101 < scene[7]:
            word -= scene[8] if hides else scene[11]
        if x % 1993 == 0:
            word = 0
        elif x % 1997 == 0:
            word = 65535
        elif x % 1999 == 0:
            word = 1
        frame[p] = min(max(word, 0), 65535)
    for p in beside:
        x = drawn(x)
        frame[p] = 19400 + x % 48
    return x


@compiled
def _seeded(frames, sensor, told, shape, beside, limits, ranges, terms):  # type: ignore[no-untyped-def] # noqa: PLR0917
    offset, gain = terms
    x, now, housing, awake = DRAW_SEED, 0, 19200, 0
    scene = np.zeros(12, dtype=np.int64)
    for i in range(frames.shape[0]):
        era = i // (SCENE * SCENES)
        if i % (SCENE * SCENES) == 0:
            x = _era(x, limits[era], ranges, offset[era], gain[era])
            awake = x % 60_000 - 1000
            now, housing, scene[0] = 0, 19200, 0
        if i:
            told[i] = told[i - 1]
        if i % SCENE == 0:
            x = _scene(x, scene, told[i], shape)
        place = i % SCENE
        scene[0] += scene[1] if place < scene[3] else scene[2]
        if place == scene[3]:
            scene[0] -= scene[4]
        x, now, housing = _moment(x, now, housing, sensor[i])
        awake += 500
        sensor[i, 2] = awake
        x = _frame(x, frames[i], place, scene, beside)


def era_constants(
    constants: HeadReading, *, limits: IntArray, offset: IntArray, gain: IntArray
) -> HeadReading:
    """Return the constants of one era."""
    own = {name: int(value) for (name, _, _), value in zip(DRAWN_LIMITS, limits, strict=True)}
    own["hot_rows"] = min(own["hot_rows"], constants.numbers.hot_rows)
    own["hot_cols"] = min(own["hot_rows"], constants.numbers.hot_cols)
    return replace(
        constants,
        numbers=constants.numbers._replace(**own),
        pixel_offset=offset,
        pixel_gain=gain,
    )


def hashed(values: Iterable[int]) -> int:
    """Return the hash of 32-bit words as the checkers take it."""
    digest = 2166136261
    for value in values:
        for shift in (0, 8, 16, 24):
            digest = ((digest ^ ((value >> shift) & 255)) * 16777619) & 0xFFFFFFFF
    return digest


def said_fingerprints(words: IntArray) -> list[int]:
    """Return the hash of what is said of each frame, (time, burner, 10), as the checker does."""
    return [hashed(frame) for frame in words.reshape(words.shape[0], -1).tolist()]


def seeded_words(constants: HeadReading, *, frames: int = FRAMES) -> IntArray:
    """Return what the twin says of the checker's own frames.

    Parameters
    ----------
    constants : HeadReading
        Of the design; eras draw some of its numbers anew.
    frames : int
        How many. [-]

    Returns
    -------
    (time, burner, 10)
        Words.

    Notes
    -----
    12,000 frames of 768 pixels draw 10 million numbers.

    References
    ----------
    Marsaglia's xorshift with shifts 13, 17, 5, from memory.
    """
    era = SCENE * SCENES
    eras = -(-frames // era)
    pixels = np.zeros((frames, constants.pixels), dtype=np.int64)
    sensor = np.zeros((frames, 3), dtype=np.int64)
    told = np.zeros((frames, len(constants.burners)), dtype=np.int64)
    limits = np.zeros((eras, len(DRAWN_LIMITS)), dtype=np.int64)
    offset, gain = (np.zeros((eras, constants.pixels), dtype=np.int64) for _ in range(2))
    beside = constants.beside
    if beside.size == constants.pixels:  # no hob of its own beside the pans
        beside = beside[:0]
    n = constants.numbers
    bits = constants.surface[0, :, rules.BITS]
    shape = (bits.size, n.near_boil, int(np.argmax(bits & rules.LIQUID != 0)))
    ranges = np.array([row[1:] for row in DRAWN_LIMITS], dtype=np.int64)
    _seeded(pixels, sensor, told, shape, beside, limits, ranges, (offset, gain))
    out = np.zeros((frames, told.shape[1], rules.SAYS), dtype=np.int64)
    for begin in range(0, frames, SCENE):
        end, at = min(begin + SCENE, frames), begin // era
        if begin % era == 0:
            own = era_constants(constants, limits=limits[at], offset=offset[at], gain=gain[at])
            state = cold_reading(own)
        out[begin:end] = device_reading(
            pixels[begin:end],
            sensor=sensor[begin:end],
            told=told[begin],
            constants=own,
            state=state,
        )
    return out
