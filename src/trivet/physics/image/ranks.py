"""Order statistics without full sorting, for compiled loops.

Many values are first laid out by bins of equal width (a counting sort), so that only the bins in
which a wanted rank falls are looked into; few values are not worth it. Both ways give the same
order statistics exactly.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from trivet.physics.compiled import family

compiled = family(Path(__file__).parent)

RANK_BINS = 128  # own estimate: a handful of values a bin
BRACKET = 0.125  # own estimate: half-width of a bracket over the distance of two order statistics
WORTH_BINS = 192  # own estimate: values from which on bins are faster than quickselect


@compiled
def lay_out(values: Any, count: int, room: Any, ends: Any) -> Any:
    """Return the first ``count`` values laid out for :func:`rank_value`; none is NaN.

    ``room`` has as many places as ``values``; ``ends`` is (RANK_BINS,) of integers.
    """
    if count < WORTH_BINS:
        ends[0] = -1
        return values
    low, high = np.inf, -np.inf
    for i in range(count):
        value = values[i]
        if math.isfinite(value):
            low, high = min(low, value), max(high, value)
    scale = RANK_BINS / (high - low) if high > low else 0.0
    ends[:] = 0
    for i in range(count):
        ends[_bin(values[i], low, high, scale)] += 1
    total = 0
    for k in range(RANK_BINS):
        total += ends[k]
        ends[k] = total
    for i in range(count - 1, -1, -1):
        k = _bin(values[i], low, high, scale)
        ends[k] -= 1
        room[ends[k]] = values[i]
    for k in range(RANK_BINS - 1):
        ends[k] = ends[k + 1]
    ends[RANK_BINS - 1] = count
    return room


@compiled
def _bin(value: float, low: float, high: float, scale: float) -> int:
    if value >= high:
        return RANK_BINS - 1
    if value <= low:
        return 0
    return min(int((value - low) * scale), RANK_BINS - 1)


@compiled
def rank_value(laid: Any, count: int, ends: Any, rank: int) -> float:
    """Order statistic ``rank`` of the first ``count`` values from :func:`lay_out`.

    Afterwards what stands before it is not larger, what stands behind it not smaller.
    """
    if ends[0] < 0:
        return settle_rank(laid, 0, count, rank)
    below, above = 0, RANK_BINS - 1
    while below < above:
        middle = (below + above) // 2
        if ends[middle] > rank:
            above = middle
        else:
            below = middle + 1
    start = ends[below - 1] if below > 0 else 0
    return settle_rank(laid, start, min(ends[below], count), rank)


@compiled
def settle_rank(values: Any, low: int, high: int, rank: int) -> float:
    """Rearrange ``values[low:high]`` so that place ``rank`` holds its order statistic.

    What stands before it is not larger, what stands behind it not smaller. On average linear in the
    length (quickselect with the middle as pivot); values must not be NaN.
    """
    high -= 1
    while low < high:
        pivot = values[(low + high) // 2]
        i, j = low, high
        while i <= j:
            while values[i] < pivot:
                i += 1
            while values[j] > pivot:
                j -= 1
            if i <= j:
                values[i], values[j] = values[j], values[i]
                i += 1
                j -= 1
        if rank <= j:
            high = j
        elif rank >= i:
            low = i
        else:
            break
    settled: float = values[rank]
    return settled


@compiled
def mean_between(laid: Any, count: int, ends: Any, low: int, high: int) -> float:
    """Mean of the order statistics ``low`` to ``high - 1`` of values from :func:`lay_out`."""
    if high < count:
        rank_value(laid, count, ends, high)
    # Only among those below, so that what the first rank settled stays.
    rank_value(laid, high, ends, low)
    total = 0.0
    for i in range(low, high):
        total += laid[i]
    return total / (high - low)


@compiled
def bracketed(values: Any, count: int, ranks: Any, room: Any, brackets: Any) -> Any:
    """Two order statistics and the sum from the one to the other, both inclusive.

    ``brackets`` (2, 2) says between which values the two are expected, as in the frame before; they
    are moved along. NaN where an order statistic lies outside its bracket: then lay out all.
    ``room`` has as many places as ``values``.
    """
    low_from, low_to = brackets[0, 0], brackets[0, 1]
    high_from, high_to = brackets[1, 0], brackets[1, 1]
    if not low_to < high_from:
        return np.nan, np.nan, np.nan
    below, inner = 0, 0
    for i in range(count):
        below += values[i] < low_from
        inner += low_to < values[i] < high_from
    size = room.size
    lows, highs, total = 0, size, 0.0
    for i in range(count):
        value = values[i]
        total += value if low_to < value < high_from else 0.0
        if low_from <= value <= low_to:
            room[lows] = value
            lows += 1
        elif high_from <= value <= high_to:
            highs -= 1
            room[highs] = value
    low = ranks[0] - below
    high = ranks[1] - below - inner - lows + highs
    if low < 0 or low >= lows or high < highs or high >= size:
        return np.nan, np.nan, np.nan
    first, last = settle_rank(room, 0, lows, low), settle_rank(room, highs, size, high)
    for i in range(low, lows):
        total += room[i]
    for i in range(highs, high + 1):
        total += room[i]
    set_brackets(first, last, brackets)
    return first, last, total


@compiled
def set_brackets(first: float, last: float, brackets: Any) -> None:
    """Expect two order statistics near these the next time."""
    width = BRACKET * (last - first)
    brackets[0, 0], brackets[0, 1] = first - width, first + width
    brackets[1, 0], brackets[1, 1] = last - width, last + width


@compiled
def quantile(laid: Any, count: int, ends: Any, share: float) -> float:
    """Quantile of values from :func:`lay_out`, linear between order statistics."""
    place = share * (count - 1)
    low = int(place)
    below = rank_value(laid, count, ends, low)
    if low + 1 >= count or place == low:
        return below
    above = rank_value(laid, count, ends, low + 1)
    return below + (above - below) * (place - low)


@compiled
def upper_mode(rising: Any, count: int) -> float:
    """Middle of the shortest stretch that holds half of the hotter half, of rising values."""
    first = count // 2
    held = (count - first + 1) // 2
    best, width = first, np.inf
    for i in range(first, count - held + 1):
        if rising[i + held - 1] - rising[i] < width:
            best, width = i, rising[i + held - 1] - rising[i]
    middle: float = 0.5 * (rising[best] + rising[best + held - 1])
    return middle
