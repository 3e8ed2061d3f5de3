"""The device's reading, frame by frame: raw words in, what is said of each burner out.

The order is that of the C code: drift and pixel terms, covers, the hob beside the pans,
then burner by burner its pixels, its reporter, its flags and its inversions. Only the
few figures that are said are inverted, not every pixel: five inversions a burner in
place of one a pixel. What that costs is stated in docs/handoff.md.

The loops are compiled when called; their ``py_func`` is the readable twin.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.device import compiled
from trivet.device import readingrules as rules
from trivet.device.arithmetic import decay_q15, shifted
from trivet.device.fixedpoint import NO_READING, OVER_RANGE, UNDER_RANGE
from trivet.device.readingburner import (
    EDGE,
    STEAM,
    flag_word,
    gather,
    heats,
    hob_level,
    hottest_window,
    mean_between,
    presence,
    say,
    sort_words,
    steams,
)
from trivet.device.readingrules import (
    HeadReading,
    ReadingState,
    cover,
    drift_steps,
    even_frame,
    housing_rate_q20,
    uncover,
)
from trivet.errors import InputError
from trivet.records.estimate import ABSENT

Words = TypeVar("Words", IntArray, FloatArray)


@compiled
def _reported(frame, mean, count, place, h, memory):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Return what the reporter makes of the open pixels, and P5 and P95 of them."""
    pixel, scratch = memory
    if count == 0:
        return mean, (NO_READING, NO_READING)
    sort_words(scratch, count)
    ends = (scratch[count // 20], scratch[(19 * count + 19) // 20 - 1])
    low, high = scratch[0], scratch[count - 1]
    if h.reporter == rules.TRIMMED:
        low, high = scratch[count // 10], scratch[count - 1 - count // 10]
    elif h.reporter == rules.UPPER_HALF:
        low = scratch[count // 2]
    else:
        colder = max(mean - ends[0], 0) if not place[2] else 0
        return mean - shifted(colder * place[3], 15), ends
    return mean_between(frame, low, high, place, h, pixel), ends


@compiled
def _read_burner(b, frame, told, moment, fixed, state, out):  # type: ignore[no-untyped-def] # noqa: PLR0917
    h, radiance, mask_start, mask_pixel, mask_weight, hot_start, hot_pixel, edge, rim, table = fixed
    _, _, pixel, burner, heat, scratch = state
    now, step_ms, hob = moment[4], moment[5], moment[6]
    surface, memory = table[b, told], burner[b]
    m = surface[rules.MASK]
    liquid = surface[rules.BITS] & rules.LIQUID != 0
    where = mask_pixel[mask_start[m] : mask_start[m + 1]]
    place = (where, mask_weight[mask_start[m] : mask_start[m + 1]], liquid, rim[m])
    counts = gather(frame, now, place, h, pixel, scratch)
    mean, ends = _reported(frame, counts[8], counts[1], place, h, (pixel, scratch))
    fine, counts = counts[9], (*counts[:8], mean)
    anchors = hot_pixel[hot_start[m] : hot_start[m + 1]]
    hot = hottest_window(frame, anchors, liquid, h, pixel)
    present = presence(now, mean, hob, h, memory)
    flags = flag_word(counts, present, moment, surface, h)
    still = counts[7] if counts[3] == 0 else NO_READING
    if steams(still, counts[0], step_ms, h, memory):
        flags |= STEAM
    out[rules.FLAGS] = flags | (EDGE if edge[m] else 0)
    if present == ABSENT:
        memory[rules.TOP] = memory[rules.LEFT] = 0
    say(out, counts, (hot, ends[0], ends[1]), moment, surface, h, radiance, memory)
    out[rules.PRESENT] = present
    out[rules.HEAT_ON] = 1 if heats(now, fine, counts[5] > 0, h, memory, heat[b]) else 0
    out[rules.OPEN] = min(counts[1], 127)
    if not liquid:
        uncover(frame, now, mean, h.drop, pixel, where)


@compiled
def read_frames(frames, sensor, told, fixed, pixel_terms, state, out):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Read frames in order; ``frames`` is made even in place, ``state`` is continued."""
    h = fixed[0]
    decay_table, pixel_offset, pixel_gain, beside = pixel_terms
    head, housing_ring, pixel, scratch = state[0], state[1], state[2], state[5]
    for t in range(frames.shape[0]):
        frame, housing = frames[t], sensor[t, 1]
        now, awake = np.int64(sensor[t, 0]), np.int64(sensor[t, 2])
        step_ms = 0 if head[0] < 0 or now < head[0] else now - head[0]
        head[0] = now
        decay = decay_q15(awake, h.tau_ms, decay_table)
        if housing in (NO_READING, UNDER_RANGE, OVER_RANGE):
            frame[:] = NO_READING
        else:
            rate = housing_rate_q20(now, housing, head, housing_ring)
            offset = drift_steps(housing, rate, decay, h)
            even_frame(frame, housing, offset, h, pixel_offset, pixel_gain)
        cover(frame, now, step_ms, h.drop, pixel)
        hob = hob_level(frame, beside, h.hob_rank_q15, scratch)
        stale, settling = step_ms > h.stale_ms, awake < h.settle_ms
        moment = (housing, decay, stale, settling, now, step_ms, hob)
        for b in range(out.shape[1]):
            _read_burner(b, frame, told[b], moment, fixed, state, out[t, b])


def fixed_terms(constants: HeadReading) -> tuple[object, ...]:
    """Return the constants of the burners' part in the order of the compiled loop."""
    c = constants
    masks = (c.mask_start, c.mask_pixel, c.mask_weight, c.hot_start, c.hot_pixel)
    return (c.numbers, c.radiance, *masks, c.mask_edge, c.mask_rim, c.surface)


def device_reading(
    frames: Words,
    *,
    sensor: Words,
    told: IntArray,
    constants: HeadReading,
    state: ReadingState,
) -> Words:
    """Return what the device says of each burner, frame by frame.

    Parameters
    ----------
    frames : (time, pixel)
        Apparent temperature words, row after row; left as they are. [1/64 K]
    sensor : (time, 3)
        Time [ms], housing temperature word [1/64 K], time awake [ms].
    told : (burner,)
        Place of what was told in the constants' surfaces, 0 nothing.
    constants : HeadReading
        From the design and its calibration.
    state : ReadingState
        Continued in place.

    Returns
    -------
    (time, burner, 10)
        Reported temperature, half-width of 95 %, hottest place, spread + 1, apparent
        temperature, flags, of what, present, heat on, open pixels; 0 for a temperature
        or spread that is not said.

    Raises
    ------
    InputError
        If the shapes do not fit one another.

    Notes
    -----
    Causal; bit for bit that of the C code.
    """
    if frames.ndim != 2 or frames.shape[1] != constants.pixels or sensor.shape[1:] != (3,):
        raise InputError("frames must be (time, pixel) and the sensor's words (time, 3)")
    if told.shape != (len(constants.burners),) or frames.shape[0] != sensor.shape[0]:
        raise InputError("one word of what was told a burner, one row of the sensor a frame")
    kind = state.pixel.dtype
    out: Any = np.zeros((frames.shape[0], told.size, rules.SAYS), dtype=kind)
    terms = (constants.decay, constants.pixel_offset, constants.pixel_gain, constants.beside)
    memory = (state.head, state.housing, state.pixel, state.burner, state.heat, state.scratch)
    whole = frames.astype(kind)
    read_frames(whole, sensor.astype(kind), told, fixed_terms(constants), terms, memory, out)
    return out  # type: ignore[no-any-return]
