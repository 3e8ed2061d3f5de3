"""The alert machine: integers in, changes out; one source for the stage and the firmware.

One burner, one moment at a time. Readings are deci-kelvin (0.1 K); NO_VALUE
says that nothing can be said, AT_RANGE that the scene is at or above the
sensor's range. Times are milliseconds. Rules:

- *Level*: on once the signal has been at or above the set point for the on
  delay; off once it has been under set point minus dead band for the off delay.
- *Below*: the mirror image; armed once the signal has reached the upper level, given up
  under the gate. *In band*: on while the signal holds between set point and top.
- *Time to limit*: a least-squares heating rate over the slope window; on when
  reading + rate x lead reaches the limit, above the gate. Withheld while the
  readings span under 5 s; a gap of half a window empties it. A leap of the reading, as when
  food is turned, is no heating and switches nothing on.
- *Boil dry*: see ``alertpot``. *Condition*: bits of the state word that must be set and
  must not.
- *Loss of sight*: on once the burner heats and nothing can be said for the on
  delay; off once sight is back, or the heat off, for the off delay.
- A burner that heated when it was last seen heats until it is seen again, or known cool.
- At or above the range counts as at or above every set point and limit.
- No reading neither confirms nor contradicts: an alert stays as it is, a rise
  already begun keeps its start, a fall begins anew. Only a burner known to be
  cool (pan gone or no contrast, heat off) counts as below.
- An alert that stays on for its escalation time escalates, once.
- Settling of the sensor silences nothing: it is not an input.
- A clock that jumps back restarts delays and slope; alerts stay as they are.

The loops are compiled when called; their ``py_func`` is the readable twin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import IntArray
from trivet.device import compiled
from trivet.device.alertpot import run_armed
from trivet.device.alertrules import (
    AT_MS,
    BASE_MS,
    BETWEEN,
    BY_ITS_RATE,
    BY_RATE,
    BY_READING,
    CAME_MS,
    CHANGE,
    COUNT,
    ESCALATED,
    ESCALATED_NOW,
    FALL_MS,
    FAR,
    FIELDS,
    HEAD,
    HEATED,
    HIGH,
    INSIDE_MS,
    LAST_MS,
    LOW,
    NEVER,
    NO_TIMES,
    NOT_KNOWN,
    ON,
    RATE_RING,
    RISE_MS,
    SINCE_MS,
    SUM_T,
    SUM_TT,
    SUM_TY,
    SUM_Y,
    ahead,
    cause_of,
    delayed,
    leapt,
    noted,
    overdue,
    slope_add,
    standing,
    time_left,
)
from trivet.device.alertwords import (
    AT_RANGE,
    BELOW,
    BOIL_DRY,
    CONDITION,
    COOL,
    ESCALATE_MS,
    HEAT_ON,
    HOTTEST,
    KIND,
    LOSS_OF_SIGHT,
    NO_VALUE,
    SET_DK,
    SIGNAL,
    TIME_TO_LIMIT,
    U95,
    WINDOW_MS,
)
from trivet.errors import InputError


@dataclass
class MachineState:
    """Everything that the machine remembers of one burner.

    ``alerts`` is (alert, field); ``ring`` holds time and reading of the slope,
    (alert, place, 2); ``common`` is (4,): time of the last moment, whether it heated,
    when a hand was seen last, when a frame was new last.
    """

    alerts: IntArray
    ring: IntArray
    common: IntArray


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
    """
    state = np.zeros((alerts, FIELDS), dtype=np.int64)
    for column in (RISE_MS, FALL_MS, SINCE_MS, AT_MS, CAME_MS, INSIDE_MS):
        state[:, column] = NEVER
    ring = np.zeros((alerts, RATE_RING, 2), dtype=np.int64)
    return MachineState(state, ring, np.array([NEVER, 0, NEVER, NEVER], dtype=np.int64))


@compiled
def _quiet_until(i, timers, moments, a):  # type: ignore[no-untyped-def]
    """Return the next moment, from ``i`` on, at which an alert without a rate leaves its rest.

    At rest no delay runs; off, nothing but HIGH begins one; on, nothing but LOW.
    """
    signal, word = moments[1], moments[2]
    on, rise, fall = timers
    if rise != NEVER or fall != NEVER:
        return i
    stirs = LOW if on else HIGH
    while i < signal.size and standing(np.int64(signal[i]), word[i], a, 1) != stirs:
        i += 1
    return i


@compiled
def _run_plain(moments, a, s, start):  # type: ignore[no-untyped-def]
    """Drive an alert that remembers nothing but its delays through the moments."""
    time_ms, signal, word = moments[0], moments[1], moments[2]
    before, alert, found, changes = start
    timers, life = (s[ON], s[RISE_MS], s[FALL_MS]), (s[SINCE_MS], s[ESCALATED])
    waits = a[ESCALATE_MS] > 0
    i = 0
    while True:
        if not (waits and timers[0] and not life[1]):
            i = _quiet_until(i, timers, moments, a)
        if i >= time_ms.size:
            break
        now, reading = time_ms[i], np.int64(signal[i])
        if now < (time_ms[i - 1] if i else before):
            timers, life = (timers[0], NEVER, NEVER), (now, life[1])
        was = timers[0]
        timers = delayed(now, standing(reading, word[i], a, 1), a, timers)
        if timers[0] != was:
            change = (i, alert, timers[0], cause_of(reading, a))
            found = noted(changes, found, change, NO_TIMES)
            life = (now, 0)
        elif overdue(now, timers[0], a, life):
            life = (life[0], 1)
            found = noted(changes, found, (i, alert, ESCALATED_NOW, BY_READING), NO_TIMES)
        i += 1
    s[ON], s[RISE_MS], s[FALL_MS] = timers
    s[SINCE_MS], s[ESCALATED] = life
    return found


@compiled
def _until_changed(i, moments, a, ring, kept):  # type: ignore[no-untyped-def]
    """Drive a predicted alert to its next change; return that moment, and what is kept.

    ``kept`` is time before, timers, sums of the slope, and when the alert escalates.
    """
    time_ms, signal, word = moments[0], moments[1], moments[2]
    before, timers, sums, due = kept
    was = timers[0]
    while i < time_ms.size:
        now, reading = time_ms[i], np.int64(signal[i])
        if now < before:
            timers, sums = (was, NEVER, NEVER), (0, 0, 0, 0, 0, 0, now)
            due = FAR if due == FAR else now + a[ESCALATE_MS]
        before = now
        if reading not in (NO_VALUE, AT_RANGE):
            sums = slope_add(now, reading, a[WINDOW_MS], sums, ring)
        judged = standing(reading, word[i], a, 1)
        if judged == BY_ITS_RATE:
            judged = ahead(now - ring[2 * sums[1]], a[SET_DK] - reading, a, sums)
            if judged == HIGH and not was and leapt(sums[0], sums[1], ring):
                judged = BETWEEN
        timers = delayed(now, judged, a, timers)
        if timers[0] != was or now >= due:
            break
        i += 1
    return i, (before, timers, sums, due)


@compiled
def _run_ahead(moments, a, s, ring, start):  # type: ignore[no-untyped-def]
    """Drive an alert that looks ahead through the moments, its rate with it."""
    time_ms, signal, u95 = moments[0], moments[1], moments[3]
    before, alert, found, changes = start
    sums = (s[COUNT], s[HEAD], s[SUM_T], s[SUM_TT], s[SUM_Y], s[SUM_TY], s[BASE_MS])
    escalated = s[ESCALATED]
    waits = s[ON] and a[ESCALATE_MS] > 0 and not escalated
    due = s[SINCE_MS] + a[ESCALATE_MS] if waits else FAR
    kept = (before, (s[ON], s[RISE_MS], s[FALL_MS]), sums, due)
    i = 0
    while True:
        was = kept[1][0]
        i, kept = _until_changed(i, moments, a, ring, kept)
        if i >= time_ms.size:
            break
        now, reading, (before, timers, sums, due) = time_ms[i], np.int64(signal[i]), kept
        if timers[0] == was:
            escalated, due = 1, FAR
            found = noted(changes, found, (i, alert, ESCALATED_NOW, BY_READING), NO_TIMES)
        else:
            cause, times = cause_of(reading, a), NO_TIMES
            if timers[0] and cause == BY_RATE:
                u = np.int64(u95[i]) if u95.size else np.int64(NOT_KNOWN)
                times = time_left(now, reading, u, a, (sums[0], sums[1], ring))
            found = noted(changes, found, (i, alert, timers[0], cause), times)
            escalated = 0
            due = now + a[ESCALATE_MS] if timers[0] and a[ESCALATE_MS] > 0 else FAR
        kept = (before, timers, sums, due)
        i += 1
    s[ON], s[RISE_MS], s[FALL_MS] = kept[1]
    s[ESCALATED] = escalated
    s[SINCE_MS] = NEVER if kept[3] == FAR else kept[3] - a[ESCALATE_MS]
    s[COUNT], s[HEAD], s[SUM_T], s[SUM_TT], s[SUM_Y], s[SUM_TY], s[BASE_MS] = kept[2]
    return found


@compiled
def _run_alert(moments, row, s, ring, start):  # type: ignore[no-untyped-def]
    """Drive one alert through the moments; ``start`` is time before, alert, place, changes."""
    # As a tuple the settings stay in registers.
    a = (
        row[0], row[1], row[2], row[3], row[4], row[5], row[6],
        row[7], row[8], row[9], row[10], row[11], row[12],
    )  # fmt: skip
    if a[KIND] == TIME_TO_LIMIT:
        return _run_ahead(moments, a, s, ring.ravel(), start)
    if a[KIND] in (BELOW, BOIL_DRY):
        return run_armed(moments, a, s, start)
    return _run_plain(moments, a, s, start)


@compiled
def _believed(hottest, word, heated):  # type: ignore[no-untyped-def]
    """Return the words with the heat that is believed while the burner is not seen."""
    out = word.copy()
    for i in range(word.size):
        if word[i] & COOL:
            heated = np.int64(0)
        elif hottest[i] != NO_VALUE or word[i] & HEAT_ON:
            heated = word[i] & HEAT_ON
        out[i] |= heated
    return out, heated


@compiled
def _sort_by_moment(changes, count):  # type: ignore[no-untyped-def]
    """Sort the first rows by moment; rows of one moment stay in the alerts' order."""
    for i in range(1, count):
        row = changes[i].copy()
        k = i
        while k > 0 and changes[k - 1, 0] > row[0]:
            changes[k] = changes[k - 1]
            k -= 1
        changes[k] = row


@compiled
def run_burner(moments, settings, memory, changes):  # type: ignore[no-untyped-def]
    """Drive one burner through its moments in order; return the number of changes.

    ``moments`` are time and word, each (time,), and signals, (signal, time); ``memory`` the
    arrays of a MachineState; ``changes`` is (place, 8). The count goes on past the room that
    ``changes`` has. The alerts do not know one another, so each runs through all moments by
    itself.
    """
    time_ms, signals, word = moments
    alerts, ring, common = memory
    found = 0
    for k in range(settings.shape[0]):
        if settings[k, KIND] in (LOSS_OF_SIGHT, CONDITION, BELOW, BOIL_DRY):
            word, common[HEATED] = _believed(signals[HOTTEST], word, common[HEATED])
            break
    u95 = signals[U95 if signals.shape[0] > U95 else 0, : time_ms.size * (signals.shape[0] > U95)]
    for k in range(settings.shape[0]):
        start = (common[LAST_MS], k, found, changes)
        seen = (time_ms, signals[settings[k, SIGNAL]], word, u95)
        found = _run_alert(seen, settings[k], alerts[k], ring[k], start)
    if time_ms.size:
        common[LAST_MS] = time_ms[-1]
    if found <= changes.shape[0]:
        _sort_by_moment(changes, found)
    return found


def burner_changes(
    time_ms: IntArray, *, signals: IntArray, word: IntArray, settings: IntArray, state: MachineState
) -> IntArray:
    """Return the changes of one burner's alerts, and leave its state after the last moment.

    Parameters
    ----------
    time_ms : (time,)
        Moments. [ms]
    signals : (signal, time)
        The burner's signals, or the first of them: hottest, reported, spread, apparent, 95 %
        half-width; NO_VALUE or AT_RANGE among them. [0.1 K]
    word : (time,)
        Bits of the state word.
    settings : (alert, 13)
        As :func:`settings_array`.
    state : MachineState
        Continued in place, as the device does.

    Returns
    -------
    (change, 8)
        Moment, alert, what, cause, time to the limit, its low and high end, rate.

    Raises
    ------
    InputError
        If the arrays differ in length, or an alert looks at a signal that is not given.

    Notes
    -----
    About 10 ns a moment and alert when compiled.
    """
    if signals.ndim != 2 or not time_ms.shape == signals.shape[1:] == word.shape:
        raise InputError("time, signals and word must have one length")
    if settings.size and int(settings[:, SIGNAL].max()) >= signals.shape[0]:
        raise InputError(
            f"an alert looks at signal {int(settings[:, SIGNAL].max())}; "
            f"{signals.shape[0]} are given"
        )
    memory = (state.alerts, state.ring, state.common)
    before = [array.copy() for array in memory]
    room = 64
    while True:
        changes = np.zeros((room, CHANGE), dtype=np.int64)
        found = int(run_burner((time_ms, signals, word), settings, memory, changes))
        if found <= room:
            return changes[:found]
        for array, kept in zip(memory, before, strict=True):
            array[...] = kept
        room = found


@compiled
def run_cooks(moments, settings, fresh, counts, changes):  # type: ignore[no-untyped-def]
    """Drive many cooks, each from a cold start; fill counts and changes."""
    time_ms, hottest_dk, word = moments
    for i in range(hottest_dk.shape[0]):
        memory = (fresh[0].copy(), fresh[1].copy(), fresh[2].copy())
        seen = (time_ms, hottest_dk[i].reshape(1, time_ms.size), word)
        counts[i] = run_burner(seen, settings, memory, changes[i])
