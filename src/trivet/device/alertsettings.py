"""The alert machine's words and the settings of its alerts, in the device's units."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from trivet.errors import InputError, OutOfRangeError

Ints = NDArray[np.int64]

NO_READING = -1
AT_RANGE = 32767
LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT = 0, 1, 2
KINDS = {"level": LEVEL, "time_to_limit": TIME_TO_LIMIT, "loss_of_sight": LOSS_OF_SIGHT}

HEAT_ON, COOL = 1, 2
"""Bits of a moment's state word: the burner heats; the burner is known to be cool."""

SHORTEST_SLOPE_MS = 5000

# Columns of the settings of one alert.
KIND, SET_DK, LEAD_MS, DEADBAND_DK, ON_MS, OFF_MS, GATE_DK, WINDOW_MS = range(8)

LONGEST_WINDOW_MS = 120_000
LONGEST_LEAD_MS = 600_000


@dataclass(frozen=True)
class AlertSettings:
    """One alert in the device's units.

    ``set_dk`` is the set point of a level alert and the limit of a predicted
    one. Dead band, gate, lead and window matter where the kind uses them.
    """

    kind: Literal["level", "time_to_limit", "loss_of_sight"]
    set_dk: int = 0
    lead_ms: int = 0
    deadband_dk: int = 0
    on_ms: int = 0
    off_ms: int = 0
    gate_dk: int = 0
    window_ms: int = 10_000


def settings_array(settings: tuple[AlertSettings, ...]) -> Ints:
    """Return the settings as the integers that the machine reads.

    Parameters
    ----------
    settings : tuple of AlertSettings
        One a alert.

    Returns
    -------
    (alert, 8)
        Kind, set point, lead, dead band, delays, gate, window. [-, 0.1 K, ms]

    Raises
    ------
    OutOfRangeError
        If a value could overflow the machine's 64-bit products, a window is
        under 5 s, or a delay is negative.

    Notes
    -----
    Window to 120 s, lead to 600 s and readings to 3,276 K keep the largest
    sum of products at 5.8e18, under 2**63 = 9.2e18.

    References
    ----------
    The module's rules.
    """
    rows = []
    for one in settings:
        if one.kind not in KINDS:
            raise InputError(f"alert kind {one.kind!r}: allowed {', '.join(KINDS)}")
        if not SHORTEST_SLOPE_MS <= one.window_ms <= LONGEST_WINDOW_MS:
            raise OutOfRangeError(f"slope window {one.window_ms} ms: allowed 5,000 to 120,000 ms")
        if not 0 <= one.lead_ms <= LONGEST_LEAD_MS:
            raise OutOfRangeError(f"lead {one.lead_ms} ms: allowed 0 to 600,000 ms")
        if min(one.on_ms, one.off_ms, one.deadband_dk) < 0:
            raise OutOfRangeError("delays and dead band: allowed 0 or more")
        if not (0 <= one.set_dk < AT_RANGE and 0 <= one.gate_dk < AT_RANGE):
            raise OutOfRangeError(
                f"set point {one.set_dk} dK, gate {one.gate_dk} dK: under 3,276 K"
            )
        kind = KINDS[one.kind]
        delays = (one.on_ms, one.off_ms)
        rows.append(
            (kind, one.set_dk, one.lead_ms, one.deadband_dk, *delays, one.gate_dk, one.window_ms)
        )
    return np.array(rows, dtype=np.int64).reshape(len(rows), 8)
