"""The firmware's rules for pixels in double precision: the twin that its integers are held to.

Written apart from ``trivet.device``: temperatures are kelvin, nothing is rounded, order
statistics come from sorting.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.facts.thresholds import threshold

COOLING_KPS, FRESH_S = threshold("cover_cooling_kps"), threshold("cover_fresh_s")
BRIEF_S, NEAR_S = threshold("cover_brief_s"), threshold("cover_near_s")


@dataclass
class Covered:
    """What is remembered of the pixels that something covers, arrays (pixel,)."""

    peak_k: FloatArray
    was_k: FloatArray
    open_k: FloatArray
    since_s: FloatArray
    near_s: FloatArray

    @classmethod
    def nothing(cls, pixels: int) -> Covered:
        """Return the memory of pixels of which nothing has been seen."""
        unknown = np.full(pixels, np.nan)
        return cls(np.full(pixels, -np.inf), *(unknown.copy() for _ in range(4)))

    def cover(self, frame: FloatArray, *, now_s: float, step_s: float, drop_k: float) -> None:
        """Note which pixels fell faster than a pan can cool."""
        seen = ~np.isnan(frame) & ~np.isposinf(frame) & np.isnan(self.since_s)
        peak = np.maximum(frame, self.peak_k - COOLING_KPS * min(step_s, 60.0))
        self.peak_k = np.where(seen, peak, self.peak_k)
        fell = seen & (frame < peak - drop_k)
        self.since_s[fell], self.was_k[fell] = now_s, peak[fell]
        self.open_k[fell] = self.near_s[fell] = np.nan

    def uncover(
        self, frame: FloatArray, *, place: IntArray, now_s: float, mean_k: float, drop_k: float
    ) -> None:
        """Note which pixels of a pan are open again."""
        p = place[~np.isnan(self.since_s[place]) & ~np.isnan(frame[place])]
        since, word = now_s - self.since_s[p], frame[p]
        first = (since < FRESH_S) | np.isnan(self.open_k[p])
        rise = np.fmax(mean_k - self.open_k[p], 0.0)
        risen = np.where(first, 0.0, rise)
        self.open_k[p] = np.where(first, mean_k, self.open_k[p])
        regained = word > self.was_k[p] + risen - drop_k / 4
        near = word > mean_k - drop_k
        begun = np.where(np.isnan(self.near_s[p]), now_s, self.near_s[p])
        self.near_s[p] = np.where(regained | near, begun, np.nan)
        back = ((since < BRIEF_S) & regained) | (now_s - self.near_s[p] >= NEAR_S)
        self.since_s[p[back]] = np.nan
        self.peak_k[p[back]] = np.minimum(word[back], 1023.97)

    def clear(self, cols: int) -> BoolArray:
        """Return which pixels neither are covered nor share a side with one that is."""
        hidden = ~np.isnan(self.since_s).reshape(-1, cols)
        near = hidden.copy()
        near[1:] |= hidden[:-1]
        near[:-1] |= hidden[1:]
        near[:, 1:] |= hidden[:, :-1]
        near[:, :-1] |= hidden[:, 1:]
        return np.asarray(~near.ravel())


@dataclass(frozen=True)
class Counted:
    """What one frame shows of one pan."""

    every: int
    open_: int
    covered: int
    fresh: int
    dead: int
    hot: int
    under: int
    whole_k: float
    mean_k: float
    plain_k: float
    """Weighted mean of the open pixels, whatever is reported."""
    low_k: float
    high_k: float
    hottest_k: float


def counted(
    frame: FloatArray,
    *,
    place: tuple[IntArray, FloatArray, bool, float],
    hot: IntArray,
    covered: Covered,
    shape: tuple[int, float, str],
) -> Counted:
    """Return what one frame shows of one pan.

    ``place`` is pixels, weights, whether it is a liquid, and the unread share of the pan;
    ``hot`` is (window, pixel); ``shape`` is columns, now and reporter.
    """
    where, weight, liquid, rim = place
    cols, now_s, reporter = shape
    value = frame[where]
    inside = (weight > 0) & ~np.isnan(value)
    hidden = ~np.isnan(covered.since_s[where]) & (not liquid)
    fresh = hidden & (now_s - covered.since_s[where] < FRESH_S)
    clear = covered.clear(cols)[where] | liquid
    open_ = inside & ~hidden & clear & np.isfinite(value)
    known = inside & np.isfinite(value)
    mean_k, ends = _mean(value[open_], weight[open_], reporter, 0.0 if liquid else rim)
    windows = frame[hot]
    usable = np.isfinite(windows) & (np.isnan(covered.since_s[hot]) | liquid)
    means = np.where(usable.all(axis=1), windows.mean(axis=1), -np.inf)
    hottest = float(means.max()) if means.size and np.isfinite(means).any() else np.nan
    return Counted(
        every=int(inside.sum()),
        open_=int(open_.sum()),
        covered=int((inside & hidden).sum()),
        fresh=int((inside & fresh).sum()),
        dead=int(np.isnan(value).sum()),
        hot=int(np.isposinf(value).sum()),
        under=int((inside & ~hidden & np.isneginf(value)).sum()),
        whole_k=float(value[known].mean()) if known.any() else np.nan,
        mean_k=mean_k,
        plain_k=float(np.average(value[open_], weights=weight[open_])) if open_.any() else np.nan,
        low_k=ends[0],
        high_k=ends[1],
        hottest_k=hottest,
    )


def _mean(
    value: FloatArray, weight: FloatArray, reporter: str, rim: float
) -> tuple[float, tuple[float, float]]:
    n = value.size
    if n == 0:
        return float("nan"), (float("nan"), float("nan"))
    laid = np.sort(value)
    ends = (float(laid[n // 20]), float(laid[(19 * n + 19) // 20 - 1]))
    if reporter == "mean":
        mean = float(np.average(value, weights=weight))
        return mean - rim * max(mean - ends[0], 0.0), ends
    low, high = (
        (laid[n // 10], laid[n - 1 - n // 10])
        if reporter == "trimmed"
        else (laid[n // 2], laid[-1])
    )
    kept = (value >= low) & (value <= high)
    return float(np.average(value[kept], weights=weight[kept])), ends
