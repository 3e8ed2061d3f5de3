"""Read a pan's pixels frame by frame: what is open, what is covered, how hot, how even.

A pixel counts where its centre lies inside the rim by the rule's trim. It is covered from the
moment it falls faster than a pan can cool (5 K/s; bare pans on a dead burner cool below 2 K/s) by
``drop_k``, or by half of what separates a cooler pan from food out of the refrigerator. A neighbour
that falls at the same time by a tenth of the largest fall sees food in part and counts neither way.
It is open again at once when it regains three quarters of the fall within 5 s (a hand), later only
when it has for 20 s regained that and what the open ones rose meanwhile, or stayed within
``drop_k`` of them, and has not fallen further behind them: the seared face of a piece that is
turned comes up hot, but cools away from a pan that heats, while a bare spot catches up. Pixels that
share a side with a covered one count neither as open nor as covered.

Percentiles are of order statistics, without interpolation; with fewer than 20 open pixels P5 and
P95 are the extremes. Cooling rate: 30 W/m2/K of loss at 250 K excess over 4 kJ/m2/K of a light pan
is 1.9 K/s (own estimate).
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.facts.thresholds import threshold
from trivet.physics.compiled import family
from trivet.physics.image.panfinder import RADIUS, X, Y
from trivet.physics.image.ranks import bracketed, lay_out, mean_between, rank_value, set_brackets
from trivet.physics.image.unevenness import PARTS, read_parts

compiled = family(Path(__file__).parent)

FASTEST_COOLING_KPS = threshold("cover_cooling_kps")
FRESH_S = threshold("cover_fresh_s")
BRIEF_S = threshold("cover_brief_s")
NEAR_S = threshold("cover_near_s")
FRIDGE_K = threshold("cover_food_k")
HALF = threshold("cover_half_frac")
PART = threshold("cover_part_frac")
PART_REACH = threshold("cover_part_reach_px")
NEXT = threshold("cover_next_px")
REGAINED = threshold("cover_regained_frac")
HIDDEN, CHANGED, RENEWED = range(3)
"""Places of the counts of covers."""
# Columns of a frame's statistics.
(
    PIXELS, OPEN_PIXELS, SATURATED, DEAD, MEAN_K, P5_K, P95_K, HOTTEST_K, COVERED_FRAC,
    NEW_COVERED_FRAC, WHOLE_K, UPPER_MODE_K, PARTS_FROM,
) = range(13)  # fmt: skip
COLUMNS = PARTS_FROM + PARTS
"""The last ones are those of ``unevenness``."""


class ReadingRule(NamedTuple):
    """Constants of the reading."""

    trim_m: float
    """Distance from the rim within which pixels mix with what lies outside. [m]"""
    drop_k: float = threshold("cover_drop_k")
    """A pixel that falls by more than this within about 2 s has been covered. [K]"""
    least_drop_k: float = threshold("cover_drop_min_k")
    """Smallest fall that tells a covered pixel from noise and convection. [K]"""
    sees_food: bool = True
    """False for liquids, whose surface moves."""
    hottest_m2: float = threshold("hottest_area_m2")
    reads_mode: bool = False
    """Whether the mode of the hotter half of the pixels is asked for; it takes a sort."""
    noise_k: float = 0.0
    """Noise of one pixel. [K]"""


def rim_trim_m(blur_px: float, *, footprint_m: float) -> float:
    """Return the distance from a pan's rim within which pixels mix with what lies outside.

    blur_px : standard deviation of the blur [px]
    footprint_m : side of a pixel's footprint [m]
    Returns : distance [m]
    """
    return (threshold("rim_trim_px") + threshold("rim_trim_blurs") * blur_px) * footprint_m


class Covers(NamedTuple):
    """What is remembered of each pixel, arrays (pixel,); ``last_s`` is (1,)."""

    peak_k: FloatArray
    before_k: FloatArray
    since_s: FloatArray
    """Moment since which it is covered; NaN open."""
    open_k: FloatArray
    """Mean of the open pixels when it was covered."""
    near_s: FloatArray
    """Moment since which a covered one is near the open ones; NaN not near."""
    near_k: FloatArray
    """By how much it was then colder than they."""
    last_s: FloatArray
    part: FloatArray
    """1 where a pixel sees food in part beside covered ones; NaN where not."""
    shadow: FloatArray
    """1 where a pixel is covered or so near a covered one that it mixes with it; NaN open."""
    counts: IntArray
    """(3,) pixels that are covered, whether one has changed, how often the shadow was renewed."""


def no_covers(pixels: int) -> Covers:
    """Return the memory of pixels of which nothing has been seen.

    pixels : pixels of the region
    Notes : 64 bytes a pixel.
    """
    return Covers(
        np.full(pixels, -np.inf),
        np.zeros(pixels),
        np.full(pixels, np.nan),
        np.zeros(pixels),
        np.full(pixels, np.nan),
        np.zeros(pixels),
        np.full(1, np.nan),
        np.full(pixels, np.nan),
        np.full(pixels, np.nan),
        np.zeros(3, np.int64),
    )


@compiled
def read_frame(frame: Any, pan: Any, now: float, fixed: Any, covers: Any, out: Any) -> None:  # noqa: PLR0917
    """Fill one frame's statistics and carry on which pixels are covered.

    ``pan`` is the pan's memory; ``fixed`` holds Place, ReadingRule and Room; ``covers`` is
    continued in place. ``out`` has COLUMNS places: counts inside the trimmed rim, open, saturated
    and dead; mean and percentiles of the open ones; the hottest 5 cm2; the covered share, the share
    covered for less than 2.5 s, the mean of all, the mode of the hotter half of the open ones where
    asked for, and the parts of ``unevenness``.
    """
    place, rule, room = fixed
    step = 0.0 if math.isnan(covers.last_s[0]) else now - covers.last_s[0]
    covers.last_s[0] = now
    _cover(frame, now, step, rule, covers)
    if covers.counts[CHANGED]:
        _shade(place, NEXT * place.pitch_m, covers)
        covers.counts[CHANGED] = 0
        covers.counts[RENEWED] += 1
    out[:MEAN_K] = 0.0
    out[MEAN_K:COVERED_FRAC] = np.nan
    out[COVERED_FRAC:WHOLE_K] = 0.0
    out[WHOLE_K:] = np.nan
    if not math.isnan(pan[RADIUS]):
        count, wide_count = _gather(frame, pan, now, fixed, covers, out)
        _statistics(room, count, out)
        if rule.reads_mode and count > 0:
            out[UPPER_MODE_K] = _upper_mode(np.sort(room.first[:count]), count)
        if wide_count:
            square = place.pitch_m * place.pitch_m
            take = min(wide_count, max(1, round(rule.hottest_m2 / square)))
            out[HOTTEST_K] = _hottest(room, wide_count, take, out[P95_K])
            levels = (out[HOTTEST_K], out[P95_K] - out[P5_K], rule.noise_k)
            read_parts(frame, pan, (place, rule.trim_m), covers, levels, out[PARTS_FROM:])
        _uncover(frame, now, out[MEAN_K], rule, covers)


@compiled
def _cover(frame: Any, now: float, step: float, rule: Any, covers: Any) -> None:
    peak, before, since = covers.peak_k, covers.before_k, covers.since_s
    cooled, fallen = FASTEST_COOLING_KPS * step, 0
    for p in range(frame.size):
        value = frame[p]
        known = math.isnan(since[p]) and not math.isnan(value)
        highest = max(value, peak[p] - cooled) if known else peak[p]
        peak[p] = highest
        fallen += known and value < highest - _enough_k(highest, rule)
    deepest = 0.0
    if covers.counts[HIDDEN]:
        for p in range(frame.size):
            if now - since[p] < FRESH_S and not math.isnan(frame[p]):
                deepest = max(deepest, before[p] - frame[p])
    if fallen and rule.sees_food:
        for p in range(frame.size):
            value, highest = frame[p], peak[p]
            if math.isnan(since[p]) and value < highest - _enough_k(highest, rule):
                since[p] = now
                before[p] = highest
                deepest = max(deepest, highest - value)
                covers.counts[HIDDEN] += 1
                covers.counts[CHANGED] = 1
    if deepest > 0.0:
        least = max(PART * deepest, HALF * rule.least_drop_k)
        for p in range(frame.size):
            partly = math.isnan(since[p]) and peak[p] - frame[p] > least
            if partly and math.isnan(covers.part[p]):
                covers.part[p] = 1.0
                covers.counts[CHANGED] = 1


@compiled
def _enough_k(peak_k: float, rule: Any) -> float:
    """By how much a pixel that was as hot as this must fall to be covered."""
    least: float = min(rule.drop_k, max(rule.least_drop_k, HALF * (peak_k - FRIDGE_K)))
    return least


@compiled
def _shade(place: Any, reach: float, covers: Any) -> None:
    """A footprint that the blur lets reach a covered pixel sees food and pan together."""
    covers.shadow[:] = np.nan
    wide = reach * PART_REACH / NEXT
    for p in range(covers.shadow.size):
        if math.isnan(covers.since_s[p]):
            continue
        for q in range(covers.shadow.size):
            dx, dy = place.x_m[q] - place.x_m[p], place.y_m[q] - place.y_m[p]
            away2 = dx * dx + dy * dy
            if away2 <= reach * reach or (covers.part[q] > 0.0 and away2 <= wide * wide):
                covers.shadow[q] = 1.0
    for q in range(covers.shadow.size):
        if math.isnan(covers.shadow[q]):
            covers.part[q] = np.nan


@compiled
def _uncover(frame: Any, now: float, open_k: float, rule: Any, covers: Any) -> None:
    since, near = covers.since_s, covers.near_s
    if covers.counts[HIDDEN] == 0:
        return
    for p in range(frame.size):
        value = frame[p]
        if math.isnan(since[p]) or math.isnan(value):
            continue
        risen = 0.0
        if now - since[p] < FRESH_S or math.isnan(covers.open_k[p]):
            covers.open_k[p] = open_k  # the food's place itself no longer counts in it
        elif open_k > covers.open_k[p]:
            risen = open_k - covers.open_k[p]
        regained = value > covers.before_k[p] + risen - REGAINED * rule.drop_k
        if not (regained or value > open_k - rule.drop_k):
            near[p] = np.nan
        elif math.isnan(near[p]):
            near[p] = now
            covers.near_k[p] = open_k - value
        brief = now - since[p] < BRIEF_S
        long = now - near[p] >= NEAR_S
        if long and open_k - value > max(covers.near_k[p], HALF * rule.least_drop_k):
            near[p] = now
            covers.near_k[p] = open_k - value
        elif long or (brief and regained):
            since[p] = np.nan
            near[p] = np.nan
            covers.peak_k[p] = value
            covers.part[p] = 1.0  # as long as something beside it is covered
            covers.counts[HIDDEN] -= 1
            covers.counts[CHANGED] = 1


@compiled
def _gather(frame: Any, pan: Any, now: float, fixed: Any, covers: Any, out: Any) -> Any:  # noqa: PLR0917
    """Count the pan's pixels; put the open ones in the first room, with the rim in the second."""
    place, rule, room = fixed
    values, wide = room.first, room.second
    inner, outer = pan[RADIUS] - rule.trim_m, pan[RADIUS] - 0.5 * place.pitch_m
    inner2 = inner * inner if inner >= 0.0 else -1.0
    most2 = max(inner2, outer * outer if outer >= 0.0 else -1.0)
    count, wide_count, covered, fresh, whole = 0, 0, 0, 0, 0.0
    for p in range(frame.size):
        dx, dy = place.x_m[p] - pan[X], place.y_m[p] - pan[Y]
        away2 = dx * dx + dy * dy
        if away2 > most2:
            continue
        value, hidden = frame[p], not math.isnan(covers.since_s[p])
        if math.isnan(value):
            out[DEAD] += 1.0
            continue
        if value == np.inf:
            out[SATURATED] += 1.0
        if not hidden:
            wide[wide_count] = value
            wide_count += 1
        if away2 > inner2:
            continue
        out[PIXELS] += 1.0
        whole += value
        if hidden:
            covered += 1
            fresh += 1 if now - covers.since_s[p] < FRESH_S else 0
        elif math.isfinite(value) and math.isnan(covers.shadow[p]):
            values[count] = value
            count += 1
    out[OPEN_PIXELS] = count
    if out[PIXELS] > 0:
        out[COVERED_FRAC], out[NEW_COVERED_FRAC] = covered / out[PIXELS], fresh / out[PIXELS]
        out[WHOLE_K] = whole / out[PIXELS]
    return count, wide_count


@compiled
def _hottest(room: Any, count: int, take: int, high: float) -> float:
    """Mean of the hottest ``take`` of the second room, sought above ``high`` if enough are."""
    above = 0
    for i in range(count):
        if room.second[i] >= high:
            room.first[above] = room.second[i]
            above += 1
    values = room.first
    if above < take:
        values, above = room.second, count
    laid = lay_out(values, above, room.laid, room.ends)
    return mean_between(laid, above, room.ends, above - take, above)


@compiled
def _statistics(room: Any, count: int, out: Any) -> None:
    if count == 0:
        return
    total = 0.0
    for i in range(count):
        total += room.first[i]
    out[MEAN_K] = total / count
    low, high = int(0.05 * count), min(math.ceil(0.95 * count), count) - 1
    brackets = room.brackets[2:]
    out[P5_K], out[P95_K], _ = bracketed(room.first, count, (low, high), room.laid, brackets)
    if math.isnan(out[P95_K]):
        laid = lay_out(room.first, count, room.laid, room.ends)
        out[P5_K] = rank_value(laid, count, room.ends, low)
        out[P95_K] = rank_value(laid, count, room.ends, high)
        set_brackets(out[P5_K], out[P95_K], brackets)


@compiled
def _upper_mode(rising: Any, count: int) -> float:
    """Middle of the shortest stretch that holds half of the hotter half, of rising values."""
    first = count // 2
    held = (count - first + 1) // 2
    best, width = first, np.inf
    for i in range(first, count - held + 1):
        if rising[i + held - 1] - rising[i] < width:
            best, width = i, rising[i + held - 1] - rising[i]
    middle: float = 0.5 * (rising[best] + rising[best + held - 1])
    return middle
