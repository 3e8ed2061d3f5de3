"""Where a pan stands and how uneven it is: the same numbers for records, scores and alerts."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import burner_place
from trivet.physics.image.panfinder import whole_centres
from trivet.physics.image.panrings import RINGS
from trivet.physics.image.trend import Tail, row_mean, trailing_slope
from trivet.physics.image.unevenness import HOT_REACH, HOT_X, HOT_Y, SECTOR, SECTORS
from trivet.physics.radiation.planck import radiating_temperature_k
from trivet.records.estimate import PanShape
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.hidden import U95, Reported
from trivet.stages.estimate.seen import Seen
from trivet.stages.estimate.view import noise_k

Fits = tuple[FloatArray, FloatArray]
"""Rings without and with a wall, (time, ring) each. [K]"""

EVEN_SHARE = 0.4
"""Hidden share of a pan over which its unevenness is withheld."""
RATE_SPAN_S = 10.0
MIN_OPEN = 0.1
"""Share of a ring that has to be open for its mean to be given."""
MIN_HEIGHT_K = 10.0
MIN_CONTRAST_K = 15.0
"""Contrast from which unevenness is given: under it the rings are noise and the outline a guess."""
MIN_ACROSS = 8.0
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


def nonuniformity_k(seen: Seen, *, valid: BoolArray, view: BurnerView, fits: Fits) -> FloatArray:
    """Return P95 - P5 without the noise's share.

    Withheld when more than 40 % is hidden, of a pan under 15 K over the hob, and of one under 8
    pixels across, of which blur leaves too little (half of P95 - P5 and less).
    """
    noise = PERCENTILES * noise_k(seen.mean_k, view=view.head)
    span = seen.trace.read(panreading.P95_K) - _coldest_k(view, seen, fits)
    spread = np.sqrt(np.maximum(span**2 - noise**2, 0.0))
    across = 2.0 * seen.trace.radius_m / view.region.pitch_m
    shown = valid & (seen.trace.contrast_k >= MIN_CONTRAST_K)
    shown &= seen.trace.read(panreading.COVERED_FRAC) <= EVEN_SHARE
    return np.where(shown & (across >= MIN_ACROSS), seen.slope * spread, np.nan)


def _coldest_k(view: BurnerView, seen: Seen, fits: Fits) -> FloatArray:
    """Return P5, at the rim where it falls off: in line with the two outermost rings' means."""
    if view.expects_water:
        return seen.p5_k
    return np.fmin(seen.p5_k, _rim_k(_rings_k(view, seen, fits)))


def _rim_k(rings_k: FloatArray) -> FloatArray:
    fall = np.maximum(rings_k[:, -2] - rings_k[:, -1], 0.0)
    return np.asarray(rings_k[:, -1] - TO_P5 * fall)


def pan_shape(
    view: BurnerView,
    *,
    seen: Seen,
    uneven_k: FloatArray,
    read: Reported,
    time_s: FloatArray,
    memory: Tail,
    middle: FloatArray,
    fits: Fits,
) -> PanShape:
    """Return a pan's place and how uneven it is, withheld where ``uneven_k`` is."""
    shown = np.isfinite(uneven_k)
    x, y, radius = _base(view, seen, middle)
    rings_k = _rings_k(view, seen, fits)
    sectors_k = np.stack([_part(seen, SECTOR + k) for k in range(SECTORS)], axis=1)
    height = read.temperature_k[:, None] + seen.slope[:, None] * (rings_k - seen.mean_k[:, None])
    around = seen.slope[:, None] * (sectors_k - row_mean(sectors_k)[:, None])
    rate, rate_u = _hot_rate(view, seen=seen, read=read, time_s=time_s, memory=memory)
    rings_seen = (seen.trace.ring_open_frac(0) >= MIN_OPEN) & (not view.expects_water)
    return PanShape(
        x_m=x,
        y_m=y,
        diameter_m=2.0 * radius,
        nonuniformity_u_k=np.where(shown, _uneven_u(view, seen, uneven_k, read, fits), np.nan),
        ring_k=np.where(shown[:, None] & rings_seen, height, np.nan),
        sector_delta_k=np.where(shown[:, None], around, np.nan),
        hot_x_m=np.where(shown, _part(seen, HOT_X), np.nan),
        hot_y_m=np.where(shown, _part(seen, HOT_Y), np.nan),
        hot_u_m=np.where(shown, _part(seen, HOT_REACH), np.nan),
        hot_kps=np.where(shown, rate, np.nan),
        hot_u_kps=np.where(shown, rate_u, np.nan),
    )


def _rings_k(view: BurnerView, seen: Seen, fits: Fits) -> FloatArray:
    """Return the rings of the base, (time, ring): between those without and with a wall."""
    walled = walled_share(seen.trace.radius_m, view)[:, None]
    return np.asarray((1 - walled) * fits[0] + walled * fits[1])


def ring_fits_k(view: BurnerView, seen: Seen) -> Fits:
    """Return the rings read without a wall and with one, in apparent temperature."""
    flat, wall = (seen.trace.ring_radiance(fit) for fit in range(2))
    both = radiating_temperature_k(np.stack([flat, wall]), band=view.head.band)
    return both[0], both[1]


def _part(seen: Seen, number: int) -> FloatArray:
    return seen.trace.read(panreading.PARTS_FROM + number)


def _base(
    view: BurnerView, seen: Seen, middle: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return middle and radius of the base, inward of the rim as projected."""
    circles = seen.trace.table[:, :3]
    rise = view.rise_frac * walled_share(circles[:, 2], view)
    x, y = found_middle(view, circles, middle).T
    x, y = (axis * (1 - rise) + eye * rise for axis, eye in zip((x, y), view.eye_m, strict=True))
    return x, y, circles[:, 2] * (1 - rise)


def found_middle(
    view: BurnerView, circles_m: FloatArray, memory: FloatArray | None = None
) -> FloatArray:
    """Return the middle of pans of which frame or region cut off a part, (time, 2)."""
    region = view.region
    return whole_centres(
        circles_m,
        place=burner_place(region, cols=view.head.card.cols),
        reach_m=view.radii_m[1] + float(region.pitch_m),
        edge_m=region.edge_m,
        memory=memory,
    )


def walled_share(radius_m: FloatArray, view: BurnerView) -> FloatArray:
    """Return the share of the way from a flat disc to a full wall that a radius speaks for."""
    if view.base_radius_m is None:
        return np.full(radius_m.shape, 0.5)
    full = view.base_radius_m / (1 - view.rise_frac)
    return np.clip((radius_m - view.base_radius_m) / (full - view.base_radius_m), 0.0, 1.0)


def _relative_u(seen: Seen, read: Reported) -> FloatArray:
    """Return the relative uncertainty of differences of temperature, from emissivity."""
    height = np.maximum(read.temperature_k - seen.trace.hob_k, MIN_HEIGHT_K)
    return np.asarray(read.u95_k / U95 / height)


def _uneven_u(
    view: BurnerView, seen: Seen, uneven_k: FloatArray, read: Reported, fits: Fits
) -> FloatArray:
    """Return that of P95 - P5: noise, emissivity, what rim and blur keep, what food hides."""
    noise = RANK_NOISE * seen.slope * noise_k(seen.mean_k, view=view.head)
    trace = seen.trace
    inner = seen.slope * (trace.read(panreading.P95_K) - trace.read(panreading.P5_K))
    unseen = UNSEEN_SHARE * np.maximum(uneven_k - inner, 0.0)
    if not view.expects_water:
        ends = _rim_k(fits[0]) - _rim_k(fits[1])
        unseen = np.hypot(unseen, UNSEEN_SHARE * seen.slope * np.nan_to_num(ends))
    hidden = UNSEEN_SHARE * seen.hidden * uneven_k
    scale = _relative_u(seen, read) * uneven_k
    return np.asarray(np.sqrt(noise**2 + unseen**2 + hidden**2 + scale**2))


def _hot_rate(
    view: BurnerView, *, seen: Seen, read: Reported, time_s: FloatArray, memory: Tail
) -> tuple[FloatArray, FloatArray]:
    """Return rate and uncertainty of the hottest part over the last 10 s."""
    hottest = seen.trace.read(panreading.HOTTEST_K)
    values, times_s, begins = memory.extended(
        np.where(np.isfinite(hottest), hottest, np.nan), time_s
    )
    rate = seen.slope * trailing_slope(values, time_s=times_s, span_s=RATE_SPAN_S, start=begins)
    # White noise of few pixels at the card's frame rate, see trailing_slope.
    hertz = float(view.head.card.frame_rate_hz)
    white = seen.slope * noise_k(seen.mean_k, view=view.head)
    white *= math.sqrt(12.0 / (hertz * RATE_SPAN_S**3))
    # A rate that changes is known as of 5 s ago; the later half of the span tells by how much.
    later = seen.slope * trailing_slope(
        values, time_s=times_s, span_s=RATE_SPAN_S / 2, least_s=RATE_SPAN_S / 2.5, start=begins
    )
    bent = np.nan_to_num(later - rate)
    return rate, np.sqrt(white**2 + (_relative_u(seen, read) * rate) ** 2 + bent**2)


def no_shape(moments: int) -> PanShape:
    """Return the shape of a pan of which no frame has come."""
    unknown = np.full(moments, np.nan)
    return PanShape(
        x_m=unknown,
        y_m=unknown,
        diameter_m=unknown,
        nonuniformity_u_k=unknown,
        ring_k=np.full((moments, RINGS), np.nan),
        sector_delta_k=np.full((moments, SECTORS), np.nan),
        hot_x_m=unknown,
        hot_y_m=unknown,
        hot_u_m=unknown,
        hot_kps=unknown,
        hot_u_kps=unknown,
    )
