"""By how much a reading comes late, from the error that it makes while its rate changes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError

GRID_S, FEWEST = 1.0, 20
MIN_CHANGE_KPS = 0.05
"""Root mean square of the rate beyond what goes with the temperature itself. [K/s]"""
CLEAREST_S = 1.0
"""A lag that is known no better than this is none."""


class ReadingLag(NamedTuple):
    """How late a reading is."""

    lag_s: float
    """Positive: it comes later. [s]"""
    u_s: float
    """Standard uncertainty. [s]"""


def reading_lag(reading: FloatArray, *, reference: FloatArray, time_s: FloatArray) -> ReadingLag:
    """Return by how much a reading follows what was so.

    Least squares of error = a + b reference - lag rate: an offset and an error in proportion to the
    temperature are taken out first, so that only what goes with a *change* of the rate counts.

    reading, reference : (time,) what was said and what was so, without gaps [K]
    time_s : (time,) rising [s]
    Returns : lag and its standard uncertainty, residuals taken as an AR(1) process [s]
    Raises : NotEnoughDataError under 20 s, or where the lag is uncertain by more than 1 s: a steady
        ramp or a constant tells nothing
    Notes : Exact for a pure delay that is short against the changes of the rate: 2 s late on a pan
        that goes from 2 K/s to none within 10 s is found as 2.0 s. Two seconds of rounding of the
        probe's rate take 5 % off.
    Source : Least squares (Frisch-Waugh), textbook form; own derivation (first order of reference(t
        - lag))
    """
    if time_s.size < 2 or time_s[-1] - time_s[0] < FEWEST * GRID_S:
        raise NotEnoughDataError("under 20 s of readings: no lag can be told")
    grid = np.arange(time_s[0], time_s[-1], GRID_S)
    said, truth = (np.interp(grid, time_s, one) for one in (reading, reference))
    rate = np.gradient(truth, GRID_S)
    known = np.stack([np.ones(grid.size), truth - truth.mean()], axis=1)
    change, error = (one - known @ np.linalg.pinv(known) @ one for one in (rate, said - truth))
    if np.sqrt(np.mean(change**2)) < MIN_CHANGE_KPS:
        raise NotEnoughDataError("the rate does not change by itself: no lag can be told")
    lag_s = -float(change @ error / (change @ change))
    left = error + lag_s * change
    follows = float(np.clip(left[1:] @ left[:-1] / max(left @ left, 1e-30), 0.0, 0.98))
    variance = left @ left / (grid.size - 3) * (1.0 + follows) / (1.0 - follows)
    u_s = float(np.sqrt(variance / (change @ change)))
    if not u_s <= CLEAREST_S:
        raise NotEnoughDataError(f"the lag is uncertain by {u_s:.1f} s: the rate hardly changes")
    return ReadingLag(lag_s, u_s)
