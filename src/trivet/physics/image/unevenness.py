"""Where a pan is hottest and how it differs round its middle, frame by frame.

The hot spot is the centroid of what lies less than a margin under the hottest 5 cm2, each pixel
weighed by its height over that level; the margin is three times the noise, at least 15 % of P95 -
P5, so that noise alone places nothing. Its reach is the root mean square distance of these pixels
per axis, with the pixel's own size: for one compact spot a bound of its place's error, for a ring
or an even pan as large as the ring or the pan. Own definition.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

from trivet.facts.thresholds import threshold
from trivet.physics.compiled import family
from trivet.physics.image.panfinder import RADIUS, X, Y

compiled = family(Path(__file__).parent)

SECTORS = 8
"""Eighths of the circle, from +x counter-clockwise."""
OUTER_FROM = threshold("part_outer_frac")
NOISE_TIMES, SPAN_SHARE = threshold("part_noise_factor"), threshold("part_span_frac")
HOT_X, HOT_Y, HOT_REACH, SECTOR = range(4)
PARTS = SECTOR + SECTORS
"""Numbers of a frame."""


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
