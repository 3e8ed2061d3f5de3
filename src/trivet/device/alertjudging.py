"""How one moment stands to an alert, and what its delays make of it; see ``alertmachine``."""

from __future__ import annotations

from trivet.device import compiled
from trivet.device.alertboiling import NEVER
from trivet.device.alertsettings import (
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
    LEVEL,
    LOSS_OF_SIGHT,
    NEEDS,
    NO_READING,
    OFF_MS,
    ON_MS,
    SET_DK,
    TIME_TO_LIMIT,
    TOP_DK,
)
from trivet.device.alertslope import BETWEEN, BY_ITS_RATE, HIGH, LOW, NOT_KNOWN, UNKNOWN

# Columns of the state of one alert; from LEVEL_Q8 on those of the boiling pot.
ON, RISE_MS, FALL_MS, COUNT, HEAD, SUM_T, SUM_TT, SUM_Y, SUM_TY, BASE_MS = range(10)
SINCE_MS, ESCALATED, ARMED, TOLD, LEVEL_Q8, AT_MS, PLATEAU_Q8, CAME_MS, INSIDE_MS = range(10, 19)
FIELDS = 19
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
NO_TIMES = (NOT_KNOWN, NOT_KNOWN, NOT_KNOWN, 0)


@compiled
def standing(reading, word, a, armed):  # type: ignore[no-untyped-def]
    """Return how one moment stands to an alert, as far as its rate does not matter."""
    if a[KIND] not in (LEVEL, TIME_TO_LIMIT):
        return standing_otherwise(reading, word, a, armed)
    if reading == NO_READING:
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
        return HIGH if word & HEAT_ON and reading == NO_READING else LOW
    if a[KIND] == CONDITION:
        return HIGH if word & a[NEEDS] == a[NEEDS] and not word & a[FORBIDS] else LOW
    if reading == NO_READING:
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
    if reading == NO_READING:
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
