"""Frames of raw words to even words without drift; and which pixels something covers.

A pixel that falls by the drop faster than a pan can cool (5 K/s) is covered, until it
regains three quarters of the fall within 5 s, or lies for 20 s near the open ones or above
where it was before: the rules of ``physics/image/panreading.py``, in integers.
"""

from __future__ import annotations

from trivet.device import compiled
from trivet.device.fixedpoint import NO_READING, OVER_RANGE, UNDER_RANGE
from trivet.device.readingrules import EXP_PER_TAU, EXP_STEPS, HOUSING_RING
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

PEAK, WAS, OPEN, SINCE, NEAR = range(5)
STAMP = 0xFFFFFFFF


@compiled
def divided(value, by):  # type: ignore[no-untyped-def]
    """Return value / by rounded half away from zero; by > 0."""
    if value >= 0:
        return (value + (by >> 1)) // by
    return -((-value + (by >> 1)) // by)


@compiled
def stamp(now):  # type: ignore[no-untyped-def]
    """Return a moment as 32 bits that are never 0, to 2 ms."""
    return (now & STAMP) | 1


@compiled
def passed(now, then):  # type: ignore[no-untyped-def]
    """Return the milliseconds since a stamp."""
    return (stamp(now) - then) & STAMP


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
def decay_q15(awake_ms, tau_ms, table):  # type: ignore[no-untyped-def]
    """Return exp(-awake / tau) from its table."""
    if awake_ms < 0:
        return table[0]
    if awake_ms >= 8 * tau_ms:
        return 0
    place = awake_ms * EXP_PER_TAU * 256 // tau_ms
    step, rest = place >> 8, place & 255
    if step >= EXP_STEPS:
        return 0
    return table[step] - (((table[step] - table[step + 1]) * rest + 128) >> 8)


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
            pixel[p, OPEN] = 0
            pixel[p, NEAR] = 0


@compiled
def uncover(frame, now, mean, drop, pixel, place):  # type: ignore[no-untyped-def] # noqa: PLR0917
    """Note which pixels of a pan are open again; ``mean`` is that of the open ones or 0."""
    for p in place:
        word = frame[p]
        if pixel[p, SINCE] == 0 or word == NO_READING:
            continue
        since, risen = passed(now, pixel[p, SINCE]), 0
        if since < FRESH_MS or pixel[p, OPEN] == 0:
            pixel[p, OPEN] = mean
        elif mean > pixel[p, OPEN]:
            risen = mean - pixel[p, OPEN]
        regained = word > pixel[p, WAS] + risen - (drop >> REGAINED_BITS)
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
