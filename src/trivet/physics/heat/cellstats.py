"""Area statistics over the cells of a pan: quantiles, and the hottest few square centimetres."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

HOTTEST_SPOT_M2 = 5e-4
"""Of what is called the hottest; own estimate: 5 cm2, what a cook would call a spot."""


def area_quantiles_k(
    cells_k: FloatArray, *, area_m2: FloatArray, shares: tuple[float, ...]
) -> FloatArray:
    """Return the temperatures below which given shares of the area lie.

    cells_k : (time, cell) temperatures [K]
    area_m2 : (cell,) area of each cell [m2]
    shares : shares of the area, 0 to 1 [-]
    Returns : (share, time) quantiles: those of the cell in which the share is reached [K]
    OutOfRangeError: if a share lies outside 0 to 1.

    A step function of the cells: exact to the spread between neighbours in rank, of the order of
    0.1 K for 768 cells spread over 100 K.

    Source: Weighted empirical distribution.
    """
    if not all(0.0 <= share <= 1.0 for share in shares):
        raise OutOfRangeError(f"area quantiles {shares}; allowed: 0 to 1")
    wanted = np.asarray(shares, dtype=np.float64) * area_m2.sum()
    return np.asarray(_reached(*_plain(cells_k, area_m2), wanted))


def hottest_mean_k(
    cells_k: FloatArray, *, area_m2: FloatArray, hottest_m2: float = HOTTEST_SPOT_M2
) -> FloatArray:
    """Return the mean temperature of the hottest part of a surface.

    cells_k : (time, cell) temperatures [K]
    area_m2 : (cell,) area of each cell [m2]
    hottest_m2 : area over which to take the mean; 5 cm2 unless told otherwise [m2]
    Returns : (time,) mean of the hottest cells that make up the area, the last one in part [K]
    OutOfRangeError: if the area is not above 0.

    The cells need not touch one another. On a pan smaller than the area this is its mean.
    """
    if not hottest_m2 > 0.0:
        raise OutOfRangeError(f"hottest_m2 is {hottest_m2}; allowed: above 0 m2")
    part = min(hottest_m2, float(area_m2.sum()))
    return np.asarray(_hottest(*_plain(cells_k, area_m2), part))


def _plain(cells_k: FloatArray, area_m2: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return both in the one layout that the compiled loops know."""
    return (
        np.ascontiguousarray(cells_k, dtype=np.float64),
        np.ascontiguousarray(area_m2, dtype=np.float64),
    )


# From one moment to the next the cells keep almost the same order.  The cell that
# decided last time tells where to look now, so that few cells have to be sorted.


@njit(cache=True)
def _near(row: Any, low: float, high: float, found: Any) -> int:
    """List the cells from ``low`` to ``high``, without a branch; return how many."""
    count = 0
    for c in range(row.size):
        found[count] = c
        count += (row[c] >= low) & (row[c] <= high)
    return count


@njit(cache=True)
def _hottest(cells_k: Any, area_m2: Any, part_m2: float) -> Any:
    """Return the mean of the hottest cells that make up an area, the last one in part."""
    times, cells = cells_k.shape
    out = np.empty(times)
    found = np.empty(cells + 1, dtype=np.int64)
    last = -1
    for n in range(times):
        row = cells_k[n]
        count, held = 0, 0.0
        if last >= 0:
            count = _near(row, row[last] - 1e-6, np.inf, found)
            for k in range(count):
                held += area_m2[found[k]]
        if held < part_m2:
            count = cells
            for c in range(cells):
                found[c] = c
        order = np.argsort(-row[found[:count]], kind="mergesort")
        left, total = part_m2, 0.0
        for k in order:
            last = found[k]
            share = min(area_m2[last], left)
            total += share * row[last]
            left -= share
            if left <= 0.0:
                break
        out[n] = total / (part_m2 - left)
    return out


@njit(cache=True)
def _reached(cells_k: Any, area_m2: Any, wanted_m2: Any) -> Any:
    """Return the temperature at which the area of the colder cells reaches what is wanted."""
    times, cells = cells_k.shape
    out = np.empty((wanted_m2.size, times))
    found = np.empty(cells + 1, dtype=np.int64)
    for s in range(wanted_m2.size):
        last, half = -1, 0.5
        for n in range(times):
            row = cells_k[n]
            while True:
                low, high = -np.inf, np.inf
                if last >= 0 and half < 1e3:
                    low, high = row[last] - half, row[last] + half
                below = 0.0
                for c in range(cells):
                    below += area_m2[c] if row[c] < low else 0.0
                count = _near(row, low, high, found)
                order = np.argsort(row[found[:count]], kind="mergesort")
                at = -1
                if below < wanted_m2[s] or low == -np.inf:
                    for k in order:
                        below += area_m2[found[k]]
                        if below >= wanted_m2[s]:
                            at = found[k]
                            break
                if at < 0 and high == np.inf:
                    at = found[order[-1]]
                if at >= 0:
                    break
                half *= 4.0
            last = at
            out[s, n] = row[at]
            if count > 24:
                half *= 0.5
    return out
