"""Flag words over time."""

from __future__ import annotations

import numpy as np

from trivet.arrays import BoolArray, FlagArray
from trivet.quality import Quality


def flag(which: Quality, condition: BoolArray) -> FlagArray:
    """Return a flag's bit where a condition holds, (time,)."""
    return np.where(condition, np.uint32(which), np.uint32(0))


def has(flags: FlagArray, wanted: Quality) -> BoolArray:
    """Return whether any of some flags is set, (time,)."""
    return np.asarray((flags & np.uint32(wanted)) != 0)
