"""Concentric rings of a pan from blurred pixels: the rim is read, not trimmed away.

Every pixel is a weighed mean of rings, inner wall and background: its square
footprint, widened by the Gaussian blur, is sampled at 7 x 7 points. A point is
seen through the rim, the circle that was found, and lies on the base or beyond it
on the far wall. Rings and wall follow by least squares over the open pixels up to
one pixel outside the rim, with a weak expectation that neighbouring rings bend by
no more than the rule says and that the wall is about as warm as the outer one.

Mixing is linear in radiance, so the fit is exact for a pan that varies with radius
only and a blur that is known. With 11 pixels across, a blur wrong by 30 % moves the
outer ring by about 3 % of the contrast and the area mean by under 1 %. Weights and
inverse are kept until the circle moves by 0.5 mm or another set of pixels is open.

Reference: weighed least squares with a Gaussian prior, textbook form; own derivation.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from trivet.kernels.compiled import family
from trivet.kernels.image.panfinder import RADIUS, X, Y

FloatArray = npt.NDArray[np.float64]
compiled = family(Path(__file__).parent)

RINGS = 5
WALL = RINGS
HOB = RINGS + 1
POINTS = 7
MOVED_M = 5e-4
USABLE, COVERED, UNKNOWN = 0, 1, 2
"""What a pixel is to the fit."""


class RingRule(NamedTuple):
    """Constants of a ring fit."""

    blur_px: float
    noise: float
    """Standard deviation of a pixel. [W/m2/sr]"""
    bend: float
    """Expected second difference between rings. [W/m2/sr]"""
    eye_x_m: float = 0.0
    """Foot of the head on the cooktop, from the burner's centre. [m]"""
    eye_y_m: float = 0.0
    rise_frac: float = 0.0
    """Height of the pan's rim over the height of the head."""
    rim_m: float = math.nan
    """Radius of the rim as projected onto the cooktop; NaN: the radius that was found. [m]"""


class RingFit(NamedTuple):
    """What a fit keeps from frame to frame."""

    weights: FloatArray
    """(pixel, ring and wall and hob) shares of each pixel's signal."""
    circle: FloatArray
    """(3,) centre and radius that the weights are for; NaN none."""
    state: npt.NDArray[np.uint8]
    """(pixel,) USABLE, COVERED or UNKNOWN when the inverse was made."""
    usable: npt.NDArray[np.int64]
    """(pixel,) places of the pixels of the fit, and last how many they are."""
    inverse: FloatArray
    open_frac: FloatArray
    """(ring,) share of each ring's area that some open pixel sees: in the field, not behind
    the near wall, not under food."""


def no_fit(pixels: int) -> RingFit:
    """Return the memory of a fit that has seen nothing.

    Parameters
    ----------
    pixels : int

    Returns
    -------
    RingFit

    Notes
    -----
    About 70 bytes a pixel.

    References
    ----------
    None.
    """
    return RingFit(
        np.zeros((pixels, RINGS + 2)),
        np.full(3, np.nan),
        np.zeros(pixels, np.uint8),
        np.zeros(pixels + 1, np.int64),
        np.zeros((RINGS + 1, RINGS + 1)),
        np.zeros(RINGS),
    )


def ring_area_frac(rings: int = RINGS) -> FloatArray:
    """Return the share of a disc's area in each of its rings of equal width.

    Parameters
    ----------
    rings : int

    Returns
    -------
    (ring,)
        Sums to 1.

    Notes
    -----
    Exact.

    References
    ----------
    Area of an annulus.
    """
    edges = np.arange(rings + 1) / rings
    return np.asarray(np.diff(edges**2))


@compiled
def fit_rings(frame: Any, background: float, pan: Any, fixed: Any, fit: Any, out: Any) -> None:  # noqa: PLR0917
    """Fill one frame's rings: RINGS radiances, then the share of each that lies open.

    ``frame`` holds the region's radiances, ``background`` the hob's; ``pan`` is the
    pan's memory; ``fixed`` holds Place, RingRule and (pixel,) a number where
    a pixel is covered or beside one, NaN where open; ``fit`` is continued in place.
    """
    rule = fixed[1]
    out[:RINGS] = np.nan
    out[RINGS:] = 0.0
    radius = pan[RADIUS]
    if math.isnan(radius):
        return
    if not math.isnan(rule.rim_m):
        radius = rule.rim_m
    if _renewed(frame, (pan[X], pan[Y], radius), fixed, fit):
        _prepare(fit, fixed[0], rule)
    right = _projected(frame, background, fit)
    for i in range(RINGS):
        total = 0.0
        for j in range(RINGS + 1):
            total += fit.inverse[i, j] * right[j]
        out[i] = total + background
        out[RINGS + i] = fit.open_frac[i]


@compiled
def _projected(frame: Any, background: float, fit: Any) -> Any:
    """Contrast of the open pixels on each ring and the wall; six sums, kept in registers."""
    a, b, c, d, e, wall = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    weights = fit.weights
    for n in range(fit.usable[frame.size]):
        p = fit.usable[n]
        contrast = frame[p] - background
        a += weights[p, 0] * contrast
        b += weights[p, 1] * contrast
        c += weights[p, 2] * contrast
        d += weights[p, 3] * contrast
        e += weights[p, 4] * contrast
        wall += weights[p, WALL] * contrast
    return a, b, c, d, e, wall


@compiled
def _renewed(frame: Any, circle: Any, fixed: Any, fit: Any) -> bool:
    """Renew weights and states where the circle has moved or a pixel has changed."""
    place, rule, shadow = fixed
    moved = max(abs(circle[0] - fit.circle[0]), abs(circle[1] - fit.circle[1]))
    moved = max(moved, abs(circle[2] - fit.circle[2]))
    changed = math.isnan(fit.circle[2]) or moved > MOVED_M
    if changed:
        _weigh(fit.weights, circle, place, rule)
        fit.circle[0], fit.circle[1], fit.circle[2] = circle
    for p in range(frame.size):
        state = USABLE if math.isnan(shadow[p]) else COVERED
        if not math.isfinite(frame[p]):
            state = UNKNOWN
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
            weights[p, HOB] = 1.0
            continue
        from_base = math.hypot(x - base_x, y - base_y)
        least, most = (from_base - corner) * scale, (from_base + corner) * scale
        # All of the footprint lies on one ring.
        if away + corner < circle[2] and int(max(least, 0.0)) == int(most) and most < RINGS:
            weights[p, int(most)] = 1.0
            continue
        for i in range(POINTS):
            for j in range(POINTS):
                px, py = x + line[i] * pitch, y + line[j] * pitch
                kind = HOB
                dx, dy = px - circle[0], py - circle[1]
                if dx * dx + dy * dy <= circle[2] * circle[2]:
                    dx, dy = px - base_x, py - base_y
                    kind = min(int(math.sqrt(dx * dx + dy * dy) * scale), WALL)
                weights[p, kind] += share[i] * share[j]


@compiled
def _line(blur: float) -> Any:
    """Sample points across a pixel and their shares."""
    reach = 0.5 + 2.0 * blur
    line, share = np.empty(POINTS), np.empty(POINTS)
    for k in range(POINTS):
        line[k] = -reach + (k + 0.5) * 2.0 * reach / POINTS
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
    count = 0
    normal = np.zeros((RINGS + 1, RINGS + 1))
    for p in range(pixels):
        if fit.state[p] != USABLE or fit.weights[p, HOB] >= 1.0:
            continue
        fit.usable[count] = p
        count += 1
        for k in range(RINGS + 1):
            for m in range(RINGS + 1):
                normal[k, m] += fit.weights[p, k] * fit.weights[p, m]
    fit.usable[pixels] = count
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
