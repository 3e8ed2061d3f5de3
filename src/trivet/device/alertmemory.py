"""The alert machine over many cooks at once, and its memory as bytes that survive a restart."""

from __future__ import annotations

import struct
import zlib

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import IntArray
from trivet.device import alertmachine as machine
from trivet.device import alertrules as judging
from trivet.device.alertmachine import MachineState
from trivet.device.alertrules import FIELDS, RATE_RING
from trivet.device.alertwords import SIGNAL
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


MAGIC = b"TAM2"
COMMON = 4  # last moment, heated, hand, new frame


def saved_states(states: tuple[MachineState, ...], *, settings: IntArray) -> bytes:
    """Return the states of all burners as bytes that survive a restart.

    Parameters
    ----------
    states : tuple of MachineState
        One a burner, and one of the device itself.
    settings : (unit, alert, 13)
        Of each unit. Their checksum is stored: a state fits only the settings it was made with.

    Returns
    -------
    bytes
        Little-endian 64-bit words after a header of 16 bytes, and a checksum.

    Notes
    -----
    2.2 kB an alert and burner.
    """
    alerts = settings.shape[1]
    head = struct.pack("<4sIII", MAGIC, len(states), alerts, _fit(settings))
    body = b"".join(
        np.concatenate([s.alerts.ravel(), s.ring.ravel(), s.common]).astype("<i8").tobytes()
        for s in states
    )
    return head + body + struct.pack("<I", zlib.crc32(head + body))


def _fit(settings: IntArray) -> int:
    return zlib.crc32(settings.astype("<i8").tobytes())


def restored_states(saved: bytes, *, settings: IntArray) -> tuple[MachineState, ...]:
    """Return the states that :func:`saved_states` wrote.

    Parameters
    ----------
    saved : bytes
        Saved states.
    settings : (unit, alert, 13)
        Settings of now, of each unit.

    Returns
    -------
    tuple of MachineState
        One a burner, and one of the device itself.

    Raises
    ------
    InputError
        If the bytes are damaged or were saved with other settings or burners.

    Notes
    -----
    Rather refused than guessed: after a change of settings start cold.
    """
    units, alerts = settings.shape[:2]
    each = alerts * (FIELDS + 2 * RATE_RING) + COMMON
    if len(saved) < 20 or saved[:4] != MAGIC:
        raise InputError("the saved alert state is no alert state: start cold")
    _, count, kept, fit = struct.unpack("<4sIII", saved[:16])
    if zlib.crc32(saved[:-4]) != struct.unpack("<I", saved[-4:])[0]:
        raise InputError("the saved alert state is damaged: start cold")
    if (count, kept, fit) != (units, alerts, _fit(settings)):
        raise InputError("the saved alert state is of other burners or settings: start cold")
    words = np.frombuffer(saved[16:-4], dtype="<i8").astype(np.int64).reshape(units, each)
    states = []
    for row in words:
        split = alerts * FIELDS
        states.append(
            MachineState(
                row[:split].reshape(alerts, FIELDS).copy(),
                row[split:-COMMON].reshape(alerts, RATE_RING, 2).copy(),
                row[-COMMON:].copy(),
            )
        )
    return tuple(states)
