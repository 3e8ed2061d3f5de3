"""One burner over time: its pan, its surface, and what is remembered of both.

Frames go through the compiled pass first, then a block of moments through the
steps that need no pixels. All memory is here, in the pass and in the validator; none grows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.thresholds import threshold
from trivet.models.calibration_views import reflected_temperature
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import (
    WIDTH,
    BurnerMemory,
    PanTrace,
    PassRules,
    advance_burner,
    new_memory,
)
from trivet.physics.image.panfinder import FinderRule
from trivet.physics.image.panreading import ReadingRule, rim_trim_m
from trivet.physics.image.panrings import RingRule
from trivet.physics.image.trend import Tail, hold_duration_s, trailing_slope
from trivet.physics.radiation.planck import band_radiance_slope
from trivet.physics.radiation.scenepass import SceneFrames
from trivet.physics.radiation.seensurface import (
    SurfaceReading,
    no_evidence,
    posterior_weights,
    read_surface,
    weighted_sum,
)
from trivet.records.design import Design
from trivet.records.sensorcard import SensorCard
from trivet.stages.estimate.panmean import PanMean, PanRings, hidden_frac, pan_mean, pan_rings
from trivet.stages.estimate.views import BurnerView, Moments

UNEVEN_SHARE = threshold("uneven_u_frac")
"""Standard uncertainty of a pan's mean as a share of its P95 - P5.

A wall of 50 mm seen 20 degrees off hides a strip of 18 mm, 6 % of the visible base,
which may lie half the span from the mean (own estimate, geometry only).
"""
HIDDEN_SHARE = 1 / math.sqrt(3.0)
"""The same for a hidden part: the open part may be either end, so it lies within a whole span."""
OPEN_ENOUGH = threshold("open_enough_frac")
"""Hidden share up to which a pan's span is that of the whole pan."""
RING_BEND_K = threshold("ring_bend_k")
RATE_SPAN_S, STILL_KPS = threshold("still_span_s"), threshold("still_kps")
LEAP_K, LIQUID_KPS = threshold("leap_k"), threshold("leap_kps")
LEAPS_S = (threshold("leap_short_s"), threshold("leap_long_s"))
"""A liquid does not get warmer or colder by more than this, and so much a second more: half a
litre on 2.2 kW gains 1 K/s."""
MIN_CONTRAST_K = threshold("contrast_min_k")


@dataclass(frozen=True)
class PanObservation:
    """What a block of frames says of one burner's pan, arrays (time,) where not said."""

    view: BurnerView
    moments: Moments
    trace: PanTrace
    rings: PanRings
    mean: PanMean
    leaps: BoolArray
    """Whether a liquid seems to change faster than one can."""
    hidden: FloatArray
    """Share of the pan under food or beside it."""
    hidden_u_k: FloatArray
    """Standard uncertainty, within that of the reading, for what it hides. [K]"""
    reading: SurfaceReading
    weight: FloatArray
    """(time, hypothesis) posterior weights."""

    @cached_property
    def slope(self) -> FloatArray:
        """Kelvin of surface for one kelvin of scene temperature, (time,)."""
        return weighted_sum(self.weight, of=self.reading.slope)


class BurnerReader:
    """Sees one burner's pan, block after block."""

    def __init__(self, view: BurnerView, *, design: Design, leave_out_rate: bool = False) -> None:
        self.view = view
        self.memory: BurnerMemory = new_memory(view.place.pixel.size)
        """What the pass over pixels remembers of the last frame."""
        self._leave_out_rate = leave_out_rate
        self._rules = pass_rules(view)
        self._surface = SurfaceMemory(no_evidence(len(view.hypotheses)))
        self._reflected_k, self._reflected_u_k = reflected_temperature(
            view.head.calibration, design=design
        )

    def look(
        self, scene: SceneFrames, *, time_s: FloatArray, hob: tuple[FloatArray, FloatArray]
    ) -> FloatArray:
        """Return the rows of a :class:`PanTrace` of some frames; hob is (K, radiance)."""
        out = np.empty((time_s.size, WIDTH))
        advance_burner(
            scene,
            time_s=time_s,
            background=hob,
            place=self.view.place,
            rules=self._rules,
            memory=self.memory,
            out=out,
        )
        return out

    def observe(self, table: FloatArray, *, moments: Moments) -> PanObservation:
        """Return what the rows of a block's frames say: the temperature under each hypothesis,
        and how much each weighs."""
        view, memory, trace = self.view, self._surface, PanTrace(table)
        rings = pan_rings(trace, view=view)
        mean = pan_mean(trace, rings=rings, view=view)
        leaps = np.zeros(mean.mean_k.shape, dtype=np.bool_)
        if view.expects_water:
            leaps = liquid_leaps(mean.mean_k, moments.time_s, memory.liquid)
        hidden = hidden_frac(trace)
        hidden_u_k = HIDDEN_SHARE * hidden * memory.span_k(trace, mean.p5_k, hidden=hidden)
        reading = read_surface(
            mean.mean_k,
            hypotheses=view.hypotheses,
            surround_k=self._reflected_k,
            surround_u_k=self._reflected_u_k,
            scene_u_k=_scene_u_k(view, trace, mean, moments=moments, hidden_u_k=hidden_u_k),
            band=view.head.band,
        )
        # What is before a liquid says nothing of it.
        rate_kps, held = memory.course(np.where(leaps, np.nan, mean.mean_k), moments.time_s)
        weight = posterior_weights(
            reading,
            hypotheses=view.hypotheses,
            scene_rate_kps=np.full_like(rate_kps, np.nan) if self._leave_out_rate else rate_kps,
            boiling_k=view.boiling_k,
            plateau_s=held,
            evidence=memory.evidence,
        )
        return PanObservation(
            view, moments, trace, rings, mean, leaps, hidden, hidden_u_k, reading, weight
        )


@dataclass
class SurfaceMemory:
    """What the steps from a pan's pixels to its surface remember."""

    evidence: FloatArray
    mean: Tail = field(default_factory=lambda: Tail(RATE_SPAN_S))
    liquid: Tail = field(default_factory=lambda: Tail(max(LEAPS_S)))
    still_since_s: FloatArray = field(default_factory=lambda: np.full(1, np.nan))
    whole: FloatArray = field(default_factory=lambda: np.zeros(2))
    """P95 - P5 of the pan when last seen whole [K], and that over its height over the hob."""

    def course(self, mean_k: FloatArray, time_s: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the rate of a pan's mean [K/s] and for how long it has held still [s], (time,)."""
        values, times_s, begins = self.mean.extended(mean_k, time_s)
        rate_kps = trailing_slope(values, time_s=times_s, span_s=RATE_SPAN_S, start=begins)
        still = np.abs(np.nan_to_num(rate_kps, nan=9.0)) < STILL_KPS
        return rate_kps, hold_duration_s(still, time_s=time_s, begun_s=self.still_since_s)

    def span_k(self, trace: PanTrace, p5_k: FloatArray, *, hidden: FloatArray) -> FloatArray:
        """Return how far the pan's parts may differ: as now, or as when last seen whole.

        What food hides is the hot middle as a rule, so both the span then and its share
        of the open part's height over the hob count.
        """
        high_k = trace.read(panreading.P95_K)
        span_k, height_k = high_k - p5_k, high_k - trace.hob_k
        share = np.divide(span_k, height_k, where=height_k > 0, out=np.full_like(span_k, np.nan))
        whole = (hidden <= OPEN_ENOUGH) & np.isfinite(share)
        last = np.maximum.accumulate(np.where(whole, np.arange(share.size), -1))
        span = np.where(last >= 0, span_k[last], self.whole[0])
        part = np.where(last >= 0, share[last], self.whole[1])
        if share.size:
            self.whole[:] = span[-1], part[-1]
        before = np.maximum(span, part * np.nan_to_num(np.maximum(height_k, 0.0)))
        return np.asarray(np.where(whole, span_k, np.fmax(np.nan_to_num(span_k), before)))


def _scene_u_k(
    view: BurnerView, trace: PanTrace, mean: PanMean, *, moments: Moments, hidden_u_k: FloatArray
) -> FloatArray:
    """Return the standard uncertainty of a pan's mean scene temperature, (time,)."""
    common = view.head.scene_u_k(
        mean.mean_k, moments=moments, pixels=trace.read(panreading.OPEN_PIXELS)
    )
    uneven = UNEVEN_SHARE * np.nan_to_num(trace.read(panreading.P95_K) - mean.p5_k)
    return np.asarray(np.sqrt(common**2 + np.hypot(uneven, hidden_u_k) ** 2 + mean.u_k**2))


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


def least_contrast_k(card: SensorCard) -> float:
    """Return the contrast under which no pan is told from the hob."""
    return max(MIN_CONTRAST_K, threshold("contrast_noise_sigmas") * float(card.netd_delta_k))


def pass_rules(view: BurnerView) -> PassRules:
    """Return the constants of a burner's pass over pixels."""
    card = view.head.card
    blur_px, netd_k = float(card.blur_px), float(card.netd_delta_k)
    noise_k = threshold("cover_drop_noise_sigmas") * netd_k
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
            trim_m=rim_trim_m(blur_px, footprint_m=view.region.pitch_m),
            drop_k=max(threshold("cover_drop_k"), noise_k),
            least_drop_k=max(threshold("cover_drop_min_k"), noise_k),
            sees_food=not view.expects_water,
            reads_mode=view.reporter == "upper-half-mode",
            noise_k=netd_k,
        ),
        (flat, walled),
        reads_rings=not view.expects_water,
    )
