"""The alert machine: integers in, changes out; one source for the stage and the firmware.

One burner, one moment at a time. Readings are deci-kelvin (0.1 K); NO_READING
says that nothing can be said, AT_RANGE that the scene is at or above the
sensor's range. Times are milliseconds. Rules:

- *Level*: on once the reading has been at or above the set point for the on
  delay; off once it has been under set point minus dead band for the off delay.
- *Time to limit*: a least-squares heating rate over the slope window; on when
  reading + rate x lead reaches the limit, above the gate. Withheld while the
  readings span under 5 s; a gap of half a window empties it.
- *Loss of sight*: on once the burner heats and nothing can be said for the on
  delay; off once sight is back, or the heat off, for the off delay.
- At or above the range counts as at or above every set point and limit.
- No reading neither confirms nor contradicts: an alert stays as it is, a rise
  already begun keeps its start, a fall begins anew. Only a burner known to be
  cool (pan gone or no contrast, heat off) counts as below.
- Settling of the sensor silences nothing: it is not an input.
- A clock that jumps back restarts delays and slope; alerts stay as they are.

The loops are compiled when called; their ``py_func`` is the readable twin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from trivet.device.alertsettings import (
    AT_RANGE,
    COOL,
    DEADBAND_DK,
    GATE_DK,
    HEAT_ON,
    KIND,
    LEAD_MS,
    LEVEL,
    LOSS_OF_SIGHT,
    NO_READING,
    OFF_MS,
    ON_MS,
    SET_DK,
    SHORTEST_SLOPE_MS,
    TIME_TO_LIMIT,
    WINDOW_MS,
    Ints,
)
from trivet.errors import InputError

RING = 128
"""Places for the readings of the slope. They are taken at least window / 64 apart, so
at most 67 are ever kept; a power of two makes wrapping round cheap."""
WRAP = RING - 1

# Columns of the state of one alert.
ON, RISE_MS, FALL_MS, COUNT, HEAD, SUM_T, SUM_TT, SUM_Y, SUM_TY, BASE_MS = range(10)
FIELDS = 10
NEVER = -(1 << 62)
# How a moment stands to an alert.
LOW, HIGH, BETWEEN, UNKNOWN, BY_ITS_RATE = 0, 1, 2, 3, 4
# Why an alert changed.
BY_READING, BY_RANGE, BY_RATE, BY_BLINDNESS = 0, 1, 2, 3


@dataclass
class MachineState:
    """Everything that the machine remembers of one burner.

    ``alerts`` is (alert, field); ``ring`` holds time and reading of the slope,
    (alert, place, 2); ``last_ms`` is (1,), the time of the last moment.
    """

    alerts: Ints
    ring: Ints
    last_ms: Ints


def cold_start(alerts: int) -> MachineState:
    """Return the state of a burner after power-on: all alerts off, nothing remembered.

    Parameters
    ----------
    alerts : int
        Number of alerts. [-]

    Returns
    -------
    MachineState
        Fresh state.

    Notes
    -----
    A restart that loses its state forgets that an alert was on: restore it.

    References
    ----------
    The module's rules.
    """
    state = np.zeros((alerts, FIELDS), dtype=np.int64)
    state[:, RISE_MS] = NEVER
    state[:, FALL_MS] = NEVER
    ring = np.zeros((alerts, RING, 2), dtype=np.int64)
    return MachineState(state, ring, np.array([NEVER], dtype=np.int64))


@njit(cache=True)
def _slope_add(now, reading, window, sums, ring):  # type: ignore[no-untyped-def]
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


@njit(cache=True)
def _ahead(span, below, a, sums):  # type: ignore[no-untyped-def]
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


@njit(cache=True)
def _judged(reading, word, a):  # type: ignore[no-untyped-def]
    """Return how one moment stands to an alert, as far as its rate does not matter."""
    if a[KIND] == LOSS_OF_SIGHT:
        return HIGH if word & HEAT_ON and reading == NO_READING else LOW
    if reading == NO_READING:
        return LOW if word & COOL else UNKNOWN
    if reading >= a[SET_DK]:
        return HIGH
    if a[KIND] == LEVEL:
        return LOW if reading < a[SET_DK] - a[DEADBAND_DK] else BETWEEN
    return LOW if reading < a[GATE_DK] else BY_ITS_RATE


@njit(cache=True)
def _delayed(now, judged, a, timers):  # type: ignore[no-untyped-def]
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


@njit(cache=True)
def _cause(reading, a):  # type: ignore[no-untyped-def]
    """Return why an alert changed at a reading."""
    if a[KIND] == LOSS_OF_SIGHT:
        return BY_BLINDNESS
    if reading == AT_RANGE:
        return BY_RANGE
    return BY_RATE if a[KIND] == TIME_TO_LIMIT and reading < a[SET_DK] else BY_READING


@njit(cache=True)
def _quiet_until(i, timers, moments, a):  # type: ignore[no-untyped-def]
    """Return the next moment, from ``i`` on, at which an alert without a rate leaves its rest.

    At rest no delay runs; off, nothing but HIGH begins one; on, nothing but LOW.
    """
    reading_dk, word = moments[1], moments[2]
    on, rise, fall = timers
    if rise != NEVER or fall != NEVER:
        return i
    stirs = LOW if on else HIGH
    while i < reading_dk.size and _judged(np.int64(reading_dk[i]), word[i], a) != stirs:
        i += 1
    return i


@njit(cache=True)
def _noted(changes, found, change):  # type: ignore[no-untyped-def]
    """Write down a change while there is room; return the number of changes."""
    if found < changes.shape[0]:
        for column in range(4):
            changes[found, column] = change[column]
    return found + 1


@njit(cache=True)
def _run_plain(moments, a, s, start):  # type: ignore[no-untyped-def]
    """Drive an alert that needs no rate through the moments."""
    time_ms, reading_dk, word = moments
    before, alert, found, changes = start
    timers = (s[ON], s[RISE_MS], s[FALL_MS])
    i = _quiet_until(0, timers, moments, a)
    while i < time_ms.size:
        now, reading = time_ms[i], np.int64(reading_dk[i])
        if now < (time_ms[i - 1] if i else before):
            timers = (timers[0], NEVER, NEVER)
        was = timers[0]
        timers = _delayed(now, _judged(reading, word[i], a), a, timers)
        if timers[0] != was:
            found = _noted(changes, found, (i, alert, timers[0], _cause(reading, a)))
        i = _quiet_until(i + 1, timers, moments, a)
    s[ON], s[RISE_MS], s[FALL_MS] = timers
    return found


@njit(cache=True)
def _run_ahead(moments, a, s, ring, start):  # type: ignore[no-untyped-def]
    """Drive an alert that looks ahead through the moments, its rate with it."""
    time_ms, reading_dk, word = moments
    before, alert, found, changes = start
    timers = (s[ON], s[RISE_MS], s[FALL_MS])
    sums = (s[COUNT], s[HEAD], s[SUM_T], s[SUM_TT], s[SUM_Y], s[SUM_TY], s[BASE_MS])
    for i in range(time_ms.size):
        now, reading = time_ms[i], np.int64(reading_dk[i])
        if now < before:
            timers = (timers[0], NEVER, NEVER)
            sums = (0, 0, 0, 0, 0, 0, now)
        before = now
        if reading not in (NO_READING, AT_RANGE):
            sums = _slope_add(now, reading, a[WINDOW_MS], sums, ring)
        judged = _judged(reading, word[i], a)
        if judged == BY_ITS_RATE:
            judged = _ahead(now - ring[2 * sums[1]], a[SET_DK] - reading, a, sums)
        was = timers[0]
        timers = _delayed(now, judged, a, timers)
        if timers[0] != was:
            found = _noted(changes, found, (i, alert, timers[0], _cause(reading, a)))
    s[ON], s[RISE_MS], s[FALL_MS] = timers
    s[COUNT], s[HEAD], s[SUM_T], s[SUM_TT], s[SUM_Y], s[SUM_TY], s[BASE_MS] = sums
    return found


@njit(cache=True)
def _run_alert(moments, row, s, ring, start):  # type: ignore[no-untyped-def]
    """Drive one alert through the moments; ``start`` is time before, alert, place, changes."""
    # As a tuple the settings stay in registers.
    a = (row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7])
    if a[KIND] == TIME_TO_LIMIT:
        return _run_ahead(moments, a, s, ring.ravel(), start)
    return _run_plain(moments, a, s, start)


@njit(cache=True)
def _sort_by_moment(changes, count):  # type: ignore[no-untyped-def]
    """Sort the first rows by moment; rows of one moment stay in the alerts' order."""
    for i in range(1, count):
        row = changes[i].copy()
        k = i
        while k > 0 and changes[k - 1, 0] > row[0]:
            changes[k] = changes[k - 1]
            k -= 1
        changes[k] = row


@njit(cache=True)
def run_burner(moments, settings, memory, changes):  # type: ignore[no-untyped-def]
    """Drive one burner through its moments in order; return the number of changes.

    ``moments`` are time, reading and word, each (time,); ``memory`` the arrays
    of a MachineState; ``changes`` is (place, 4): moment, alert, on or off,
    cause. The count goes on past the room that ``changes`` has. The alerts do
    not know one another, so each runs through all moments by itself.
    """
    alerts, ring, last_ms = memory
    found = 0
    for k in range(settings.shape[0]):
        start = (last_ms[0], k, found, changes)
        found = _run_alert(moments, settings[k], alerts[k], ring[k], start)
    if moments[0].size:
        last_ms[0] = moments[0][-1]
    if found <= changes.shape[0]:
        _sort_by_moment(changes, found)
    return found


def burner_changes(
    time_ms: Ints, *, reading_dk: Ints, word: Ints, settings: Ints, state: MachineState
) -> Ints:
    """Return the changes of one burner's alerts, and leave its state after the last moment.

    Parameters
    ----------
    time_ms : (time,)
        Moments. [ms]
    reading_dk : (time,)
        Reading, NO_READING or AT_RANGE. [0.1 K]
    word : (time,)
        Bits HEAT_ON and COOL.
    settings : (alert, 8)
        As :func:`settings_array`.
    state : MachineState
        Continued in place, as the device does.

    Returns
    -------
    (change, 4)
        Moment, alert, 1 on or 0 off, cause.

    Raises
    ------
    InputError
        If the arrays differ in length.

    Notes
    -----
    About 10 ns a moment and alert when compiled.

    References
    ----------
    The module's rules.
    """
    if not time_ms.shape == reading_dk.shape == word.shape:
        raise InputError("time, reading and word must have one length")
    memory = (state.alerts, state.ring, state.last_ms)
    before = [array.copy() for array in memory]
    room = 64
    while True:
        changes = np.zeros((room, 4), dtype=np.int64)
        found = int(run_burner((time_ms, reading_dk, word), settings, memory, changes))
        if found <= room:
            return changes[:found]
        for array, kept in zip(memory, before, strict=True):
            array[...] = kept
        room = found


@njit(cache=True)
def run_cooks(moments, settings, fresh, counts, changes):  # type: ignore[no-untyped-def]
    """Drive many cooks, each from a cold start; fill counts and changes."""
    time_ms, reading_dk, word = moments
    for i in range(reading_dk.shape[0]):
        memory = (fresh[0].copy(), fresh[1].copy(), fresh[2].copy())
        counts[i] = run_burner((time_ms, reading_dk[i], word), settings, memory, changes[i])
