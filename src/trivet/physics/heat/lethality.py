"""Killing of microbes in the core of food: log reduction, and hold times of a table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError, OutOfRangeError

# USDA FSIS Appendix A (1999), Salmonella in beef: 67 s at 150 F give 6.5 decades, so one
# decade takes 10.3 s; 6720 s at 130 F against 67 s give z = 10.0 F.
REFERENCE_K = 338.706  # 150 F
DECADE_S = 67.0 / 6.5  # the same table
Z_K = 10.0 / 1.8  # likewise
COUNTED_FROM_K = 327.594  # 130 F: the table's first row; nothing colder counts


@dataclass(frozen=True)
class HoldVerdict:
    """Whether a core was held long enough by a table, and the log reduction it reached."""

    held: bool
    held_s: float
    """Longest time at or above the row that was met, or that came closest. [s]"""
    row_k: float
    """Temperature of that row. [K]"""
    wanted_s: float
    """What the row asks for. [s]"""
    log10: float
    """Decades of reduction by z and D value. [-]"""


def log_reduction(
    time_s: FloatArray,
    *,
    core_k: FloatArray,
    decade_s: float = DECADE_S,
    reference_k: float = REFERENCE_K,
    z_k: float = Z_K,
) -> float:
    """Return the decades of reduction that a core temperature has brought.

    time_s : (time,) rising [s]
    core_k : (time,) temperature of the coldest place; NaN where it is not known counts as cold [K]
    decade_s : time of one decade at the reference temperature [s]
    reference_k : reference temperature [K]
    z_k : rise that shortens a decade tenfold, a difference [K]
    Returns : decades [-]
    InputError: if the series differ in length or time does not rise.

    OutOfRangeError: if D or z value is not above 0.

    A core read 1 K too warm counts 51 % too many decades: the probe's error decides. z = 10 K in
    place of 10 F is a common slip; at 60 C it gives five times too many. Under 54.4 C nothing is
    counted.

    Source: General method of thermal death times (Bigelow et al. 1920, from memory); figures: USDA
    FSIS Appendix A, 1999.
    """
    time, core = np.asarray(time_s, float), np.asarray(core_k, float)
    if time.shape != core.shape or time.ndim != 1 or np.any(np.diff(time) <= 0.0):
        raise InputError("lethality: time must rise and be as long as the core's temperature")
    for name, value in (("decade_s", decade_s), ("z_k", z_k)):
        if not value > 0.0:
            raise OutOfRangeError(f"lethality: {name} is {value}; allowed: above 0")
    known = np.where(np.isfinite(core), core, 0.0)
    rate = np.where(known >= COUNTED_FROM_K, 10.0 ** ((known - reference_k) / z_k) / decade_s, 0.0)
    return float(np.trapezoid(rate, time))


def hold_verdict(
    time_s: FloatArray,
    *,
    core_k: FloatArray,
    table: tuple[tuple[float, float], ...],
    of: Literal["core", "surface"],
) -> HoldVerdict:
    """Return whether a core was held as long as a time-temperature table asks.

    time_s : (time,) rising [s]
    core_k : (time,) temperature of the core; NaN where not known breaks a hold [K]
    table : tuple of (temperature [K], time [s]) rows from cold to hot; a time of 0 is met at once
    of : what was measured: only ``core`` is taken
    Returns : HoldVerdict: the row met, or the one that came closest, and the decades reached
    InputError: if a surface reading is offered, the table is empty or out of order, or the series
    do not fit.

    A hold ends where the core falls under the row, if only for one sample. A surface is tens of
    kelvin hotter than the core until long after a food is done: it says nothing about safety and is
    refused.

    Source: USDA FSIS Appendix A (1999); FDA Food Code 3-401.11.
    """
    if of != "core":
        raise InputError(
            f"a food-safety verdict wants the core's temperature, not the {of}'s: "
            "use a probe inserted into the middle of the food"
        )
    rows = np.array(table, dtype=np.float64)
    if rows.ndim != 2 or rows.shape[1] != 2 or np.any(np.diff(rows[:, 0]) <= 0.0):
        raise InputError("a hold-time table needs rows of temperature and time, from cold to hot")
    decades = log_reduction(time_s, core_k=core_k)
    time, core = np.asarray(time_s, float), np.asarray(core_k, float)
    best: HoldVerdict | None = None
    share = -1.0
    for row_k, wanted in rows:
        held = _longest_s(time, core >= row_k)
        reached = held >= wanted and bool(np.any(core >= row_k))
        part = 1.0 + row_k if reached else min(held / max(wanted, 1.0), 0.999)
        if part > share:
            share = part
            best = HoldVerdict(reached, held, float(row_k), float(wanted), decades)
    assert best is not None
    return best


def _longest_s(time: FloatArray, held: BoolArray) -> float:
    """Return the longest unbroken time."""
    longest, start = 0.0, None
    for at, is_held in zip(time, held, strict=True):
        if not is_held:
            start = None
            continue
        start = at if start is None else start
        longest = max(longest, float(at - start))
    return longest
