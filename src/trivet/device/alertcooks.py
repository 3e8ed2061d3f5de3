"""Many cooks through the alert machine at once, for campaigns."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import IntArray
from trivet.device import alertjudging as judging
from trivet.device import alertmachine as machine
from trivet.device.alertsettings import SIGNAL
from trivet.errors import InputError


def changes_of_cooks(
    time_ms: IntArray,
    *,
    reading_dk: NDArray[np.integer],
    word: IntArray,
    settings: IntArray,
    room: int = 64,
) -> list[IntArray]:
    """Return the changes of many cooks of one burner and one time base, each from a cold start.

    Parameters
    ----------
    time_ms : (time,)
        Moments. [ms]
    reading_dk : (cook, time)
        Readings. [0.1 K]
    word : (time,)
        Bits HEAT_ON and COOL.
    settings : (alert, 13)
        As :func:`settings_array`; all look at the hottest part.
    room : int
        Changes foreseen a cook; one with more is run again by itself. [-]

    Returns
    -------
    list of (change, 8)
        As :func:`burner_changes`, cook by cook.

    Raises
    ------
    InputError
        If the arrays differ in length, or an alert looks at another signal.

    Notes
    -----
    For campaigns: one compiled loop, the same function as the device's.

    References
    ----------
    The module's rules.
    """
    if reading_dk.ndim != 2 or not reading_dk.shape[1] == time_ms.size == word.size:
        raise InputError("time, reading and word must have one length")
    if settings.size and settings[:, SIGNAL].any():
        raise InputError("an alert looks at another signal than the hottest part")
    state = machine.cold_start(settings.shape[0])
    counts = np.zeros(reading_dk.shape[0], dtype=np.int64)
    changes = np.zeros((reading_dk.shape[0], room, judging.CHANGE), dtype=np.int64)
    fresh = (state.alerts, state.ring, state.common)
    machine.run_cooks((time_ms, reading_dk, word), settings, fresh, counts, changes)
    found = []
    for i, count in enumerate(counts.tolist()):
        if count <= room:
            found.append(changes[i, :count])
            continue
        again = machine.cold_start(settings.shape[0])
        reading = reading_dk[i : i + 1].astype(np.int64)
        found.append(
            machine.burner_changes(
                time_ms, signals=reading, word=word, settings=settings, state=again
            )
        )
    return found
