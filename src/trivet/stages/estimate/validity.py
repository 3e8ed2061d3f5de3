"""From what is seen of a burner to what is reported, and what stands against it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import BoolArray, FlagArray, FloatArray, Int8Array
from trivet.facts.thresholds import threshold
from trivet.physics.heat.carriedpan import carry, nothing_carried
from trivet.physics.heat.leftboil import left_boil, never_boiled
from trivet.physics.image import panreading
from trivet.physics.image.trend import Tail, flicker, flicker_memory, trailing_slope
from trivet.physics.radiation.seensurface import group_weights, mixture_quantiles
from trivet.quality import BLOCKING, Quality, flag, has
from trivet.records.design import Design
from trivet.records.estimate import ABSENT, PRESENT, UNSURE, BurnerEstimate
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate.burner import MIN_CONTRAST_K, PanObservation, least_contrast_k
from trivet.stages.estimate.shape import U95, BurnerReading, ShapeMemory, pan_shape
from trivet.stages.estimate.views import BurnerView

INTERVAL = (threshold("interval_tail_frac"), 1.0 - threshold("interval_tail_frac"))
LABEL_WEIGHT = threshold("label_weight_min")
SHINY_WEIGHT = threshold("shiny_weight_max")
HAND_SHARE = threshold("hand_share_frac")
COVERED_SHARE = threshold("covered_share_frac")
FEW_COVERED_SHARE = threshold("covered_few_share_frac")
STEAM_FLICKER_K, STEAM_SPAN_S = threshold("steam_flicker_k"), threshold("steam_span_s")
STEAM_CAP_K = threshold("steam_cap_factor") * STEAM_FLICKER_K
STEAM_SIGMAS = threshold("steam_noise_sigmas")
TAKEN_OFF_S, TAKEN_OFF_K = threshold("taken_off_s"), threshold("taken_off_k")
HEAT_SPAN_S, HEAT_MIN_SPAN_S = threshold("heat_span_s"), threshold("heat_min_span_s")
RISING_KPS, FALLING_KPS = threshold("heat_rising_kps"), threshold("heat_cooling_kps")
PAST = Quality.COVERED | Quality.TOO_FEW_PIXELS | Quality.UNCERTAIN
"""What a carried reading goes past: the pan is there, but not or not wholly seen."""
BLIND = Quality.STALE | Quality.HAND | Quality.COVERED | Quality.COLD | Quality.WINDOW
"""Flags with which nothing is known of the hottest part of a pan."""
FOOD, HIDDEN_PAN = OF_WORDS.index("food"), OF_WORDS.index("hidden_pan")


class ReadingValidator:
    """Turns what is seen of one burner into what is reported, block after block.

    What is remembered of earlier moments has a fixed size.
    """

    def __init__(self, view: BurnerView, *, design: Design) -> None:
        self._view, self._rules = view, design.estimation
        self._surface_of = np.array([one.of for one in view.hypotheses], dtype=np.int64)
        least = float(self._rules.min_emissivity_frac)
        self._is_shiny = np.array([one.emissivity < least for one in view.hypotheses], np.int64)
        self._ends_k = np.full(len(INTERVAL), np.nan)
        self._contrast = Tail(TAKEN_OFF_S)
        self._taken_off = False
        self._mean = Tail(HEAT_SPAN_S)
        self._flicker, self._carried = flicker_memory(), nothing_carried()
        self._boiled, self._shape = never_boiled(), ShapeMemory()

    def validate(self, pan: PanObservation) -> BurnerEstimate:
        """Return what is reported of a block of moments, and what stands against it."""
        low_k, high_k = self._interval(pan)
        present = self._presence(pan)
        flags = self._flags(pan) | flag(Quality.ABSENT, present == ABSENT)
        flags |= flag(Quality.SHINY, self._shiny(pan, flags))
        share = group_weights(pan.weight, group=self._surface_of, groups=len(OF_WORDS))
        # The middle of the interval, so that reported -/+ u95 is the interval itself.
        seen = BurnerReading(
            share.argmax(axis=1), (low_k + high_k) / 2, (high_k - low_k) / 2, flags
        )
        carried = carried_pan(pan, read=seen, memory=self._carried)
        seen = replace(seen, u95_k=carried.widened(seen, U95 * pan.slope * pan.hidden_u_k))
        unsure = (seen.u95_k > self._bound_k) | (share.max(axis=1) < LABEL_WEIGHT)
        unsure |= ~np.isfinite(seen.temperature_k)
        if self._view.expects_water:
            unsure |= self._left_boil(pan, seen, low_k=low_k, absent=present == ABSENT)
        seen = replace(seen, flags=flags | flag(Quality.UNCERTAIN, unsure))
        return self._estimate(pan, seen, self._reported(pan, seen, carried), present=present)

    @property
    def _bound_k(self) -> float:
        return float(self._rules.u95_bound_delta_k)

    def _interval(self, pan: PanObservation) -> tuple[FloatArray, FloatArray]:
        """Return the ends of the central 95 % interval, (time,) each. [K]"""
        ends_k = mixture_quantiles(
            pan.reading.temperature_k,
            u_k=pan.reading.u_k,
            weight=pan.weight,
            levels=INTERVAL,
            last_k=self._ends_k,
        )
        return ends_k[:, 0].copy(), ends_k[:, 1].copy()

    def _shiny(self, pan: PanObservation, flags: FlagArray) -> BoolArray:
        """Return where a low emissivity cannot be excluded."""
        weight = group_weights(pan.weight, group=self._is_shiny, groups=2)[:, 1]
        seen = ~has(flags, Quality.COLD) & np.isfinite(pan.mean.mean_k)
        return np.asarray((weight > SHINY_WEIGHT) & seen)

    def _left_boil(
        self, pan: PanObservation, seen: BurnerReading, *, low_k: FloatArray, absent: BoolArray
    ) -> BoolArray:
        """Return where told water leaves the boil as no water can."""
        hand = has(seen.flags, Quality.HAND | Quality.COVERED)
        return left_boil(
            np.where(hand, np.nan, seen.temperature_k),
            low_k=low_k,
            absent=absent,
            time_s=pan.moments.time_s,
            boiling_k=self._view.boiling_k,
            memory=self._boiled,
        )

    def _reported(
        self, pan: PanObservation, seen: BurnerReading, carried: Carried
    ) -> BurnerReading:
        """Return what is reported: food over a hidden pan, or the pan that a model carries on."""
        hidden = has(seen.flags, Quality.COVERED | Quality.HAND)
        known = np.where(np.isfinite(seen.temperature_k), seen.of, -1)
        read = replace(seen, of=np.where(hidden, FOOD, known))
        if not self._rules.carry_hidden_pan:
            return read
        return carried.taken_over(read, hidden=pan.hidden, bound_k=self._bound_k)

    def _estimate(
        self,
        pan: PanObservation,
        seen: BurnerReading,
        read: BurnerReading,
        *,
        present: Int8Array,
    ) -> BurnerEstimate:
        """Return the record; ``seen`` is the reading of the surface that is in view."""
        valid = ~has(read.flags, BLOCKING)
        uneven_k, shape = pan_shape(
            pan, read=read, unhidden=~has(seen.flags, BLOCKING), memory=self._shape
        )
        open_pixels = pan.trace.read(panreading.OPEN_PIXELS)
        return BurnerEstimate(
            burner=self._view.name,
            head=self._view.head.head.name,
            present=present,
            of=read.of.astype(np.int8),
            reported_k=np.where(valid, read.temperature_k, np.nan),
            u95_k=np.where(valid, read.u95_k, np.nan),
            hottest_k=_hottest_k(pan, seen),
            nonuniformity_k=uneven_k,
            apparent_k=pan.mean.mean_k,
            flags=read.flags,
            heat_on=self._heat_on(pan),
            pixels=np.minimum(open_pixels, 127).astype(np.int8),
            withheld_k=np.where(valid, np.nan, seen.temperature_k),
            shape=shape,
        )

    def _flags(self, pan: PanObservation) -> FlagArray:
        """Return what the pixels and the sensor's state say against a reading, (time,)."""
        trace, card, moments = pan.trace, self._view.head.card, pan.moments
        cold = ~(trace.contrast_k >= least_contrast_k(card)) | np.isnan(trace.radius_m)
        covered_frac = trace.read(panreading.COVERED_FRAC)
        hand = (trace.read(panreading.NEW_COVERED_FRAC) > HAND_SHARE) | pan.leaps
        few = trace.read(panreading.OPEN_PIXELS) < self._rules.min_pixels
        covered = ((covered_frac > COVERED_SHARE) & ~hand) | (
            few & (covered_frac > FEW_COVERED_SHARE)
        )
        low_k = -np.inf if card.range_low_k is None else float(card.range_low_k)
        conditions = {
            Quality.STALE: moments.stale,
            Quality.SATURATED: trace.read(panreading.SATURATED) > 0,
            Quality.HAND: hand,
            Quality.COVERED: covered,
            Quality.STEAM: self._steam(pan),
            Quality.TOO_FEW_PIXELS: few & ~cold,
            Quality.COLD: cold,
            Quality.BELOW_RANGE: pan.mean.mean_k < low_k,
            Quality.SETTLING: moments.settling,
            Quality.EDGE: self._view.region.edge_m < np.nan_to_num(trace.radius_m),
            Quality.DEAD_PIXEL: trace.read(panreading.DEAD) > 0,
        }
        flags = np.zeros(cold.shape, dtype=np.uint32)
        for which, condition in conditions.items():
            flags |= flag(which, condition)
        return flags

    def _steam(self, pan: PanObservation) -> BoolArray:
        """Droplets drift: the mean of many pixels flickers far above what noise leaves of it."""
        trace, whole_k = pan.trace, pan.trace.read(panreading.WHOLE_K)
        seen = flicker(
            np.where(trace.read(panreading.NEW_COVERED_FRAC) > 0, np.nan, whole_k),
            time_s=pan.moments.time_s,
            span_s=STEAM_SPAN_S,
            cap=STEAM_CAP_K,
            memory=self._flicker,
        )
        pixels = np.maximum(trace.read(panreading.PIXELS), 1)
        noise = self._view.head.noise_k(whole_k) / np.sqrt(pixels)
        return np.asarray(seen > np.maximum(STEAM_FLICKER_K, STEAM_SIGMAS * noise))

    def _presence(self, pan: PanObservation) -> Int8Array:
        """Pan seen, not known, or taken off: the contrast of a known pan fell within 3 s."""
        contrast_k, time_s = pan.trace.contrast_k, pan.moments.time_s
        seen = (contrast_k >= MIN_CONTRAST_K) & np.isfinite(pan.trace.radius_m)
        before_k, times_s, _ = self._contrast.extended(contrast_k, time_s)
        earlier = np.searchsorted(times_s, time_s - TAKEN_OFF_S)
        fell = ~seen & (before_k[earlier] > TAKEN_OFF_K)
        index = np.arange(time_s.size)
        last_fall = np.maximum.accumulate(np.where(fell, index, -1))
        last_seen = np.maximum.accumulate(np.where(seen, index, -1))
        gone = last_fall > last_seen
        if self._taken_off:
            gone |= (last_fall < 0) & (last_seen < 0)
        self._taken_off = bool(gone[-1])
        return np.where(seen, PRESENT, np.where(gone, ABSENT, UNSURE)).astype(np.int8)

    def _heat_on(self, pan: PanObservation) -> BoolArray:
        """Heating: warmer than the declared level and not cooling, or rising."""
        mean_k = pan.mean.mean_k
        values, times_s, begins = self._mean.extended(mean_k, pan.moments.time_s)
        rate = np.nan_to_num(
            trailing_slope(
                values, time_s=times_s, span_s=HEAT_SPAN_S, least_s=HEAT_MIN_SPAN_S, start=begins
            )
        )
        level = np.nan_to_num(mean_k, nan=0.0, posinf=2000.0)
        warm = level > float(self._rules.heated_above_k)
        saturated = pan.trace.read(panreading.SATURATED) > 0
        return np.asarray((warm & (rate > -FALLING_KPS)) | (rate > RISING_KPS) | saturated)


def _hottest_k(pan: PanObservation, seen: BurnerReading) -> FloatArray:
    """Hottest 5 cm2 for the alerts; saturation is "at least this hot", a shiny pan is unknown."""
    above_k = pan.slope * (pan.trace.read(panreading.HOTTEST_K) - pan.mean.mean_k)
    blind = has(seen.flags, BLIND | Quality.SHINY)
    hottest_k = np.where(blind, np.nan, seen.temperature_k + above_k)
    return np.where(pan.trace.read(panreading.SATURATED) > 0, np.inf, hottest_k)


# ---------------------------------------------------- a pan under food or a hand
@dataclass(frozen=True)
class Carried:
    """A pan that is not seen whole, as a model carries it on, arrays (time,); NaN if not known.

    What is still seen of it is the other witness. The open part is reported as long as it is
    enough of the pan; beyond that the carried temperature, whose interval grows until it is
    withheld.
    """

    temperature_k: FloatArray
    u95_k: FloatArray
    growth: FloatArray
    """Height over the room in terms of that when last seen whole."""

    def widened(self, seen: BurnerReading, hidden_u95_k: FloatArray) -> FloatArray:
        """Return the half-width of the interval of the open part beside food. [K]

        A pan that heats under food gets more uneven than it was when last seen whole,
        and the intervals of the two witnesses have to meet.
        """
        more = hidden_u95_k * np.sqrt(np.nan_to_num(self.growth, nan=1.0) ** 2 - 1.0)
        wide = np.hypot(seen.u95_k, more)
        return np.asarray(
            np.fmax(wide, np.abs(seen.temperature_k - self.temperature_k) - self.u95_k)
        )

    def taken_over(
        self, seen: BurnerReading, *, hidden: FloatArray, bound_k: float
    ) -> BurnerReading:
        """Return what is reported: the carried pan where food hides too much of it."""
        taken = has(seen.flags, BLOCKING) & ~has(seen.flags, BLOCKING & ~PAST)
        taken &= (hidden > 0.0) & np.isfinite(self.temperature_k) & (self.u95_k <= bound_k)
        flags = np.where(taken, seen.flags & ~np.uint32(PAST), seen.flags)
        return BurnerReading(
            of=np.where(taken, HIDDEN_PAN, seen.of),
            temperature_k=np.where(taken, self.temperature_k, seen.temperature_k),
            u95_k=np.where(taken, self.u95_k, seen.u95_k),
            flags=flags | flag(Quality.CARRIED, taken),
        )


def carried_pan(pan: PanObservation, *, read: BurnerReading, memory: FloatArray) -> Carried:
    """Return the pan as it is carried on from when it was last seen whole."""
    reading_k = read.temperature_k
    whole = ~has(read.flags, BLOCKING) & (pan.hidden == 0.0) & np.isfinite(reading_k)
    pan_k = reading_k + pan.slope * (pan.mean.whole_k - pan.mean.mean_k)
    found = carry(
        np.where(whole, pan_k, np.nan),
        u_k=read.u95_k / U95,
        time_s=pan.moments.time_s,
        covered_frac=pan.hidden,
        fresh=pan.trace.read(panreading.NEW_COVERED_FRAC) > HAND_SHARE,
        rule=pan.view.carry,
        memory=memory,
    )
    return Carried(found[:, 0], U95 * found[:, 1], found[:, 2])
