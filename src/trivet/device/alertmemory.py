"""The alert machine's memory as bytes, so that a restart forgets no alert."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from trivet.device.alertmachine import FIELDS, RING, MachineState
from trivet.device.alertsettings import Ints
from trivet.errors import InputError

MAGIC = b"TAM1"


def saved_states(states: tuple[MachineState, ...], *, settings: Ints) -> bytes:
    """Return the states of all burners as bytes that survive a restart.

    Parameters
    ----------
    states : tuple of MachineState
        One a burner.
    settings : (alert, 8)
        Their checksum is stored: a state fits only the settings it was made with.

    Returns
    -------
    bytes
        Little-endian 64-bit words after a header of 16 bytes, and a checksum.

    Notes
    -----
    1.2 kB an alert and burner.

    References
    ----------
    The module's rules.
    """
    alerts = settings.shape[0]
    head = struct.pack("<4sIII", MAGIC, len(states), alerts, _fit(settings))
    body = b"".join(
        np.concatenate([s.alerts.ravel(), s.ring.ravel(), s.last_ms]).astype("<i8").tobytes()
        for s in states
    )
    return head + body + struct.pack("<I", zlib.crc32(head + body))


def _fit(settings: Ints) -> int:
    return zlib.crc32(settings.astype("<i8").tobytes())


def restored_states(saved: bytes, *, settings: Ints, burners: int) -> tuple[MachineState, ...]:
    """Return the states that :func:`saved_states` wrote.

    Parameters
    ----------
    saved : bytes
        Saved states.
    settings : (alert, 8)
        Settings of now.
    burners : int
        Burners of now. [-]

    Returns
    -------
    tuple of MachineState
        One a burner.

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
    alerts = settings.shape[0]
    each = alerts * (FIELDS + 2 * RING) + 1
    if len(saved) < 20 or saved[:4] != MAGIC:
        raise InputError("the saved alert state is no alert state: start cold")
    _, count, kept, fit = struct.unpack("<4sIII", saved[:16])
    if zlib.crc32(saved[:-4]) != struct.unpack("<I", saved[-4:])[0]:
        raise InputError("the saved alert state is damaged: start cold")
    if (count, kept, fit) != (burners, alerts, _fit(settings)):
        raise InputError("the saved alert state is of other burners or settings: start cold")
    words = np.frombuffer(saved[16:-4], dtype="<i8").astype(np.int64).reshape(burners, each)
    states = []
    for row in words:
        split = alerts * FIELDS
        states.append(
            MachineState(
                row[:split].reshape(alerts, FIELDS).copy(),
                row[split:-1].reshape(alerts, RING, 2).copy(),
                row[-1:].copy(),
            )
        )
    return tuple(states)
