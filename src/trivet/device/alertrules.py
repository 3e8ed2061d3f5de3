"""How the readings of an alert become a decision: rate, time to the limit, standing, delays.

Integers only. The rate is a least-squares slope over running sums; the time to the limit
is worked out once, when the alert comes on, from the readings that are kept. A rate that
rests on a leap switches nothing on.
"""

from __future__ import annotations

from trivet.device import compiled
from trivet.device.alertwords import (
    AT_RANGE,
    BELOW,
    CONDITION,
    COOL,
    DEADBAND_DK,
    ESCALATE_MS,
    FORBIDS,
    GATE_DK,
    HEAT_ON,
    KIND,
    LEAD_MS,
    LEVEL,
    LOSS_OF_SIGHT,
    NEEDS,
    NO_VALUE,
    OFF_MS,
    ON_MS,
    SET_DK,
    TIME_TO_LIMIT,
    TOP_DK,
    WINDOW_MS,
)
from trivet.device.thresholds import LEAP_DK, LEAP_MS, SHORTEST_SLOPE_MS

NEVER = -(1 << 62)
"""A moment that never was."""
RATE_RING = 128
"""Places for the readings of the slope. They are taken at least window / 64 apart, so
at most 67 are ever kept; a power of two makes wrapping round cheap."""
WRAP = RATE_RING - 1  # as RATE_RING is a power of two
# How a moment stands to an alert.
LOW, HIGH, BETWEEN, UNKNOWN, BY_ITS_RATE = 0, 1, 2, 3, 4

UNBOUNDED_MS = 2_147_483_647
"""A time to the limit without an end: the rate may be none."""
NOT_KNOWN = -1  # definition of the machine's words
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


# Columns of the state of one alert; from LEVEL_Q8 on those of the boiling pot.
ON, RISE_MS, FALL_MS, COUNT, HEAD, SUM_T, SUM_TT, SUM_Y, SUM_TY, BASE_MS = range(10)
SINCE_MS, ESCALATED, ARMED, TOLD, LEVEL_Q8, AT_MS, PLATEAU_Q8, CAME_MS, INSIDE_MS = range(10, 19)
FIELDS = 19  # columns above
# What is remembered beside the alerts.
LAST_MS, HEATED, HAND_MS, FRESH_MS = range(4)
# Why an alert changed.
BY_READING, BY_RANGE, BY_RATE, BY_BLINDNESS, BY_FALL = 0, 1, 2, 3, 4
FAR = 1 << 62
"""A moment that never comes."""
# What a change says.
OFF_NOW, ON_NOW, ESCALATED_NOW = 0, 1, 2
CHANGE = 8
"""Columns of a change: moment, alert, what, cause, and of a predicted alert that comes on
the time to the limit, its two ends [ms] and the rate [mK/s]."""
NO_TIMES = (NOT_KNOWN, NOT_KNOWN, NOT_KNOWN, 0)  # definition: no time left is said


@compiled
def standing(reading, word, a, armed):  # type: ignore[no-untyped-def]
    """Return how one moment stands to an alert, as far as its rate does not matter."""
    if a[KIND] not in (LEVEL, TIME_TO_LIMIT):
        return standing_otherwise(reading, word, a, armed)
    if reading == NO_VALUE:
        return LOW if word & COOL else UNKNOWN
    if reading >= a[SET_DK]:
        return HIGH
    if a[KIND] == LEVEL:
        return LOW if reading < a[SET_DK] - a[DEADBAND_DK] else BETWEEN
    return LOW if reading < a[GATE_DK] else BY_ITS_RATE


@compiled
def standing_otherwise(reading, word, a, armed):  # type: ignore[no-untyped-def]
    """Return how one moment stands to an alert that is not about too high a reading."""
    if a[KIND] == LOSS_OF_SIGHT:
        return HIGH if word & HEAT_ON and reading == NO_VALUE else LOW
    if a[KIND] == CONDITION:
        return HIGH if word & a[NEEDS] == a[NEEDS] and not word & a[FORBIDS] else LOW
    if reading == NO_VALUE:
        return LOW if word & COOL else UNKNOWN
    if a[KIND] == BELOW:
        if reading >= a[SET_DK] or reading < a[GATE_DK]:
            return LOW
        low = reading < a[SET_DK] - a[DEADBAND_DK]
        return HIGH if armed and low and word & a[NEEDS] == a[NEEDS] else BETWEEN
    if a[SET_DK] <= reading <= a[TOP_DK]:
        return HIGH
    beside = a[SET_DK] - a[DEADBAND_DK] <= reading <= a[TOP_DK] + a[DEADBAND_DK]
    return BETWEEN if beside else LOW


@compiled
def is_armed(reading, word, a, armed):  # type: ignore[no-untyped-def]
    """Return whether an alert for too low a reading is armed after a moment."""
    if reading == NO_VALUE:
        return 0 if word & COOL else armed
    if reading < a[GATE_DK]:
        return 0
    return 1 if reading >= a[TOP_DK] else armed


@compiled
def delayed(now, judged, a, timers):  # type: ignore[no-untyped-def]
    """Apply the delays; return whether the alert is on, and the starts of rise and fall."""
    on, rise, fall = timers
    if on == 0:
        if judged == UNKNOWN:
            return timers
        if judged != HIGH:
            return 0, NEVER, NEVER
        rise = now if rise == NEVER else rise
        return (1, NEVER, NEVER) if now - rise >= a[ON_MS] else (0, rise, NEVER)
    if judged != LOW:
        return 1, NEVER, NEVER
    fall = now if fall == NEVER else fall
    return (0, NEVER, NEVER) if now - fall >= a[OFF_MS] else (1, NEVER, fall)


@compiled
def overdue(now, on, a, life):  # type: ignore[no-untyped-def]
    """Return whether an alert escalates now; ``life`` is since when it is on, and if it has."""
    return on and a[ESCALATE_MS] > 0 and not life[1] and now - life[0] >= a[ESCALATE_MS]


@compiled
def cause_of(reading, a):  # type: ignore[no-untyped-def]
    """Return why an alert changed at a reading."""
    if a[KIND] == LOSS_OF_SIGHT:
        return BY_BLINDNESS
    if reading == AT_RANGE:
        return BY_RANGE
    return BY_RATE if a[KIND] == TIME_TO_LIMIT and reading < a[SET_DK] else BY_READING


@compiled
def noted(changes, found, change, times):  # type: ignore[no-untyped-def]
    """Write down a change while there is room; return the number of changes."""
    if found < changes.shape[0]:
        for column in range(4):
            changes[found, column] = change[column]
            changes[found, column + 4] = times[column]
    return found + 1
