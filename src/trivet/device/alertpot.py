"""Alerts that are armed first: a band that was left, and the dry pot.

A dry pot is a plateau near the boiling point, then a rise, or a fall where the pot shines.

The signal is the apparent temperature over the pan, which needs no emissivity. Over water
it stands still near the boiling point. A dark pot that boils dry rises; a bare shiny one
hardly moves or falls within seconds, since it mirrors the room as soon as no water hides it.

- *Armed* once the smoothed signal has stayed within the dead band for the window, between
  gate and set point. Before, nothing is judged, and that is said once the burner heats.
- *Dry* where the signal leaves the plateau by ``top`` upwards, or downwards within ``lead``
  of having been on it. A slow fall (the heat was turned down) or one with a hand just
  before (cold water, food) disarms instead, until a new plateau is seen.
- A hand looks like a bare bottom: something cooler lies over the water of a sudden. It goes
  again; what stays off the plateau for ``LONGEST_HAND_MS``, or fell before the hand came,
  is the metal. No hand is hotter than boiling water, so a rise counts at once.
"""

from __future__ import annotations

import numpy as np

from trivet.device import compiled
from trivet.device.alertrules import (
    ARMED,
    AT_MS,
    BETWEEN,
    BY_FALL,
    BY_READING,
    CAME_MS,
    ESCALATED,
    ESCALATED_NOW,
    FALL_MS,
    HIGH,
    INSIDE_MS,
    LEVEL_Q8,
    LOW,
    NEVER,
    NO_TIMES,
    ON,
    PLATEAU_Q8,
    RISE_MS,
    SINCE_MS,
    TOLD,
    UNKNOWN,
    cause_of,
    delayed,
    is_armed,
    noted,
    overdue,
    standing,
)
from trivet.device.alertwords import (
    AT_RANGE,
    BOIL_DRY,
    COOL,
    DEADBAND_DK,
    GATE_DK,
    HANDLED,
    HEAT_ON,
    KIND,
    LEAD_MS,
    NO_VALUE,
    SET_DK,
    TOP_DK,
    WINDOW_MS,
)
from trivet.device.thresholds import FOLLOW_MS, LONGEST_HAND_MS, SMOOTH_MS

DRY = NEVER - 1
"""In the place of the moment at which the signal was last on the plateau: the pot is dry."""
ALONE = NEVER - 2
"""In the place of the moment at which a hand came: the fall began without one."""
# What is said beside on and off; also the bits of a step's result in C, from 4 on.
NOTHING_NEW, ARMED_NOW, DISARMED_NOW = 0, 3, 4


@compiled
def boiling(now, signal, word, a, pot):  # type: ignore[no-untyped-def]
    """Judge one moment; return how it stands, what is to be said, and the pot's memory.

    ``level`` and ``plateau`` are in 0.1 K / 256; ``since`` is when the signal came to where
    it stands now, of an armed pot since when a hand has been about while it is off the
    plateau; ``inside`` is when it was last on the plateau.
    """
    armed, told, level, at, plateau, since, inside = pot
    if signal == NO_VALUE:
        if not word & COOL:
            return UNKNOWN, NOTHING_NEW, pot
        said = DISARMED_NOW if armed else NOTHING_NEW
        return LOW, said, (0, told, 0, NEVER, 0, NEVER, NEVER)
    step = now - at
    if at == NEVER or step > FOLLOW_MS:
        # Seen anew, perhaps after a long blindness: the plateau, if any, is kept.
        level, step = signal << 8, 0
    else:
        level += ((signal << 8) - level) * step // (SMOOTH_MS + step)
    if armed:
        return _watched(now, (signal, step), word, a, (told, level, plateau, since, inside))
    said = NOTHING_NEW
    if not told and word & HEAT_ON:
        said, told = DISARMED_NOW, 1
    armed, plateau, since = _plateau(now, level, a, (plateau, since))
    if armed:
        return LOW, ARMED_NOW, (1, told, level, now, plateau, since, now)
    return LOW, said, (0, told, level, now, plateau, since, NEVER)


@compiled
def _watched(now, seen, word, a, pot):  # type: ignore[no-untyped-def]
    """Judge one moment of an armed pot; ``seen`` is the signal and the time since the last."""
    signal, step = seen
    told, level, plateau, since, inside = pot
    off, band = level - plateau, a[DEADBAND_DK] << 8
    if -band <= off <= band:
        if inside == DRY:
            # Water was filled in, or a shiny pot heats through this level: time will tell.
            since = now if since == NEVER else since
            if now - since < a[WINDOW_MS]:
                return BETWEEN, NOTHING_NEW, (1, told, level, now, plateau, since, DRY)
        plateau += off * step // FOLLOW_MS
        if plateau < a[GATE_DK] << 8:
            return LOW, DISARMED_NOW, (0, told, level, now, level, now, NEVER)
        return LOW, NOTHING_NEW, (1, told, level, now, plateau, NEVER, now)
    if inside == DRY or off > 0:
        since = NEVER
    elif since == NEVER:
        since = now if word & HANDLED else ALONE
    if signal == AT_RANGE or off > a[TOP_DK] << 8:
        return HIGH, NOTHING_NEW, (1, told, level, now, plateau, since, DRY)
    if off >= -(a[TOP_DK] << 8):
        return BETWEEN, NOTHING_NEW, (1, told, level, now, plateau, since, inside)
    if inside == DRY:
        return HIGH, NOTHING_NEW, (1, told, level, now, plateau, NEVER, DRY)
    hand = since > NEVER
    soon = (since if hand else now) - inside <= a[LEAD_MS]
    if hand and soon and word & HANDLED and now - since < LONGEST_HAND_MS:
        return BETWEEN, NOTHING_NEW, (1, told, level, now, plateau, since, inside)
    # Off the plateau at once, and no hand before it or one that stays too long for one: dry.
    # Else the heat was turned down, or something cold was put in.
    if soon and (not hand or word & HANDLED):
        return HIGH, NOTHING_NEW, (1, told, level, now, plateau, NEVER, DRY)
    return LOW, DISARMED_NOW, (0, told, level, now, level, now, NEVER)


@compiled
def _plateau(now, level, a, kept):  # type: ignore[no-untyped-def]
    """Return whether a plateau stands, its level and its beginning."""
    plateau, since = kept
    off = level - plateau
    if since == NEVER or off > a[DEADBAND_DK] << 8 or off < -(a[DEADBAND_DK] << 8):
        return 0, level, now
    boils = a[GATE_DK] << 8 <= plateau <= a[SET_DK] << 8
    if boils and now - since >= a[WINDOW_MS]:
        return 1, level, since
    return 0, plateau, since


@compiled
def run_armed(moments, a, s, start):  # type: ignore[no-untyped-def]
    """Drive an alert that must be armed first through the moments."""
    time_ms, signal, word = moments[0], moments[1], moments[2]
    before, alert, found, changes = start
    timers, life = (s[ON], s[RISE_MS], s[FALL_MS]), (s[SINCE_MS], s[ESCALATED])
    pot = (
        s[ARMED], s[TOLD], s[LEVEL_Q8], s[AT_MS], s[PLATEAU_Q8], s[CAME_MS], s[INSIDE_MS]
    )  # fmt: skip
    for i in range(time_ms.size):
        now, reading = time_ms[i], np.int64(signal[i])
        if now < before:
            timers, life = (timers[0], NEVER, NEVER), (now, life[1])
            came = pot[5] if pot[5] <= NEVER else now
            inside = now if pot[6] != NEVER and pot[6] != DRY else pot[6]
            pot = (pot[0], pot[1], pot[2], NEVER, pot[4], came, inside)
        before = now
        said = NOTHING_NEW
        if a[KIND] == BOIL_DRY:
            judged, said, pot = boiling(now, reading, word[i], a, pot)
        else:
            armed = is_armed(reading, word[i], a, pot[0])
            pot = (armed, pot[1], pot[2], pot[3], pot[4], pot[5], pot[6])
            judged = standing(reading, word[i], a, armed)
        was = timers[0]
        timers = delayed(now, judged, a, timers)
        if said != NOTHING_NEW:
            found = noted(changes, found, (i, alert, said, BY_READING), NO_TIMES)
        if timers[0] != was:
            cause = cause_of(reading, a)
            if a[KIND] == BOIL_DRY and pot[2] < pot[4]:
                cause = BY_FALL
            found = noted(changes, found, (i, alert, timers[0], cause), NO_TIMES)
            life = (now, 0)
        elif overdue(now, timers[0], a, life):
            life = (life[0], 1)
            found = noted(changes, found, (i, alert, ESCALATED_NOW, BY_READING), NO_TIMES)
    s[ON], s[RISE_MS], s[FALL_MS] = timers
    s[SINCE_MS], s[ESCALATED] = life
    s[ARMED], s[TOLD], s[LEVEL_Q8], s[AT_MS], s[PLATEAU_Q8], s[CAME_MS], s[INSIDE_MS] = pot
    return found
