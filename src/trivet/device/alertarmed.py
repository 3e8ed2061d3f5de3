"""The loop of alerts that must be armed first: a dry pot, and a band that was left."""

from __future__ import annotations

import numpy as np

from trivet.device import compiled
from trivet.device.alertboiling import (
    DRY,
    NEVER,
    NOTHING,
    boiling,
)
from trivet.device.alertjudging import (
    ARMED,
    AT_MS,
    BY_FALL,
    BY_READING,
    CAME_MS,
    ESCALATED,
    ESCALATED_NOW,
    FALL_MS,
    INSIDE_MS,
    LEVEL_Q8,
    NO_TIMES,
    ON,
    PLATEAU_Q8,
    RISE_MS,
    SINCE_MS,
    TOLD,
    cause_of,
    delayed,
    is_armed,
    noted,
    overdue,
    standing,
)
from trivet.device.alertsettings import BOIL_DRY, KIND


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
        said = NOTHING
        if a[KIND] == BOIL_DRY:
            judged, said, pot = boiling(now, reading, word[i], a, pot)
        else:
            armed = is_armed(reading, word[i], a, pot[0])
            pot = (armed, pot[1], pot[2], pot[3], pot[4], pot[5], pot[6])
            judged = standing(reading, word[i], a, armed)
        was = timers[0]
        timers = delayed(now, judged, a, timers)
        if said != NOTHING:
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
