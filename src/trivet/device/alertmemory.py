"""The alert machine's memory as bytes, so that a restart forgets no alert."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from trivet.arrays import IntArray
from trivet.device.alertjudging import FIELDS
from trivet.device.alertmachine import MachineState
from trivet.device.alertslope import RING
from trivet.errors import InputError

MAGIC = b"TAM2"
COMMON = 4


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

    References
    ----------
    The module's rules.
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

    References
    ----------
    The module's rules.
    """
    units, alerts = settings.shape[:2]
    each = alerts * (FIELDS + 2 * RING) + COMMON
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
                row[split:-COMMON].reshape(alerts, RING, 2).copy(),
                row[-COMMON:].copy(),
            )
        )
    return tuple(states)
