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

RING = 72
"""Readings kept for the slope; they are taken at least window / 64 apart."""

# Columns of the state of one alert.
ON, RISE_MS, FALL_MS, COUNT, HEAD, SUM_T, SUM_TT, SUM_Y, SUM_TY, BASE_MS = range(10)
FIELDS = 10
NEVER = -(1 << 62)
# How a moment stands to an alert.
LOW, HIGH, BETWEEN, UNKNOWN = 0, 1, 2, 3
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
def _slope_add(now, reading, window, s, ring):  # type: ignore[no-untyped-def]
    """Take a reading into the slope's running sums, and let old ones go.

    The sums are of t = time - BASE_MS (t <= 0 for all but the newest move) and
    of the readings; moving the base keeps them small for ever.
    """
    if s[COUNT] > 0:
        newest = ring[(s[HEAD] + s[COUNT] - 1) % RING, 0]
        if now - newest > window // 2:
            s[COUNT] = 0
        elif now - newest < window // 64:
            return
    if s[COUNT] == 0:
        s[SUM_T] = s[SUM_TT] = s[SUM_Y] = s[SUM_TY] = 0
        s[HEAD] = 0
        s[BASE_MS] = now
    shift = now - s[BASE_MS]
    s[SUM_TT] += shift * (s[COUNT] * shift - 2 * s[SUM_T])
    s[SUM_TY] -= shift * s[SUM_Y]
    s[SUM_T] -= shift * s[COUNT]
    s[BASE_MS] = now
    # Keep one reading beyond the window, so that the span never falls short of it.
    while s[COUNT] >= 2 and (now - ring[(s[HEAD] + 1) % RING, 0] >= window or s[COUNT] == RING):
        t = ring[s[HEAD], 0] - now
        y = ring[s[HEAD], 1]
        s[SUM_T] -= t
        s[SUM_TT] -= t * t
        s[SUM_Y] -= y
        s[SUM_TY] -= t * y
        s[HEAD] = (s[HEAD] + 1) % RING
        s[COUNT] -= 1
    place = (s[HEAD] + s[COUNT]) % RING
    ring[place, 0] = now
    ring[place, 1] = reading
    s[SUM_Y] += reading
    s[COUNT] += 1


@njit(cache=True)
def _ahead(now, reading, a, s, ring):  # type: ignore[no-untyped-def]
    """Return the judgement of a predicted alert below its limit."""
    if reading < a[GATE_DK]:
        return LOW
    if s[COUNT] < 3 or now - ring[s[HEAD], 0] < SHORTEST_SLOPE_MS:
        return UNKNOWN
    spread = s[COUNT] * s[SUM_TT] - s[SUM_T] * s[SUM_T]
    rise = s[COUNT] * s[SUM_TY] - s[SUM_T] * s[SUM_Y]
    # reading + rise / spread * lead against the limit, without a division.
    excess = rise * a[LEAD_MS] - (a[SET_DK] - reading) * spread
    if excess >= 0:
        return HIGH
    return LOW if excess < -a[DEADBAND_DK] * spread else BETWEEN


@njit(cache=True)
def _judged(moment, a, s, ring):  # type: ignore[no-untyped-def]
    """Return how one moment stands to one alert."""
    now, reading, word = moment
    if a[KIND] == LOSS_OF_SIGHT:
        return HIGH if word & HEAT_ON and reading == NO_READING else LOW
    if reading == NO_READING:
        return LOW if word & COOL else UNKNOWN
    if a[KIND] == TIME_TO_LIMIT and reading != AT_RANGE:
        _slope_add(now, reading, a[WINDOW_MS], s, ring)
    if reading >= a[SET_DK]:
        return HIGH
    if a[KIND] == LEVEL:
        return LOW if reading < a[SET_DK] - a[DEADBAND_DK] else BETWEEN
    return _ahead(now, reading, a, s, ring)


@njit(cache=True)
def _changed(now, judged, a, s):  # type: ignore[no-untyped-def]
    """Apply delays; return whether the alert changes."""
    if s[ON] == 0:
        if judged == HIGH:
            if s[RISE_MS] == NEVER:
                s[RISE_MS] = now
            if now - s[RISE_MS] >= a[ON_MS]:
                s[ON], s[RISE_MS], s[FALL_MS] = 1, NEVER, NEVER
                return True
        elif judged != UNKNOWN:
            s[RISE_MS] = NEVER
        return False
    if judged == LOW:
        if s[FALL_MS] == NEVER:
            s[FALL_MS] = now
        if now - s[FALL_MS] >= a[OFF_MS]:
            s[ON], s[RISE_MS], s[FALL_MS] = 0, NEVER, NEVER
            return True
    else:
        s[FALL_MS] = NEVER
    return False


@njit(cache=True)
def _cause(reading, a):  # type: ignore[no-untyped-def]
    """Return why an alert changed at a reading."""
    if a[KIND] == LOSS_OF_SIGHT:
        return BY_BLINDNESS
    if reading == AT_RANGE:
        return BY_RANGE
    return BY_RATE if a[KIND] == TIME_TO_LIMIT and reading < a[SET_DK] else BY_READING


@njit(cache=True)
def run_burner(moments, settings, memory, changes):  # type: ignore[no-untyped-def]
    """Drive one burner through its moments in order; return the number of changes.

    ``moments`` are time, reading and word, each (time,); ``memory`` the arrays
    of a MachineState; ``changes`` is (place, 4): moment, alert, on or off,
    cause. The count goes on past the room that ``changes`` has.
    """
    time_ms, reading_dk, word = moments
    alerts, ring, last_ms = memory
    found = 0
    for i in range(time_ms.size):
        now = time_ms[i]
        if now < last_ms[0]:
            alerts[:, RISE_MS] = NEVER
            alerts[:, FALL_MS] = NEVER
            alerts[:, COUNT] = 0
        last_ms[0] = now
        for k in range(settings.shape[0]):
            moment = (now, np.int64(reading_dk[i]), np.int64(word[i]))
            judged = _judged(moment, settings[k], alerts[k], ring[k])
            if _changed(now, judged, settings[k], alerts[k]):
                if found < changes.shape[0]:
                    changes[found, 0] = i
                    changes[found, 1] = k
                    changes[found, 2] = alerts[k, ON]
                    changes[found, 3] = _cause(moment[1], settings[k])
                found += 1
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
