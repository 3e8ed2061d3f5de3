"""Concentric rings of a pan from blurred pixels: the rim is read, not trimmed away.

Every pixel is a weighed mean of rings, inner wall and background: its square footprint, widened by
the Gaussian blur, is sampled at 7 x 7 points. A point is seen through the rim, the circle that was
found, and lies on the base or beyond it on the far wall. Rings and wall follow by least squares
over the open pixels up to one pixel outside the rim, with a weak expectation that neighbouring
rings bend by no more than the rule says and that the wall is about as warm as the outer one.

Mixing is linear in radiance, so the fit is exact for a pan that varies with radius only and a blur
that is known. With 11 pixels across, a blur wrong by 30 % moves the outer ring by about 3 % of the
contrast and the area mean by under 1 %. Weights and inverse are kept until the circle moves by 0.5
mm or another set of pixels is open.

Reference: weighed least squares with a Gaussian prior, textbook form; own derivation.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray, IntArray
from trivet.physics.compiled import family
from trivet.physics.image.panfinder import RADIUS, X, Y
from trivet.physics.image.panreading import RENEWED

compiled = family(Path(__file__).parent)
reordered = family(Path(__file__).parent, reassociate=True)

RINGS = 5  # own estimate: of equal width; 11 pixels across tell no more
WALL, BESIDE = RINGS, RINGS + 1  # columns of the weights after the rings: wall, hob beside the pan
RING_POINTS = 7  # own estimate: points across a footprint, blur included
MOVED_M = 5e-4  # own estimate: weights and inverse are kept while a circle moves by less
RING_LANES = 16  # own estimate: places that a sum takes at once, in vector registers
USABLE, COVERED, NOT_FINITE = 0, 1, 2  # what a pixel is to the fit


class RingRule(NamedTuple):
    """Constants of a ring fit.

    noise : standard deviation of a pixel [W/m2/sr]
    bend : expected second difference between rings [W/m2/sr]
    eye_x_m, eye_y_m : foot of the head on the cooktop, from the burner's centre [m]
    rise_frac : height of the pan's rim over the height of the head
    rim_m : radius of the rim as projected onto the cooktop; NaN: the radius that was found [m]
    """

    blur_px: float
    noise: float
    bend: float
    eye_x_m: float = 0.0
    eye_y_m: float = 0.0
    rise_frac: float = 0.0
    rim_m: float = math.nan


class Contrast(NamedTuple):
    """A region's radiances over the hob's.

    over : (place,) 0 where a radiance is not finite, and beyond the last pixel [W/m2/sr]
    known : (pixel,) whether the radiance is finite
    """

    over: FloatArray
    known: npt.NDArray[np.uint8]


class RingFit(NamedTuple):
    """What a fit keeps from frame to frame.

    weights : (pixel, ring and wall and hob) shares of each pixel's signal
    circle : (3,) centre and radius that the weights are for; NaN none [m]
    state : (pixel,) USABLE, COVERED or NOT_FINITE when the inverse was made
    renewed : (2,) how often the shadow of food had been renewed when the states were looked at, and
        how many pixels were not finite then
    rows : (ring and wall, place) weights of the pixels of the fit; 0 for all others and beyond
    inverse : (ring and wall, ring and wall) of the normal matrix
    open_frac : (ring,) share of each ring's area that some open pixel sees: in the field, not
        behind the near wall, not under food
    """

    weights: FloatArray
    circle: FloatArray
    state: npt.NDArray[np.uint8]
    renewed: IntArray
    rows: FloatArray
    inverse: FloatArray
    open_frac: FloatArray


def no_contrast(pixels: int) -> Contrast:
    """Return room for the contrast of a region.

    pixels : pixels of the region
    Notes : 9 bytes a pixel; places come in whole vector registers.
    """
    return Contrast(np.zeros(_places(pixels)), np.zeros(pixels, np.uint8))


def _places(pixels: int) -> int:
    return -(-pixels // RING_LANES) * RING_LANES


def no_fit(pixels: int) -> RingFit:
    """Return the memory of a fit that has seen nothing.

    pixels : pixels of the region
    Notes : About 120 bytes a pixel.
    """
    return RingFit(
        np.zeros((pixels, RINGS + 2)),
        np.full(3, np.nan),
        np.zeros(pixels, np.uint8),
        np.full(2, -1, np.int64),
        np.zeros((RINGS + 1, _places(pixels))),
        np.zeros((RINGS + 1, RINGS + 1)),
        np.zeros(RINGS),
    )


def ring_area_frac(rings: int = RINGS) -> FloatArray:
    """Return the share of a disc's area in each of its rings of equal width.

    rings : number of rings
    Returns : (ring,) sums to 1
    Source : Area of an annulus
    """
    edges = np.arange(rings + 1) / rings
    return np.asarray(np.diff(edges**2))


@compiled
def take_contrast(row: Any, background: float, place: Any, contrast: Any) -> int:
    """Fill a region's contrast from a frame of radiances; return how many are not finite."""
    unknown = 0
    for r in range(place.runs.shape[0]):
        here, there = place.runs[r, 0], place.runs[r, 1]
        for k in range(place.runs[r, 2]):
            value = row[there + k]
            finite = math.isfinite(value)
            contrast.over[here + k] = value - background if finite else 0.0
            contrast.known[here + k] = finite
            unknown += not finite
    return unknown


@compiled
def fit_rings(contrast: Any, hob: Any, pan: Any, fixed: Any, fit: Any, out: Any) -> None:  # noqa: PLR0917
    """Fill one frame's rings: RINGS radiances, then the share of each that lies open.

    ``contrast`` is of the region, ``hob`` the background's radiance and how many of the region's
    are not finite; ``pan`` is the pan's memory; ``fixed`` RegionPixels, RingRule and Covers;
    ``fit`` is continued in place.
    """
    rule = fixed[1]
    radius = pan[RADIUS]
    if math.isnan(radius):
        out[:RINGS] = np.nan
        out[RINGS:] = 0.0
        return
    if not math.isnan(rule.rim_m):
        radius = rule.rim_m
    if _renewed(contrast.known, hob[1], (pan[X], pan[Y], radius), fixed, fit):
        _prepare(fit, fixed[0], rule)
    for i in range(RINGS):
        out[i] = hob[0]
        out[RINGS + i] = fit.open_frac[i]
    for j in range(RINGS + 1):
        right = _projected(fit.rows[j], contrast.over)
        for i in range(RINGS):
            out[i] += fit.inverse[i, j] * right


@reordered
def _projected(row: Any, contrast: Any) -> float:
    """Contrast of the pixels of the fit on one ring or the wall."""
    total = 0.0
    for p in range(row.size):
        total += row[p] * contrast[p]
    return total


@compiled
def _renewed(known: Any, unknown: int, circle: Any, fixed: Any, fit: Any) -> bool:
    """Renew weights and states where the circle has moved or a pixel has changed."""
    place, rule, covers = fixed
    moved = max(abs(circle[0] - fit.circle[0]), abs(circle[1] - fit.circle[1]))
    moved = max(moved, abs(circle[2] - fit.circle[2]))
    changed = math.isnan(fit.circle[2]) or moved > MOVED_M
    if changed:
        _weigh(fit.weights, circle, place, rule)
        fit.circle[0], fit.circle[1], fit.circle[2] = circle
    if unknown or fit.renewed[1] or fit.renewed[0] != covers.counts[RENEWED]:
        fit.renewed[0], fit.renewed[1] = covers.counts[RENEWED], unknown
        for p in range(known.size):
            state = USABLE if math.isnan(covers.shadow[p]) else COVERED
            if not known[p]:
                state = NOT_FINITE
            if state != fit.state[p]:
                fit.state[p] = state
                changed = True
    return changed


@compiled
def _weigh(weights: Any, circle: Any, place: Any, rule: Any) -> None:
    """Shares of each pixel's signal: the rings, the wall, and last the background."""
    pitch = place.pitch_m
    line, share = _line(rule.blur_px)
    rise = rule.rise_frac
    base_x = circle[0] * (1.0 - rise) + rule.eye_x_m * rise
    base_y = circle[1] * (1.0 - rise) + rule.eye_y_m * rise
    scale = RINGS / (circle[2] * (1.0 - rise))
    reach = (1.0 + 2.0 * rule.blur_px) * pitch
    corner = math.sqrt(2.0) * (0.5 + 2.0 * rule.blur_px) * pitch
    for p in range(place.x_m.size):
        weights[p, :] = 0.0
        x, y = place.x_m[p], place.y_m[p]
        away = math.hypot(x - circle[0], y - circle[1])
        if away > circle[2] + reach:
            weights[p, BESIDE] = 1.0
            continue
        from_base = math.hypot(x - base_x, y - base_y)
        least, most = (from_base - corner) * scale, (from_base + corner) * scale
        # All of the footprint lies on one ring.
        if away + corner < circle[2] and int(max(least, 0.0)) == int(most) and most < RINGS:
            weights[p, int(most)] = 1.0
            continue
        for i in range(RING_POINTS):
            for j in range(RING_POINTS):
                px, py = x + line[i] * pitch, y + line[j] * pitch
                kind = BESIDE
                dx, dy = px - circle[0], py - circle[1]
                if dx * dx + dy * dy <= circle[2] * circle[2]:
                    dx, dy = px - base_x, py - base_y
                    kind = min(int(math.sqrt(dx * dx + dy * dy) * scale), WALL)
                weights[p, kind] += share[i] * share[j]


@compiled
def _line(blur: float) -> Any:
    """Sample points across a pixel and their shares."""
    reach = 0.5 + 2.0 * blur
    line, share = np.empty(RING_POINTS), np.empty(RING_POINTS)
    for k in range(RING_POINTS):
        line[k] = -reach + (k + 0.5) * 2.0 * reach / RING_POINTS
        share[k] = _response(line[k], blur)
    return line, share / share.sum()


@compiled
def _response(u: float, blur: float) -> float:
    """A pixel's box of unit width under a Gaussian blur."""
    if blur <= 0.0:
        return 1.0 if abs(u) <= 0.5 else 0.0
    root = blur * math.sqrt(2.0)
    return 0.5 * (math.erf((u + 0.5) / root) - math.erf((u - 0.5) / root))


@compiled
def _prepare(fit: Any, place: Any, rule: Any) -> None:
    """Open shares, the pixels of the fit, and the inverse of the normal matrix."""
    prior = (rule.noise / rule.bend) ** 2
    pixels = fit.state.size
    disc_px = math.pi * (fit.circle[2] * (1.0 - rule.rise_frac) / place.pitch_m) ** 2
    for k in range(RINGS):
        open_ = 0.0
        for p in range(pixels):
            open_ += fit.weights[p, k] if fit.state[p] == USABLE else 0.0
        ring_px = disc_px * (2.0 * k + 1.0) / (RINGS * RINGS)
        fit.open_frac[k] = min(open_ / ring_px, 1.0)
    normal = np.zeros((RINGS + 1, RINGS + 1))
    for p in range(pixels):
        fits = fit.state[p] == USABLE and fit.weights[p, BESIDE] < 1.0
        for k in range(RINGS + 1):
            fit.rows[k, p] = fit.weights[p, k] if fits else 0.0
        if fits:
            for k in range(RINGS + 1):
                for m in range(RINGS + 1):
                    normal[k, m] += fit.weights[p, k] * fit.weights[p, m]
    _expect(normal, prior)
    fit.inverse[:, :] = np.linalg.inv(normal)


@compiled
def _expect(normal: Any, prior: float) -> None:
    """Add what is expected: a smooth profile, flat at its centre, and a wall like the rim."""
    for k in range(1, RINGS - 1):
        for i, a in ((k - 1, 1.0), (k, -2.0), (k + 1, 1.0)):
            for j, b in ((k - 1, 1.0), (k, -2.0), (k + 1, 1.0)):
                normal[i, j] += prior * a * b
    for i, j in ((0, 1), (WALL - 1, WALL)):
        normal[i, i] += prior
        normal[j, j] += prior
        normal[i, j] -= prior
        normal[j, i] -= prior
    for k in range(RINGS + 1):
        normal[k, k] += 1e-9
