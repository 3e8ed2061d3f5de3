"""Where a pan stands and how uneven it is: the same numbers for records, scores and alerts."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from trivet.arrays import BoolArray, FlagArray, FloatArray, IntArray
from trivet.facts.thresholds import threshold
from trivet.physics.image import panreading
from trivet.physics.image.panreading import HOT_REACH, HOT_X, HOT_Y, SECTOR, SECTORS
from trivet.physics.image.panrings import RINGS
from trivet.physics.image.trend import Tail, row_mean, trailing_slope
from trivet.records.estimate import PanShape
from trivet.stages.estimate.burner import PanObservation

EVEN_SHARE = threshold("uneven_covered_frac")
"""Hidden share of a pan over which its unevenness is withheld."""
RATE_SPAN_S = threshold("shape_rate_span_s")
MIN_OPEN = threshold("shape_ring_open_frac")
"""Share of a ring that has to be open for its mean to be given."""
MIN_HEIGHT_K = threshold("shape_height_min_k")
MIN_CONTRAST_K = threshold("shape_contrast_min_k")
"""Contrast from which unevenness is given: under it the rings are noise and the outline a guess."""
MIN_ACROSS = threshold("shape_across_min_px")
"""Pixels across a pan from which its unevenness is given."""
TO_P5 = 0.35
"""From the outermost ring's mean radius (0.906) to the one outside which 5 % of the area lie
(0.975), over its distance to that of the next ring (0.707)."""
RANK_NOISE = 0.45
"""Noise of P95 - P5 over some 50 pixels in terms of a pixel's (order statistics of a normal
law: each end 0.3, textbook form)."""
PERCENTILES = 2 * 1.645
"""P95 - P5 of white noise, in standard deviations."""
UNSEEN_SHARE = 1 / math.sqrt(12.0)
"""Standard uncertainty as a share of what blur and rim keep from view (uniform distribution)."""
U95 = threshold("interval_sigmas")


@dataclass(frozen=True)
class BurnerReading:
    """What would be reported of a burner, arrays (time,)."""

    of: IntArray
    temperature_k: FloatArray
    u95_k: FloatArray
    flags: FlagArray


@dataclass
class ShapeMemory:
    """What the place and the unevenness of a pan rest on from earlier blocks."""

    hottest: Tail = field(default_factory=lambda: Tail(RATE_SPAN_S))
    middle: FloatArray = field(default_factory=lambda: np.full(5, np.nan))


def pan_shape(
    pan: PanObservation, *, read: BurnerReading, unhidden: BoolArray, memory: ShapeMemory
) -> tuple[FloatArray, PanShape]:
    """Return P95 - P5 of a pan [K], and where it stands and how uneven it is.

    Parameters
    ----------
    pan : PanObservation
    read : BurnerReading
        What is reported of it.
    unhidden : (time,)
        Whether the pan itself is read, without any flag that withholds.
    memory : ShapeMemory
        Carried on.

    Returns
    -------
    tuple
        P95 - P5 (time,) and the shape, both withheld when more than 40 % is hidden, of a pan
        under 15 K over the hob, and of one under 8 pixels across, of which blur leaves too
        little (half of P95 - P5 and less).
    """
    uneven_k = _nonuniformity_k(pan, unhidden)
    shown = np.isfinite(uneven_k)
    x_m, y_m, radius_m = _base(pan, memory.middle)
    sectors_k = np.stack([_part(pan, SECTOR + k) for k in range(SECTORS)], axis=1)
    above_k = pan.slope[:, None] * (pan.rings.rings_k - pan.mean.mean_k[:, None])
    around_k = pan.slope[:, None] * (sectors_k - row_mean(sectors_k)[:, None])
    rate_kps, rate_u_kps = _hot_rate(pan, read, memory.hottest)
    rings_seen = (pan.rings.flat_open >= MIN_OPEN) & (not pan.view.expects_water)
    return uneven_k, PanShape(
        x_m=x_m,
        y_m=y_m,
        diameter_m=2.0 * radius_m,
        nonuniformity_u_k=np.where(shown, _uneven_u_k(pan, uneven_k, read), np.nan),
        ring_k=np.where(shown[:, None] & rings_seen, read.temperature_k[:, None] + above_k, np.nan),
        sector_delta_k=np.where(shown[:, None], around_k, np.nan),
        hot_x_m=np.where(shown, _part(pan, HOT_X), np.nan),
        hot_y_m=np.where(shown, _part(pan, HOT_Y), np.nan),
        hot_u_m=np.where(shown, _part(pan, HOT_REACH), np.nan),
        hot_kps=np.where(shown, rate_kps, np.nan),
        hot_u_kps=np.where(shown, rate_u_kps, np.nan),
    )


def _nonuniformity_k(pan: PanObservation, unhidden: BoolArray) -> FloatArray:
    """Return P95 - P5 without the noise's share; NaN where withheld."""
    noise = PERCENTILES * pan.view.head.noise_k(pan.mean.mean_k)
    span = pan.trace.read(panreading.P95_K) - _coldest_k(pan)
    spread = np.sqrt(np.maximum(span**2 - noise**2, 0.0))
    across = 2.0 * pan.trace.radius_m / pan.view.region.pitch_m
    shown = unhidden & (pan.trace.contrast_k >= MIN_CONTRAST_K)
    shown &= pan.trace.read(panreading.COVERED_FRAC) <= EVEN_SHARE
    return np.where(shown & (across >= MIN_ACROSS), pan.slope * spread, np.nan)


def _coldest_k(pan: PanObservation) -> FloatArray:
    """Return P5, at the rim where it falls off: in line with the two outermost rings' means."""
    if pan.view.expects_water:
        return pan.mean.p5_k
    return np.fmin(pan.mean.p5_k, _rim_k(pan.rings.rings_k))


def _rim_k(rings_k: FloatArray) -> FloatArray:
    fall = np.maximum(rings_k[:, -2] - rings_k[:, -1], 0.0)
    return np.asarray(rings_k[:, -1] - TO_P5 * fall)


def _part(pan: PanObservation, number: int) -> FloatArray:
    return pan.trace.read(panreading.PARTS_FROM + number)


def _base(pan: PanObservation, memory: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middle and radius of the base, inward of the rim as projected. [m]"""
    view, circles = pan.view, pan.trace.table[:, :3]
    rise = view.rise_frac * pan.rings.walled
    x, y = view.found_middle(circles, memory).T
    x, y = (axis * (1 - rise) + eye * rise for axis, eye in zip((x, y), view.eye_m, strict=True))
    return x, y, circles[:, 2] * (1 - rise)


def _relative_u(pan: PanObservation, read: BurnerReading) -> FloatArray:
    """Return the relative uncertainty of differences of temperature, from emissivity."""
    height = np.maximum(read.temperature_k - pan.trace.hob_k, MIN_HEIGHT_K)
    return np.asarray(read.u95_k / U95 / height)


def _uneven_u_k(pan: PanObservation, uneven_k: FloatArray, read: BurnerReading) -> FloatArray:
    """Return that of P95 - P5: noise, emissivity, what rim and blur keep, what food hides."""
    trace = pan.trace
    noise = RANK_NOISE * pan.slope * pan.view.head.noise_k(pan.mean.mean_k)
    inner = pan.slope * (trace.read(panreading.P95_K) - trace.read(panreading.P5_K))
    unseen = UNSEEN_SHARE * np.maximum(uneven_k - inner, 0.0)
    if not pan.view.expects_water:
        ends = _rim_k(pan.rings.flat_k) - _rim_k(pan.rings.wall_k)
        unseen = np.hypot(unseen, UNSEEN_SHARE * pan.slope * np.nan_to_num(ends))
    hidden = UNSEEN_SHARE * pan.hidden * uneven_k
    scale = _relative_u(pan, read) * uneven_k
    return np.asarray(np.sqrt(noise**2 + unseen**2 + hidden**2 + scale**2))


def _hot_rate(
    pan: PanObservation, read: BurnerReading, memory: Tail
) -> tuple[FloatArray, FloatArray]:
    """Return rate and uncertainty of the hottest part over the last 10 s. [K/s]"""
    hottest = pan.trace.read(panreading.HOTTEST_K)
    values, times_s, begins = memory.extended(
        np.where(np.isfinite(hottest), hottest, np.nan), pan.moments.time_s
    )
    rate = pan.slope * trailing_slope(values, time_s=times_s, span_s=RATE_SPAN_S, start=begins)
    # White noise of few pixels at the card's frame rate, see trailing_slope.
    hertz = float(pan.view.head.card.frame_rate_hz)
    white = pan.slope * pan.view.head.noise_k(pan.mean.mean_k)
    white *= math.sqrt(12.0 / (hertz * RATE_SPAN_S**3))
    # A rate that changes is known as of 5 s ago; the later half of the span tells by how much.
    later = pan.slope * trailing_slope(
        values, time_s=times_s, span_s=RATE_SPAN_S / 2, least_s=RATE_SPAN_S / 2.5, start=begins
    )
    bent = np.nan_to_num(later - rate)
    return rate, np.sqrt(white**2 + (_relative_u(pan, read) * rate) ** 2 + bent**2)


def no_shape(moments: int) -> PanShape:
    """Return the shape of a pan of which no frame has come."""
    width = {"ring_k": (moments, RINGS), "sector_delta_k": (moments, SECTORS)}
    names = PanShape.__dataclass_fields__
    return PanShape(**{name: np.full(width.get(name, (moments,)), np.nan) for name in names})
