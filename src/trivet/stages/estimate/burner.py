"""One burner over time: its pan, its surface, and what is remembered of both.

Frames go through the compiled pass first, then a block of moments through the
steps that need no pixels. All memory is here and in the pass, none grows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import (
    WIDTH,
    BurnerMemory,
    PanTrace,
    PassRules,
    advance_burner,
    burner_place,
    new_memory,
)
from trivet.physics.image.panfinder import FinderRule
from trivet.physics.image.panreading import ReadingRule
from trivet.physics.image.panrings import RINGS, RingRule, ring_area_frac
from trivet.physics.image.trend import Tail, held_s, trailing_slope
from trivet.physics.radiation.planck import band_radiance_slope, radiating_temperature_k
from trivet.physics.radiation.scenepass import SceneFrames
from trivet.physics.radiation.seensurface import (
    no_evidence,
    read_surface,
    weigh,
)
from trivet.quality import Quality
from trivet.records.design import Design
from trivet.records.estimate import UNSURE, BurnerEstimate
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.judging import (
    ValidityMemory,
    least_contrast_k,
    validate_reading,
)
from trivet.stages.estimate.labels import last_word
from trivet.stages.estimate.reporters import reported_scene_k
from trivet.stages.estimate.seen import Seen
from trivet.stages.estimate.shape import walled_share
from trivet.stages.estimate.view import Moments, scene_uncertainty_k

UNEVEN_SHARE = 0.03
"""Standard uncertainty of a pan's mean as a share of its P95 - P5.

A wall of 50 mm seen 20 degrees off hides a strip of 18 mm, 6 % of the visible base,
which may lie half the span from the mean (own estimate, geometry only).
"""
HIDDEN_SHARE = 1 / math.sqrt(3.0)
"""The same for a hidden part: the open part may be either end, so it lies within a whole span."""
OPEN_ENOUGH = 0.05
"""Hidden share up to which a pan's span is that of the whole pan."""
HOB_SHARE, PAN_SHARE = 0.3, 0.8
"""Shares of the contrast with the hob: under the first is hob, over the second pan (assumed)."""
RING_BEND_K = 40.0
HIDDEN_RING = 0.1
MIN_OPEN = 0.2
DOUBT_SHARE = 0.2
"""Standard uncertainty as a share of the distance between the readings with and without wall."""
LACK_SHARE = 1 / math.sqrt(3.0)
"""Standard uncertainty for what lies anywhere between nothing and that, about nothing."""
NATURAL_DIP = 0.5
"""Share of a ring's height over the hob by which the middle inside it may be colder on a burner
that heats in a ring; own estimate (conduction in a disc evens the rest out)."""
RATE_SPAN_S, STILL_KPS = 8.0, 0.06
LEAP_K, LIQUID_KPS, LEAPS_S = 3.0, 1.5, (1.0, 3.0)
"""A liquid does not get warmer or colder by more than this, and so much a second more: half a
litre on 2.2 kW gains 1 K/s."""


@dataclass
class SurfaceMemory:
    """What the steps from a pan's pixels to its surface remember."""

    evidence: FloatArray
    mean: Tail = field(default_factory=lambda: Tail(RATE_SPAN_S))
    liquid: Tail = field(default_factory=lambda: Tail(max(LEAPS_S)))
    still_since_s: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    whole: FloatArray = field(default_factory=lambda: np.zeros(2))
    """P95 - P5 of the pan when last seen whole [K], and that over its height over the hob."""

    def span_k(self, span_k: FloatArray, *, height_k: FloatArray, hidden: FloatArray) -> FloatArray:
        """Return how far the pan's parts may differ: as now, or as when last seen whole.

        What food hides is the hot middle as a rule, so both the span then and its share
        of the open part's height over the hob count; ``height_k`` is that of P95.
        """
        share = np.divide(span_k, height_k, where=height_k > 0, out=np.full_like(span_k, np.nan))
        whole = (hidden <= OPEN_ENOUGH) & np.isfinite(share)
        last = np.maximum.accumulate(np.where(whole, np.arange(share.size), -1))
        span = np.where(last >= 0, span_k[last], self.whole[0])
        part = np.where(last >= 0, share[last], self.whole[1])
        if share.size:
            self.whole[:] = span[-1], part[-1]
        before = np.maximum(span, part * np.nan_to_num(np.maximum(height_k, 0.0)))
        return np.asarray(np.where(whole, span_k, np.fmax(np.nan_to_num(span_k), before)))


class BurnerReader:
    """Reads one burner, block after block."""

    def __init__(self, view: BurnerView, *, design: Design, leave_out_rate: bool = False) -> None:
        self.view = view
        self._leave_out_rate = leave_out_rate
        self.design = design
        self._place = burner_place(view.region, cols=view.head.card.cols)
        self._rules = pass_rules(view)
        self._pass: BurnerMemory = new_memory(self._place.pixel.size)
        self._surface = SurfaceMemory(no_evidence(len(view.hypotheses)))
        self._judge = ValidityMemory()
        prior = max(view.hypotheses, key=lambda one: one.prior)
        self.last = (int(Quality.STALE), prior.of, UNSURE)
        """Flags, surface and presence at the last moment read."""

    @property
    def memory(self) -> BurnerMemory:
        """What the pass over pixels remembers of the last frame."""
        return self._pass

    def look(
        self, scene: SceneFrames, *, time_s: FloatArray, hob: tuple[FloatArray, FloatArray]
    ) -> FloatArray:
        """Return the rows of a :class:`PanTrace` of some frames; hob is (K, radiance)."""
        out = np.empty((time_s.size, WIDTH))
        advance_burner(
            scene,
            time_s=time_s,
            background=hob,
            place=self._place,
            rules=self._rules,
            memory=self._pass,
            out=out,
        )
        return out

    def read(self, table: FloatArray, *, moments: Moments) -> BurnerEstimate:
        """Return the estimate of a block of moments from the rows of its frames."""
        trace = PanTrace(table)
        seen = self._seen(trace, moments)
        read = validate_reading(
            self.view, seen=seen, moments=moments, design=self.design, memory=self._judge
        )
        self.last = last_word(read, self.last[1])
        return read

    def _seen(self, trace: PanTrace, moments: Moments) -> Seen:
        """Return the temperature under each hypothesis, and how much each weighs."""
        view, memory = self.view, self._surface
        mean_k, p5_k, doubt_k = trimmed(trace) if view.expects_water else with_rim(trace, view=view)
        whole_k = mean_k if view.expects_water else whole_pan(trace, view=view)
        if not view.expects_water:  # a liquid is even: one number is as good as another
            mean_k, doubt_k = reported_scene_k(
                trace, view.reporter, mean_k=mean_k, doubt_k=doubt_k, band=view.head.band
            )
        leaps = np.zeros(mean_k.shape, dtype=np.bool_)
        if view.expects_water:
            leaps = liquid_leaps(mean_k, moments.time_s, memory.liquid)
        still_k = np.where(leaps, np.nan, mean_k)  # what is before a liquid says nothing of it
        values, time_s, begins = memory.mean.extended(still_k, moments.time_s)
        rate = trailing_slope(values, time_s=time_s, span_s=RATE_SPAN_S, start=begins)
        still = np.abs(np.nan_to_num(rate, nan=9.0)) < STILL_KPS
        common = scene_uncertainty_k(
            mean_k, view=view.head, moments=moments, pixels=trace.read(panreading.OPEN_PIXELS)
        )
        high_k = trace.read(panreading.P95_K)
        uneven = UNEVEN_SHARE * np.nan_to_num(high_k - p5_k)
        hidden = hidden_frac(trace)
        apart_k = memory.span_k(high_k - p5_k, height_k=high_k - trace.hob_k, hidden=hidden)
        hidden_u_k = HIDDEN_SHARE * hidden * apart_k
        spread = np.hypot(uneven, hidden_u_k)
        reflected, patch = self.design.surroundings.reflected_k, view.head.calibration
        patched = np.isfinite(patch.reflected_k)
        reading = read_surface(
            mean_k,
            hypotheses=view.hypotheses,
            surround_k=patch.reflected_k if patched else reflected.middle,
            surround_u_k=patch.reflected_u_k if patched else reflected.standard_uncertainty,
            scene_u_k=np.sqrt(common**2 + spread**2 + doubt_k**2),
            band=view.head.band,
        )
        weight = weigh(
            reading,
            hypotheses=view.hypotheses,
            scene_rate_kps=np.full_like(rate, np.nan) if self._leave_out_rate else rate,
            boiling_k=view.boiling_k,
            plateau_s=held_s(still, time_s=moments.time_s, begun_s=memory.still_since_s),
            evidence=memory.evidence,
        )
        return Seen(trace, mean_k, p5_k, leaps, whole_k, hidden, hidden_u_k, reading, weight)


def liquid_leaps(mean_k: FloatArray, time_s: FloatArray, memory: Tail) -> BoolArray:
    """Return where a liquid seems to change faster than one can: a hand is before it.

    Its pixels are not followed one by one, as those of a pan are, for none is hidden for long.
    """
    values, times_s, _ = memory.extended(mean_k, time_s)
    found = np.zeros(time_s.shape, dtype=np.bool_)
    for span_s in LEAPS_S:
        earlier = values[np.searchsorted(times_s, time_s - span_s)]
        found |= np.abs(mean_k - earlier) > LEAP_K + LIQUID_KPS * span_s
    return found


def pass_rules(view: BurnerView) -> PassRules:
    """Return the constants of a burner's pass over pixels."""
    card = view.head.card
    blur_px, netd_k = float(card.blur_px), float(card.netd_delta_k)
    slope = float(band_radiance_slope(400.0, band=view.head.band))
    flat, walled = (
        RingRule(
            blur_px=blur_px,
            noise=netd_k * slope,
            bend=RING_BEND_K * slope,
            eye_x_m=float(view.eye_m[0]),
            eye_y_m=float(view.eye_m[1]),
            rise_frac=float(rise),
            rim_m=np.nan if view.base_radius_m is None else view.base_radius_m / (1 - rise),
        )
        for rise in (0.0, view.rise_frac)
    )
    return PassRules(
        FinderRule(float(view.radii_m[0]), float(view.radii_m[1]), least_contrast_k(card)),
        ReadingRule(
            trim_m=(0.5 + 2.0 * blur_px) * view.region.pitch_m,
            drop_k=max(15.0, 8 * netd_k),
            least_drop_k=max(4.0, 8 * netd_k),
            sees_food=not view.expects_water,
            reads_mode=view.reporter == "upper-half-mode",
            noise_k=netd_k,
        ),
        (flat, walled),
        reads_rings=not view.expects_water,
    )


def hidden_frac(trace: PanTrace) -> FloatArray:
    """Return the share of the pan that is food, or so near it that its pixels see both.

    Rings read the rest as if the pan were even round its middle, which it need not be.
    """
    pixels = np.maximum(trace.read(panreading.PIXELS), 1.0)
    clear = trace.read(panreading.OPEN_PIXELS) / pixels
    covered = trace.read(panreading.COVERED_FRAC)
    return np.where(covered > 0.0, np.clip(1.0 - clear, 0.0, 1.0), 0.0)


def dip_k(trace: PanTrace, *, view: BurnerView) -> FloatArray:
    """Return the doubt that a middle colder than the rings round it brings to the mean.

    Food that went into a cold pan never makes a pixel fall, but it stays behind while
    the pan heats. If all of such a middle is food and the pan below as hot as round it,
    the mean falls short by the middle's lack over its area; it lies anywhere between.
    Beyond what a burner that heats in a ring explains that lack counts in full.
    """
    ring_k = radiating_temperature_k(trace.ring_radiance(0), band=view.head.band)
    seen = (trace.ring_open_frac(0) >= HIDDEN_RING) & np.isfinite(ring_k)
    ring_k = np.where(seen, ring_k, 0.0)
    around = ring_k[:, 1:4].max(axis=1)
    hottest = 1 + ring_k[:, 1:4].argmax(axis=1)
    lack, area = np.zeros(around.size), ring_area_frac()
    for ring in range(3):
        inside = seen[:, ring] & (ring < hottest)
        lack += area[ring] * np.where(inside, np.maximum(around - ring_k[:, ring], 0.0), 0.0)
    natural = NATURAL_DIP * np.maximum(around - trace.hob_k, 0.0)
    unnatural = seen[:, 0] & (around - ring_k[:, 0] > natural)
    return np.where(unnatural, lack, LACK_SHARE * lack)


def trimmed(trace: PanTrace) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean and P5 of the pixels inside the trimmed rim, and no doubt."""
    mean_k = trace.read(panreading.MEAN_K)
    return mean_k, trace.read(panreading.P5_K), np.zeros(mean_k.size)


def with_rim(trace: PanTrace, *, view: BurnerView) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean and P5 over the whole pan, and that mean's uncertainty.

    How much of the outermost ring is base and how much the inner wall depends on
    how high the rim stands. Both ends are read, no wall and a wall as deep as the
    pan; the radius that was found says where between them, and a share of their
    distance is doubt.
    """
    inner_k, p5_k, _ = trimmed(trace)
    (flat_k, flat_rim_k), (wall_k, wall_rim_k) = (
        _ring_mean(trace, fit, view=view) for fit in range(2)
    )
    walled = walled_share(trace.radius_m, view)
    mean_k = (1 - walled) * flat_k + walled * wall_k
    usable = np.isfinite(mean_k) & np.isfinite(inner_k)
    doubt_k = np.where(usable, DOUBT_SHARE * np.abs(flat_k - wall_k), 0.0)
    doubt_k = np.hypot(doubt_k, dip_k(trace, view=view))
    # A told pan that is larger than the one on the burner takes in hob, and so does the mean.
    doubtful = usable & _rim_is_hob(trace, view=view)
    doubt_k = np.hypot(doubt_k, np.where(doubtful, np.nan_to_num(mean_k - inner_k), 0.0))
    coldest_k = np.fmin(p5_k, (1 - walled) * flat_rim_k + walled * wall_rim_k)
    return np.where(usable, mean_k, inner_k), np.where(usable, coldest_k, p5_k), doubt_k


def whole_pan(trace: PanTrace, *, view: BurnerView) -> FloatArray:
    """Return the mean over all of a pan's base, also what the frame or the wall cuts off."""
    walled, mean_k = walled_share(trace.radius_m, view), np.zeros(trace.radius_m.size)
    for fit, share in enumerate((1 - walled, walled)):
        ring_k = radiating_temperature_k(trace.ring_radiance(fit), band=view.head.band)
        for ring, area in enumerate(ring_area_frac()):
            mean_k += share * area * ring_k[:, ring]
    return mean_k


def _rim_is_hob(trace: PanTrace, *, view: BurnerView) -> BoolArray:
    """Return whether a told pan's outermost ring is hob beside a ring that is all pan.

    Conduction does not let a pan fall off that steeply within a ring of its radius.
    """
    if view.base_radius_m is None:
        return np.zeros(trace.contrast_k.shape, dtype=np.bool_)
    rings_k = radiating_temperature_k(trace.ring_radiance(0), band=view.head.band)
    share = (rings_k - trace.hob_k[:, None]) / trace.contrast_k[:, None]
    return np.asarray((share[:, RINGS - 1] < HOB_SHARE) & (share[:, RINGS - 2] > PAN_SHARE))


def _ring_mean(trace: PanTrace, fit: int, *, view: BurnerView) -> tuple[FloatArray, FloatArray]:
    """Return area mean and outermost ring of the open part of a pan, in apparent temperature."""
    ring_k = radiating_temperature_k(trace.ring_radiance(fit), band=view.head.band)
    open_frac = trace.ring_open_frac(fit)
    total, heat = np.zeros(ring_k.shape[0]), np.zeros(ring_k.shape[0])
    usable = np.ones(ring_k.shape[0], dtype=np.bool_)
    for ring, area in enumerate(ring_area_frac()):
        # A ring that lies all but hidden is not explained by any pixel.
        open_ = open_frac[:, ring]
        weight = area * np.where(open_ < HIDDEN_RING, 0.0, open_)
        total += weight
        heat += weight * np.nan_to_num(ring_k[:, ring])
        usable &= np.isfinite(ring_k[:, ring]) | (weight == 0.0)
    usable &= total > MIN_OPEN
    mean_k = heat / np.where(total > 0, total, 1.0)
    return np.where(usable, mean_k, np.nan), np.where(usable, ring_k[:, RINGS - 1], np.nan)
