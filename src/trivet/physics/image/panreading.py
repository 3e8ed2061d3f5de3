"""Read a pan's pixels frame by frame: which are open, which are covered, how hot, how even.

A pixel counts where its centre lies inside the rim by the rule's trim. T is its temperature; P its
running peak, which falls by 5 K/s at most since no pan cools faster (bare ones below 2 K/s); B its
peak when it was covered; M the mean of the open pixels; D = ``drop_k``; D_min = ``least_drop_k``;
T_f the temperature of food out of a refrigerator. A pixel is

covered         when P - T > min(D, max(D_min, (P - T_f) / 2))
partly covered  when P - T > max(F / 10, D_min / 2), F being the largest B - T of the pixels covered
                in the last 2.5 s, as long as it lies within 2.5 pitches of a covered one
in the shadow   when it is covered or partly covered, or shares a side with a covered one
open            when it is not in the shadow

A covered pixel opens again, with R the rise of M since it was covered,

1. at once where T > B + R - D / 4 within 5 s (a hand);
2. where for 20 s T > B + R - D / 4 or T > M - D, and M - T has not grown meanwhile: the seared face
   of a piece that is turned comes up hot, but cools away from a pan that heats, while a bare spot
   catches up.

Percentiles are order statistics; of fewer than 20 open pixels P5 and P95 are the extremes. The
figures are those of the registry of thresholds (``cover_...``).

The hot spot is the centroid of what lies less than a margin under the hottest 5 cm2, weighted by
the height over that level; the margin is three times the noise, at least 15 % of P95 - P5. Its
reach is the rms distance of these pixels per axis, with a pixel's own size: it bounds the error of
a compact spot's place; for a ring or an even pan it is as large as the ring or the pan.
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
from trivet.physics.image.ranks import (
    bracketed,
    lay_out,
    mean_between,
    rank_value,
    set_brackets,
    upper_mode,
)

compiled = family(Path(__file__).parent)

SECTORS = 8  # eighths of the circle, from +x counter-clockwise
OUTER_FROM = threshold("part_outer_frac")
NOISE_TIMES, SPAN_SHARE = threshold("part_noise_factor"), threshold("part_span_frac")
HOT_X, HOT_Y, HOT_REACH, SECTOR = range(4)
PARTS = SECTOR + SECTORS  # numbers of a frame


@compiled
def sector_of(x: float, y: float) -> int:
    """Return the eighth of the circle that a direction lies in."""
    steep = abs(y) > abs(x)
    if y >= 0.0:
        if x > 0.0:
            return 1 if steep else 0
        return 2 if steep else 3
    if x < 0.0:
        return 5 if steep else 4
    return 6 if steep else 7


@compiled
def read_parts(frame: Any, pan: Any, fixed: Any, covers: Any, levels: Any, out: Any) -> None:  # noqa: PLR0917
    """Fill a frame's hot spot and the means of its sectors; NaN where nothing is open.

    ``levels`` holds the hottest 5 cm2, P95 - P5 and the noise of a pixel; ``out`` has PARTS places.
    """
    place, trim = fixed
    hottest, span, noise = levels
    level = hottest - max(NOISE_TIMES * noise, SPAN_SHARE * span)
    outer = pan[RADIUS] - 0.5 * place.pitch_m
    most2 = outer * outer if outer >= 0.0 else -1.0
    inner = max(pan[RADIUS] - trim, 0.0)
    inner2, from2 = inner * inner, (OUTER_FROM * pan[RADIUS]) ** 2
    total, sum_x, sum_y, square = 0.0, 0.0, 0.0, 0.0
    sums, counts = np.zeros(SECTORS), np.zeros(SECTORS)
    for p in range(frame.size):
        dx, dy = place.x_m[p] - pan[X], place.y_m[p] - pan[Y]
        away2 = dx * dx + dy * dy
        value = frame[p]
        if away2 > most2 or not math.isfinite(value) or not math.isnan(covers.shadow[p]):
            continue
        if value > level:
            weight = value - level
            total += weight
            sum_x += weight * dx
            sum_y += weight * dy
            square += weight * away2
        if from2 <= away2 <= inner2:
            k = sector_of(dx, dy)
            sums[k] += value
            counts[k] += 1.0
    out[:] = np.nan
    if total > 0.0:
        x, y = sum_x / total, sum_y / total
        about2 = max(square / total - x * x - y * y, 0.0)
        out[HOT_X], out[HOT_Y] = pan[X] + x, pan[Y] + y
        out[HOT_REACH] = math.sqrt(0.5 * about2 + place.pitch_m * place.pitch_m / 12.0)
    for k in range(SECTORS):
        if counts[k] > 0.0:
            out[SECTOR + k] = sums[k] / counts[k]


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
HIDDEN, CHANGED, RENEWED = range(3)  # places of the counts of covers
# Columns of a frame's statistics.
(
    PIXELS, OPEN_PIXELS, SATURATED, DEAD, MEAN_K, P5_K, P95_K, HOTTEST_K, COVERED_FRAC,
    NEW_COVERED_FRAC, WHOLE_K, UPPER_MODE_K, PARTS_FROM,
) = range(13)  # fmt: skip
COLUMNS = PARTS_FROM + PARTS  # of a frame: the last ones are its hot spot and sectors


class ReadingRule(NamedTuple):
    """Constants of the reading.

    trim_m : distance from the rim within which pixels mix with what lies outside [m]
    drop_k : a pixel that falls by more than this within about 2 s has been covered [K]
    least_drop_k : smallest fall that tells a covered pixel from noise and convection [K]
    sees_food : False for liquids, whose surface moves
    hottest_m2 : hottest part of a pan that counts [m2]
    reads_mode : whether the mode of the hotter half of the pixels is asked for; it takes a sort
    noise_k : noise of one pixel [K]
    """

    trim_m: float
    drop_k: float = threshold("cover_drop_k")
    least_drop_k: float = threshold("cover_drop_min_k")
    sees_food: bool = True
    hottest_m2: float = threshold("hottest_area_m2")
    reads_mode: bool = False
    noise_k: float = 0.0


def rim_trim_m(blur_px: float, *, footprint_m: float) -> float:
    """Return the distance from a pan's rim within which pixels mix with what lies outside.

    blur_px : standard deviation of the blur [px]
    footprint_m : side of a pixel's footprint [m]
    Returns : distance [m]
    """
    return (threshold("rim_trim_px") + threshold("rim_trim_blurs") * blur_px) * footprint_m


class Covers(NamedTuple):
    """What is remembered of each pixel, arrays (pixel,).

    peak_k, before_k : running peak; the peak when it was covered [K]
    since_s : moment since which it is covered; NaN open [s]
    open_k : mean of the open pixels when it was covered [K]
    near_s : moment since which a covered one is near the open ones; NaN not near [s]
    near_k : by how much it was then colder than they [K]
    last_s : (1,) moment of the last frame [s]
    part : 1 where a pixel sees food in part beside covered ones; NaN where not
    shadow : 1 where a pixel lies in the shadow; NaN open
    counts : (3,) pixels that are covered, whether one has changed, how often the shadow was renewed
    """

    peak_k: FloatArray
    before_k: FloatArray
    since_s: FloatArray
    open_k: FloatArray
    near_s: FloatArray
    near_k: FloatArray
    last_s: FloatArray
    part: FloatArray
    shadow: FloatArray
    counts: IntArray


def no_covers(pixels: int) -> Covers:
    """Return the memory of pixels of which nothing has been seen, 64 bytes each.

    pixels : pixels of the region
    """
    since, near, part, shadow = (np.full(pixels, np.nan) for _ in range(4))
    peak, before, opened, near_k = (np.full(pixels, start) for start in (-np.inf, 0.0, 0.0, 0.0))
    last, counts = np.full(1, np.nan), np.zeros(3, np.int64)
    return Covers(peak, before, since, opened, near, near_k, last, part, shadow, counts)


@compiled
def read_frame(frame: Any, pan: Any, now: float, fixed: Any, covers: Any, out: Any) -> None:  # noqa: PLR0917
    """Fill one frame's statistics and carry on which pixels are covered.

    ``pan`` is the pan's memory; ``fixed`` RegionPixels, ReadingRule, FinderScratch; ``covers`` is
    continued in place. ``out`` has COLUMNS places: counts inside the trimmed rim, open, saturated
    and dead; mean and percentiles of the open ones; the hottest 5 cm2; the covered share, the share
    covered for less than 2.5 s, the mean of all, the mode of the hotter half of the open ones where
    asked for, and the hot spot and sectors.
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
            out[UPPER_MODE_K] = upper_mode(np.sort(room.first[:count]), count)
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
