"""The heating rate of a predicted alert, and the time to its limit with its uncertainty.

Integers only. The rate is a least-squares slope over running sums; the time to the limit
is worked out once, when the alert comes on, from the readings that are kept. A rate that
rests on a leap switches nothing on.
"""

from __future__ import annotations

from trivet.device import compiled
from trivet.device.alertsettings import (
    DEADBAND_DK,
    LEAD_MS,
    SET_DK,
    WINDOW_MS,
)
from trivet.device.thresholds import LEAP_DK, LEAP_MS, SHORTEST_SLOPE_MS

RING = 128
"""Places for the readings of the slope. They are taken at least window / 64 apart, so
at most 67 are ever kept; a power of two makes wrapping round cheap."""
WRAP = RING - 1
# How a moment stands to an alert.
LOW, HIGH, BETWEEN, UNKNOWN, BY_ITS_RATE = 0, 1, 2, 3, 4

UNBOUNDED_MS = 2_147_483_647
"""A time to the limit without an end: the rate may be none."""
NOT_KNOWN = -1
WIDEST_DK = 4000
"""Readings of one window further than 400 K from the last count as that far: no product of
the sums below then passes 4e17."""


@compiled
def slope_add(now, reading, window, sums, ring):  # type: ignore[no-untyped-def]
    """Take a reading into the slope's running sums, let old ones go, return the sums.

    The sums are over t = time - base, t <= 0, and y, the readings. The base
    moves along, which keeps them small for ever. ``ring`` is laid out in one row.
    """
    count, head, sum_t, sum_tt, sum_y, sum_ty, base = sums
    # The base is the moment of the last reading taken.
    shift = now - base
    if count == 0 or shift > window >> 1:
        ring[0], ring[1] = now, reading
        return 1, 0, 0, 0, reading, 0, now
    if shift < window >> 6:
        return sums
    sum_tt += shift * (count * shift - 2 * sum_t)
    sum_ty -= shift * sum_y
    sum_t -= shift * count
    # Keep one reading beyond the window, so that the span never falls short of it.
    while count >= 2 and now - ring[2 * ((head + 1) & WRAP)] >= window:
        t, y = ring[2 * head] - now, ring[2 * head + 1]
        sum_t -= t
        sum_tt -= t * t
        sum_y -= y
        sum_ty -= t * y
        head = (head + 1) & WRAP
        count -= 1
    place = 2 * ((head + count) & WRAP)
    ring[place] = now
    ring[place + 1] = reading
    return count + 1, head, sum_t, sum_tt, sum_y + reading, sum_ty, now


@compiled
def ahead(span, below, a, sums):  # type: ignore[no-untyped-def]
    """Judge a predicted alert at a reading ``below`` its limit, from a rate over ``span``."""
    count, _, sum_t, sum_tt, sum_y, sum_ty, _ = sums
    if count < 3 or span < SHORTEST_SLOPE_MS:
        return UNKNOWN
    spread = count * sum_tt - sum_t * sum_t
    rise = count * sum_ty - sum_t * sum_y
    # reading + rise / spread * lead against the limit, without a division.
    excess = rise * a[LEAD_MS] - below * spread
    if excess >= 0:
        return HIGH
    return LOW if excess < -a[DEADBAND_DK] * spread else BETWEEN


@compiled
def leapt(count, head, ring):  # type: ignore[no-untyped-def]
    """Return whether half of the rise came within a second: something was lifted, not heated."""
    rise = ring[2 * ((head + count - 1) & WRAP) + 1] - ring[2 * head + 1]
    first = 0
    for last in range(1, count):
        place = 2 * ((head + last) & WRAP)
        while first + 1 < last and ring[place] - ring[2 * ((head + first + 1) & WRAP)] >= LEAP_MS:
            first += 1
        before = 2 * ((head + first) & WRAP)
        up, span = ring[place + 1] - ring[before + 1], ring[place] - ring[before]
        if up * LEAP_MS > LEAP_DK * max(span, LEAP_MS) and 2 * up > rise:
            return True
    return False


@compiled
def root(square):  # type: ignore[no-untyped-def]
    """Return the whole part of a square root, bit by bit."""
    found, bit = square * 0, 1 << 60
    while bit > square:
        bit >>= 2
    while bit:
        if square >= found + bit:
            square -= found + bit
            found = (found >> 1) + bit
        else:
            found >>= 1
        bit >>= 2
    return found


@compiled
def time_left(now, reading, u95, a, kept):  # type: ignore[no-untyped-def]
    """Return time to the limit, its 95 % ends and the rate: ms, ms, ms, mK/s.

    ``kept`` is count, head and ring. The ends hold the interval of the reading (NOT_KNOWN
    where it has none) and two standard errors of the slope. Time is counted in ticks of a
    64th of the window, which keeps every product under 2**63.
    """
    count, head, ring = kept
    tick = max(a[WINDOW_MS] >> 6, 1)
    sum_t = sum_tt = sum_y = sum_yy = sum_ty = 0
    for i in range(count):
        place = 2 * ((head + i) & WRAP)
        t = (ring[place] - now) // tick
        y = min(max(ring[place + 1] - reading, -WIDEST_DK), WIDEST_DK)
        sum_t += t
        sum_tt += t * t
        sum_y += y
        sum_yy += y * y
        sum_ty += t * y
    spread = count * sum_tt - sum_t * sum_t
    rise = count * sum_ty - sum_t * sum_y
    if count < 3 or rise <= 0:
        return NOT_KNOWN, NOT_KNOWN, NOT_KNOWN, 0
    rest = (count * sum_yy - sum_y * sum_y) * spread - rise * rise
    error = 2 * root(max(rest, 0) // (count - 2))
    below = max(a[SET_DK] - reading, 0)
    scale = spread * tick
    left = min(below * scale // rise, UNBOUNDED_MS)
    rate = rise * 100_000 // scale
    if u95 < 0:
        return left, NOT_KNOWN, NOT_KNOWN, rate
    low = max(below - u95, 0) * scale // (rise + error)
    high = UNBOUNDED_MS
    if rise > error:
        high = min((below + u95) * scale // (rise - error), UNBOUNDED_MS)
    return left, low, high, rate
