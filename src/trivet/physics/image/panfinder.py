"""Find the pan on a burner from its thermal contrast, frame by frame and causally.

Each pixel's share of the contrast, between background and the hot part of the region, weighs its
place: the centroid is the pan's centre, and the outermost radius at which the ring mean falls
through half is its radius. Both follow with a time constant while the contrast suffices and stand
still otherwise, so a frame never depends on later ones.

With footprints of 23 mm and a pan of 240 mm the radius of a uniform disc is found within about 6 mm
and its centre within 4 mm (tests/physics). A rim cooler than half contrast pulls the radius in,
which trims the reading more. An edge blurred symmetrically keeps its half-level place (own
derivation).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray, IntArray
from trivet.facts.thresholds import threshold
from trivet.physics.compiled import family
from trivet.physics.image.ranks import bracketed, lay_out, mean_between, set_brackets

compiled = family(Path(__file__).parent)

FOLLOW_S = threshold("finder_follow_s")
HOTTEST_BELIEVED_K = 2000.0  # own estimate: a saturated pixel weighs as a hot one, not as infinity
PAN_SHARE = threshold("finder_share_frac")
COMPLETIONS = 6  # own estimate: steps towards the centre of a pan that is seen in part
STILL_M = 2.5e-4  # own estimate: a circle that moved by less is completed by as much as before
QUARTER_STEPS = 2  # steps of a quarter pixel that a footprint reaches either way
X, Y, RADIUS, LAST_S = range(4)  # places of a pan's memory


@dataclass(frozen=True)
class BurnerRegion:
    """The pixels that can belong to a pan on one burner.

    rows, cols : (pixel,) places in a frame
    x_m, y_m : (pixel,) centres on the pan's plane, from the burner's centre [m]
    area_m2 : (pixel,) footprints [m2]
    pitch_m : side of a square as large as a central footprint [m]
    edge_m : distance of the burner's centre to the nearest edge of the field; negative outside [m]
    """

    rows: npt.NDArray[np.intp]
    cols: npt.NDArray[np.intp]
    x_m: FloatArray
    y_m: FloatArray
    area_m2: FloatArray
    pitch_m: float
    edge_m: float


class RegionPixels(NamedTuple):
    """A region's pixels for the compiled loops.

    pixel : (pixel,) places in a frame laid out in one row
    x_m, y_m, away2_m2 : (pixel,) from the burner's centre; squared distance [m], [m2]
    runs : (run, 3) pixels that follow one another in the frame: first one here, in the frame, count
    """

    pixel: IntArray
    x_m: FloatArray
    y_m: FloatArray
    away2_m2: FloatArray
    pitch_m: float
    runs: IntArray


class FinderScratch(NamedTuple):
    """Places for as many values as the region has pixels, and for the ends of bins.

    brackets : (4, 2) between which temperatures the ranks of the last frame lay: two of the hot
        level, then P5 and P95 [K]
    """

    first: FloatArray
    second: FloatArray
    laid: FloatArray
    ends: IntArray
    brackets: FloatArray


class FinderRule(NamedTuple):
    """Constants of the search.

    smallest_m, largest_m : radii that a pan can have [m]
    least_contrast_k : contrast under which no edge is sought [K]
    """

    smallest_m: float
    largest_m: float
    least_contrast_k: float


@compiled
def take_pixels(row: Any, place: Any, out: Any) -> None:
    """Copy the region's pixels out of a frame laid out in one row."""
    for r in range(place.runs.shape[0]):
        here, there = place.runs[r, 0], place.runs[r, 1]
        for k in range(place.runs[r, 2]):
            out[here + k] = row[there + k]


@compiled
def follow_pan(frame: Any, background: float, now: float, fixed: Any, memory: Any) -> float:
    """Take one frame into a pan's place and return the contrast of the region.

    ``frame`` holds the region's pixels; ``fixed`` is RegionPixels, FinderRule and FinderScratch;
    ``memory`` (X, Y, RADIUS, LAST_S) is continued in place.
    """
    place, rule, room = fixed
    hot = _hot_level(frame, place, 0.8 * rule.smallest_m + 0.5 * place.pitch_m, room)
    contrast = hot - background
    if contrast >= rule.least_contrast_k:
        x, y, total = _centre(frame, background, contrast, fixed)
        if total >= 1.5:
            radius = _radius(frame, x, y, fixed)
            if math.isnan(memory[RADIUS]):
                memory[X], memory[Y], memory[RADIUS] = x, y, radius
            gain = 1.0 - math.exp(-(now - memory[LAST_S]) / FOLLOW_S)
            memory[X] += gain * (x - memory[X])
            memory[Y] += gain * (y - memory[Y])
            memory[RADIUS] += gain * (radius - memory[RADIUS])
    memory[LAST_S] = now
    return contrast


@compiled
def _hot_level(frame: Any, place: Any, reach: float, room: Any) -> float:
    """Mean of the upper 50 to 95 % of the finite pixels near the burner's centre."""
    count = 0
    values = room.first
    for p in range(frame.size):
        value = frame[p]
        if place.away2_m2[p] <= reach * reach and not math.isnan(value):
            values[count] = min(value, HOTTEST_BELIEVED_K)
            count += 1
    if count == 0:
        return np.nan
    low, high = count // 2, max(count // 2 + 1, int(0.95 * count))
    brackets = room.brackets[:2]
    total: float = bracketed(values, count, (low, high - 1), room.laid, brackets)[2]
    if math.isfinite(total):
        return total / (high - low)
    laid = lay_out(values, count, room.laid, room.ends)
    level = mean_between(laid, count, room.ends, low, high)
    set_brackets(laid[low], laid[low:high].max(), brackets)
    return level


@compiled
def _centre(frame: Any, background: float, contrast: float, fixed: Any) -> Any:
    """Centroid of the contrast, and how many pixels' worth of it there is.

    Each pixel's share of the contrast stays in the room's first places, NaN where dead.
    """
    place, rule, room = fixed
    share = room.first
    total, sum_x, sum_y = 0.0, 0.0, 0.0
    reach = rule.largest_m + place.pitch_m
    for p in range(frame.size):
        share[p] = min(max((frame[p] - background) / contrast, 0.0), 1.0)
        if math.isnan(frame[p]):
            share[p] = np.nan
        elif share[p] >= PAN_SHARE and place.away2_m2[p] <= reach * reach:
            total += share[p]
            sum_x += share[p] * place.x_m[p]
            sum_y += share[p] * place.y_m[p]
    if total == 0.0:
        return 0.0, 0.0, 0.0
    return sum_x / total, sum_y / total, total


@compiled
def _radius(frame: Any, x: float, y: float, fixed: Any) -> float:
    """Outermost radius at which the ring mean falls through half of the largest one."""
    place, rule, room = fixed
    share = room.first
    step = 0.25 * place.pitch_m
    per_step = 1.0 / step
    rings = int((rule.largest_m + place.pitch_m) / step) + 1
    wide = rings + QUARTER_STEPS
    sums, alone, counts = np.zeros((3, wide + 1))
    away = room.second
    for p in range(frame.size):
        dx, dy = place.x_m[p] - x, place.y_m[p] - y
        away[p] = math.sqrt(dx * dx + dy * dy) * per_step
    for p in range(frame.size):
        ring = int(away[p])
        if ring < wide and not math.isnan(share[p]):
            alone[ring] += share[p]
            counts[ring] += 1.0
    largest, total, count = 0.0, 0.0, 0.0
    for ring in range(QUARTER_STEPS):
        total += alone[ring]
        count += counts[ring]
    for ring in range(rings):  # a pixel speaks for the rings two steps either way
        total += alone[ring + QUARTER_STEPS]
        count += counts[ring + QUARTER_STEPS]
        if ring > QUARTER_STEPS:
            total = max(total - alone[ring - QUARTER_STEPS - 1], 0.0)
            count -= counts[ring - QUARTER_STEPS - 1]
        sums[ring] = total / count if count > 0.0 else 0.0
        largest = max(largest, sums[ring])
    half = 0.5 * largest
    radius = rule.largest_m
    for ring in range(rings - 1, 0, -1):
        if sums[ring - 1] >= half > sums[ring]:
            part = (sums[ring - 1] - half) / (sums[ring - 1] - sums[ring])
            radius = (ring - 0.5 + part) * step
            break
    bounded: float = min(max(radius, rule.smallest_m), rule.largest_m)
    return bounded


def whole_centres(
    circles_m: FloatArray,
    *,
    place: RegionPixels,
    reach_m: float,
    edge_m: float,
    memory: FloatArray | None = None,
) -> FloatArray:
    """Return the centres of discs of which only a part lies in the region or the frame.

    circles_m : (time, 3) centroid of the part that is seen, and radius; NaN before a pan was found
        [m]
    place : the region
    reach_m : distance from the burner's centre within which pixels count [m]
    edge_m : distance from the burner's centre to the nearest edge of the frame [m]
    memory : (5,), optional the last circle completed and by how much, NaN before; continued in
        place from block to block
    Returns : (time, 2) completed anew where the circle has moved by 0.25 mm since [m]
    Notes : The disc's part in the region has the centroid that was found; one that lies wholly in
        it is left as it is. Even discs of 240 mm that the frame cuts by 30 to 50 mm, or that stand
        36 mm off their burner: within 8 mm (tests/stages/estimate). About 20 ns a pixel.
    Source : Own derivation
    """
    out = np.empty((circles_m.shape[0], 2))
    last = np.full(5, np.nan) if memory is None else memory
    _whole_centres(np.ascontiguousarray(circles_m), place, (reach_m, edge_m), last, out)
    return out


@compiled
def _whole_centres(circles: Any, place: Any, limits: Any, last: Any, out: Any) -> None:
    reach, edge = limits
    for t in range(circles.shape[0]):
        x, y, radius = circles[t, 0], circles[t, 1], circles[t, 2]
        out[t, 0], out[t, 1] = x, y
        outermost = math.sqrt(x * x + y * y) + radius
        if not outermost + 0.5 * place.pitch_m > min(reach, edge):
            continue
        moved = max(abs(x - last[0]), abs(y - last[1]), abs(radius - last[2]))
        if moved <= STILL_M:
            out[t, 0], out[t, 1] = x + last[3], y + last[4]
            continue
        found_x, found_y = x, y
        for _ in range(COMPLETIONS):
            total, sum_x, sum_y = 0.0, 0.0, 0.0
            for p in range(place.x_m.size):
                if place.away2_m2[p] > reach * reach:
                    continue
                dx, dy = place.x_m[p] - found_x, place.y_m[p] - found_y
                part = 0.5 + (radius - math.sqrt(dx * dx + dy * dy)) / place.pitch_m
                if part >= PAN_SHARE:
                    part = min(part, 1.0)
                    total += part
                    sum_x += part * place.x_m[p]
                    sum_y += part * place.y_m[p]
            if total < 1.5:
                break
            found_x += x - sum_x / total
            found_y += y - sum_y / total
        off_x, off_y = found_x - x, found_y - y
        if off_x * off_x + off_y * off_y > radius * radius:
            off_x, off_y = 0.0, 0.0
        last[0], last[1], last[2], last[3], last[4] = x, y, radius, off_x, off_y
        out[t, 0], out[t, 1] = x + off_x, y + off_y
