"""What each pixel of a burner's region shows: by its place, its past, and its neighbours.

Place says whether a pixel lies inside the rim, and there on base or wall. The past says which
pixels were covered (``panreading``). Their level against that of the open pan then says for how
much of a footprint that holds, so that a pixel which a corner of food chills stays pan.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, Int8Array
from trivet.facts.thresholds import threshold
from trivet.physics.image.panreading import FRESH_S, Covers

HOB, PAN, LIQUID, FOOD, WALL, LID, HAND, STEAM = range(8)
LABEL_COUNT = 8  # of the labels above
LEVEL_BINS = 64  # own estimate: of the histogram between the least and the greatest value
SUBPIXELS = 8  # own estimate: points across a pixel at which rim and base are looked up
MOST = 0.5  # a pixel is what most of its footprint shows
SKIN_K = (threshold("label_skin_low_k"), threshold("label_skin_high_k"))
LID_SHARE = threshold("label_lid_share_frac")
MIN_STEP_K = threshold("label_step_min_k")
MIXED_U = 1 / math.sqrt(12.0)  # u of a mixed pixel's share: uniform from 0 to 1
LEVEL_U = threshold("label_level_u_frac")


@dataclass(frozen=True)
class RimView:
    """A pan's rim and base as seen: circles on the cooktop plane, from the burner's centre.

    rim, base : x, y, radius [m]
    rim_u_m : standard uncertainty of either radius [m]
    """

    rim: tuple[float, float, float]
    base: tuple[float, float, float]
    rim_u_m: float


@dataclass(frozen=True)
class RegionLabels:
    """Labels of a region's pixels, and the area of each label inside the rim."""

    label: Int8Array
    inside: BoolArray
    area_px: FloatArray
    area_u_px: FloatArray


def split_level(values: FloatArray) -> float:
    """Return the level that best parts values into two classes.

    values : (n,) finite, any unit; two or more
    Returns : upper edge of the last bin of the lower class: no value of that class lies over it
    Notes : The largest variance between classes, over all bin edges; of edges that do equally well,
        as all of an empty gap do, the lowest. The centre of that bin would leave its own upper half
        to the wrong class.
    Source : Otsu (1979), IEEE Trans. Syst. Man Cybern. 9, 62; from memory
    """
    counts, edges = np.histogram(values, bins=LEVEL_BINS)
    middle = 0.5 * (edges[1:] + edges[:-1])
    below = np.cumsum(counts)[:-1].astype(np.float64)
    above = counts.sum() - below
    low_sum = np.cumsum(counts * middle)[:-1]
    high_sum = (counts * middle).sum() - low_sum
    apart = high_sum / np.maximum(above, 1.0) - low_sum / np.maximum(below, 1.0)
    between = np.where((below > 0) & (above > 0), below * above * apart**2, -1.0)
    return float(edges[1 + int(np.argmax(between))])


def region_labels(
    frame_k: FloatArray,
    *,
    plane_m: tuple[FloatArray, FloatArray, float],
    seen: RimView | None,
    covers: Covers,
    surface: int,
    veil: int | None = None,
) -> RegionLabels:
    """Return what each pixel of a burner's region shows at the moment of the last frame.

    frame_k : (pixel,) that frame, in apparent temperature before the window; NaN dead [K]
    plane_m : (pixel,), (pixel,), float places of the pixels on the cooktop, from the burner's
        centre, and their pitch [m]
    seen : the pan; None where none has been found
    covers : what the pass remembers of the pixels after that frame
    surface : PAN, LIQUID or LID: what the open base shows
    veil : HAND where a hand is known to be before a liquid, STEAM where steam is
    Returns : hob outside the outline of rim and base
    Notes : A pixel is what most of its footprint shows, blur aside. What covers a pan is a hand for
        2.5 s where it is as warm as skin, a lid where it covers 90 %, else food. A hand beside a
        pan is as warm as the hob and not seen.
    Source : Own rules
    """
    label = np.full(frame_k.size, HOB, dtype=np.int8)
    area, area_u = np.zeros(LABEL_COUNT), np.zeros(LABEL_COUNT)
    if seen is None:
        return RegionLabels(label, np.zeros(frame_k.size, dtype=np.bool_), area, area_u)
    in_rim, in_base = (_share(plane_m, circle) for circle in (seen.rim, seen.base))
    # Beyond the near rim lies the wall's outer face, under the far one its inner face.
    on_base, in_rim = np.minimum(in_rim, in_base), np.maximum(in_rim, in_base)
    inside = in_rim >= MOST
    label[inside] = np.where(on_base[inside] >= MOST, surface, WALL)
    sought = inside if veil != HAND else on_base >= MOST  # a wall is colder than a liquid anyway
    cover, word, mixed = _covered(frame_k, sought, covers, veil)
    label[inside & (cover >= MOST)] = word
    if veil == STEAM:
        label[inside & (label == surface)] = STEAM
        surface = STEAM
    area[surface] = (on_base * (1.0 - cover)).sum()
    area[WALL] = ((in_rim - on_base) * (1.0 - cover)).sum()
    area[word] += (in_rim * cover).sum()
    pitch = plane_m[2]
    rim_u = 2.0 * math.pi * seen.rim[2] * seen.rim_u_m / pitch**2
    area_u[WALL] = min(math.sqrt(2.0) * rim_u, in_rim.sum())
    cover_u = math.hypot(LEVEL_U * area[word], MIXED_U * math.sqrt(mixed)) if mixed else 0.0
    area_u[word] = max(area_u[word], cover_u) if word == surface else cover_u
    area_u[surface] = math.hypot(rim_u, cover_u)
    return RegionLabels(label, inside, area, area_u)


def _share(plane_m: tuple[FloatArray, FloatArray, float], circle: tuple[float, ...]) -> FloatArray:
    """Return the share of each pixel's square that lies in a circle."""
    x, y, pitch = plane_m
    centre_x, centre_y, radius = circle
    away = np.hypot(x - centre_x, y - centre_y)
    share = (away <= radius).astype(np.float64)
    near = np.flatnonzero(np.abs(away - radius) <= pitch)
    step = (np.arange(SUBPIXELS) + 0.5) / SUBPIXELS - 0.5
    px = x[near, None, None] + pitch * step[:, None] - centre_x
    py = y[near, None, None] + pitch * step[None, :] - centre_y
    share[near] = (px**2 + py**2 <= radius**2).mean(axis=(1, 2))
    return share


def _covered(
    frame_k: FloatArray, inside: BoolArray, covers: Covers, veil: int | None
) -> tuple[FloatArray, int, int]:
    """Return what share of each pixel is covered, by what, and how many are mixed."""
    none = np.zeros(frame_k.size)
    finite = np.isfinite(frame_k)
    past = np.isfinite(covers.since_s) & inside & finite
    maybe = (past | np.isfinite(covers.shadow)) & inside & finite
    if veil == HAND and not past.any():
        maybe = past = inside & finite
    if not past.any():
        return none, FOOD, 0
    open_ = inside & finite & ~maybe
    values = frame_k[inside & finite]
    level = split_level(values) if values.size > 1 else math.inf
    high = float(np.median(frame_k[open_])) if open_.any() else float(np.quantile(values, 0.75))
    low = float(np.quantile(frame_k[past], 0.2))
    word = _what_covers(covers, past, low, share=past.sum() / max(inside.sum(), 1))
    if veil == HAND:
        word = HAND
    if word == LID:
        return np.where(inside, 1.0, 0.0), LID, 0
    if high - low < MIN_STEP_K:  # as warm as the pan: the past alone tells
        return np.where(past, 1.0, 0.0), word, int(past.sum())
    part = np.clip((high - frame_k) / (high - low), 0.0, 1.0)
    # A pixel of the lower class is what covers, one of the upper class is not.
    part = np.where(frame_k <= level, np.maximum(part, MOST), np.minimum(part, MOST - 1e-9))
    cover = np.where(maybe, part, 0.0)
    mixed = int(((cover > 0.1) & (cover < 0.9)).sum())
    return cover, word, mixed


def _what_covers(covers: Covers, past: BoolArray, low_k: float, *, share: float) -> int:
    """Return what covers a pan: lid, hand or food."""
    age = covers.last_s[0] - covers.since_s[past]
    fresh = float(np.median(age)) < FRESH_S
    if fresh and SKIN_K[0] <= low_k <= SKIN_K[1]:
        return HAND
    return LID if share >= LID_SHARE and not fresh else FOOD
