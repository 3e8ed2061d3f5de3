"""The alert machine's words and the settings of its alerts, in the device's units."""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from typing import Literal, get_args

import numpy as np

from trivet.arrays import IntArray
from trivet.device.thresholds import SHORTEST_SLOPE_MS
from trivet.errors import InputError, OutOfRangeError

NO_READING = -1
AT_RANGE = 32767

Rule = Literal[
    "level", "time_to_limit", "loss_of_sight", "below", "in_band", "boil_dry", "condition"
]
LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT, BELOW, IN_BAND, BOIL_DRY, CONDITION = range(7)
KINDS: dict[str, int] = {name: at for at, name in enumerate(get_args(Rule))}

HEAT_ON, COOL, NO_PAN, PERSON, LINK_LOST, HANDLED = 1, 2, 4, 8, 16, 32
"""Bits of a moment's state word: the burner heats; it is known to be cool; no pan stands on
it; somebody is there; the link is lost; a hand was over the hob just now."""

# Signals of a burner's moment; all in 0.1 K.
HOTTEST, REPORTED, SPREAD, APPARENT, U95 = range(5)
SIGNALS = 5
# Signals of the device itself, in the first places: 0.1 K, 1/1000, 1/1000.
HOUSING, CHARGE, WINDOW_LOSS = range(3)

# Columns of the settings of one alert.
KIND, SET_DK, LEAD_MS, DEADBAND_DK, ON_MS, OFF_MS, GATE_DK, WINDOW_MS = range(8)
TOP_DK, SIGNAL, ESCALATE_MS, NEEDS, FORBIDS = range(8, 13)
COLUMNS = 13

LONGEST_WINDOW_MS = 120_000
LONGEST_LEAD_MS = 600_000
LONGEST_DELAY_MS = 86_400_000


@dataclass(frozen=True)
class AlertSettings:
    """One alert in the device's units.

    ``set_dk`` is the set point of a level alert, the limit of a predicted one, the lower
    end of a band, or the highest plateau that counts as boiling; ``gate_dk`` the reading
    above which it acts, or the lowest plateau; ``top_dk`` the upper end of a band, the level
    that arms an alert for too low a reading, or the change that tells of a dry pot;
    ``signal`` which signal it looks at; ``needs`` and ``forbids`` bits of the state word.
    """

    kind: Rule
    set_dk: int = 0
    lead_ms: int = 0
    deadband_dk: int = 0
    on_ms: int = 0
    off_ms: int = 0
    gate_dk: int = 0
    window_ms: int = 10_000
    top_dk: int = 0
    signal: int = HOTTEST
    escalate_ms: int = 0
    needs: int = 0
    forbids: int = 0


COLUMN_NAMES = tuple(one.name for one in fields(AlertSettings))


def settings_array(settings: tuple[AlertSettings, ...]) -> IntArray:
    """Return the settings as the integers that the machine reads.

    Parameters
    ----------
    settings : tuple of AlertSettings
        One a alert.

    Returns
    -------
    (alert, 13)
        Columns in the order of :class:`AlertSettings`. [-, 0.1 K, ms]

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
        _check(one)
        rows.append((KINDS[one.kind], *astuple(one)[1:]))
    return np.array(rows, dtype=np.int64).reshape(len(rows), COLUMNS)


def _check(one: AlertSettings) -> None:
    if one.kind not in KINDS:
        raise InputError(f"alert kind {one.kind!r}: allowed {', '.join(KINDS)}")
    if not SHORTEST_SLOPE_MS <= one.window_ms <= LONGEST_WINDOW_MS:
        raise OutOfRangeError(f"slope window {one.window_ms} ms: allowed 5,000 to 120,000 ms")
    if not 0 <= one.lead_ms <= LONGEST_LEAD_MS:
        raise OutOfRangeError(f"lead {one.lead_ms} ms: allowed 0 to 600,000 ms")
    if min(one.on_ms, one.off_ms, one.escalate_ms, one.deadband_dk) < 0:
        raise OutOfRangeError("delays and dead band: allowed 0 or more")
    if max(one.on_ms, one.off_ms, one.escalate_ms) > LONGEST_DELAY_MS:
        raise OutOfRangeError("delays: allowed up to a day")
    if not all(0 <= value < AT_RANGE for value in (one.set_dk, one.gate_dk, one.top_dk)):
        raise OutOfRangeError(f"set point {one.set_dk} dK, gate {one.gate_dk} dK: under 3,276 K")
    if not 0 <= one.signal < SIGNALS:
        raise OutOfRangeError(f"signal {one.signal}: allowed 0 to {SIGNALS - 1}")
