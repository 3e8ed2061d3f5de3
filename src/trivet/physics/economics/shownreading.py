"""A reading as a display shows it: in steps, held by a hysteresis, blank when there is none."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

BLANK = None
"""What a display has shown last when it has shown nothing."""


def next_step(reading: float, last: int | None, *, step: float, hysteresis: float) -> int | None:
    """Return the step that a display shows next.

    Parameters
    ----------
    reading : float
        The number to show, from the zero of the display's unit; NaN where there is none.
        [unit of choice]
    last : int or None
        The step that was shown last; None before the first.
    step : float
        Width of a step, above 0. [same]
    hysteresis : float
        How far beyond the edge of its step a reading must lie before the step changes,
        0 to one step. [same]

    Returns
    -------
    int or None
        Number of the step, shown as that many steps; None blanks the display.

    Notes
    -----
    Two divisions and two comparisons: the same in integers, with reading, step and
    hysteresis in one unit. The step moves no farther than it must, so that what is
    shown lies within step / 2 + hysteresis of the reading and noise that stays within
    the hysteresis (itself at most a step) on either side of a constant temperature
    changes it at most once. A reading that is not valid blanks at once, and the first
    one after it is shown as if it were the first of all.

    References
    ----------
    Backlash (play) operator on a grid, textbook form; the bound is an own derivation.
    """
    if not math.isfinite(reading):
        return BLANK
    if last is None:
        return math.floor(reading / step + 0.5)
    reach = step / 2.0 + hysteresis
    least, most = math.ceil((reading - reach) / step), math.floor((reading + reach) / step)
    return min(max(last, least), most)


def shown_readings(
    reading: npt.ArrayLike, *, step: float, hysteresis: float, origin: float = 0.0
) -> FloatArray:
    """Return what a display shows of a series of readings, moment by moment.

    Parameters
    ----------
    reading : (time,)
        Readings; NaN where there is none. [unit of choice]
    step, hysteresis : float
        See :func:`next_step`. [same]
    origin : float
        Where the steps are counted from, so that whole numbers of the display's own
        unit are shown. [same]

    Returns
    -------
    (time,)
        What is shown; NaN where the display is blank. [same]

    Raises
    ------
    OutOfRangeError
        If the step is not above 0, or the hysteresis not between 0 and the step.

    Notes
    -----
    Causal, with one number of memory. See :func:`next_step`.
    """
    if not step > 0.0 or not 0.0 <= hysteresis <= step:
        raise OutOfRangeError(
            f"step {step}, hysteresis {hysteresis}: allowed above 0, and 0 to one step"
        )
    values: Iterable[float] = np.asarray(reading, dtype=np.float64) - origin
    shown, last = [], BLANK
    for value in values:
        last = next_step(float(value), last, step=step, hysteresis=hysteresis)
        shown.append(math.nan if last is None else origin + last * step)
    return np.array(shown, dtype=np.float64)
