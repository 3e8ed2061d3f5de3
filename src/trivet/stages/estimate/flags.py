"""Flag words over time."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from trivet.quality import Quality

BoolArray = npt.NDArray[np.bool_]
FlagArray = npt.NDArray[np.uint32]


def flag(which: Quality, condition: BoolArray) -> FlagArray:
    """Return a flag's bit where a condition holds, (time,)."""
    return np.where(condition, np.uint32(which), np.uint32(0))


def has(flags: FlagArray, wanted: Quality) -> BoolArray:
    """Return whether any of some flags is set, (time,)."""
    return np.asarray((flags & np.uint32(wanted)) != 0)
