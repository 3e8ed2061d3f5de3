"""From what is seen of a burner to what is reported, and what stands against it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from trivet.arrays import BoolArray, FlagArray, FloatArray, Int8Array, IntArray
from trivet.physics.heat.carriedpan import nothing_carried
from trivet.physics.heat.leftboil import left_boil, never_boiled
from trivet.physics.image import panreading
from trivet.physics.image.burnerpass import PanTrace
from trivet.physics.image.trend import Tail, flicker, flicker_memory, trailing_slope
from trivet.physics.radiation.mixture import mixture_quantiles
from trivet.physics.radiation.seensurface import (
    Hypothesis,
    group_weights,
)
from trivet.quality import BLOCKING, Quality, flag, has
from trivet.records.design import Design
from trivet.records.estimate import ABSENT, PRESENT, UNSURE, BurnerEstimate, PanShape
from trivet.records.requirement import OF_WORDS
from trivet.records.sensorcard import SensorCard
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.hidden import U95, Reported, carried_pan
from trivet.stages.estimate.seen import Seen
from trivet.stages.estimate.shape import (
    RATE_SPAN_S,
    nonuniformity_k,
    pan_shape,
    ring_fits_k,
)
from trivet.stages.estimate.view import HeadView, Moments, noise_k

INTERVAL = (0.025, 0.975)
MIN_CONTRAST_K = 4.0
LABEL_WEIGHT = 0.8
SHINY_WEIGHT = 0.025
HAND_SHARE = 0.08
HIDDEN_SHARE = 0.6
STEAM_FLICKER_K, STEAM_SPAN_S = 0.35, 3.0
TAKEN_OFF_S = 3.0
HEAT_SPAN_S = 15.0


@dataclass
class ValidityMemory:
    """What judging remembers of earlier moments."""

    ends_k: FloatArray = field(default_factory=lambda: np.full(len(INTERVAL), np.nan))
    contrast: Tail = field(default_factory=lambda: Tail(TAKEN_OFF_S))
    taken_off: bool = False
    mean: Tail = field(default_factory=lambda: Tail(HEAT_SPAN_S))
    hottest: Tail = field(default_factory=lambda: Tail(RATE_SPAN_S))
    middle: FloatArray = field(default_factory=lambda: np.full(5, np.nan))
    flicker: FloatArray = field(default_factory=flicker_memory)
    carried: FloatArray = field(default_factory=nothing_carried)
    boiled: FloatArray = field(default_factory=never_boiled)


def least_contrast_k(card: SensorCard) -> float:
    """Return the contrast under which no pan is told from the hob."""
    return max(MIN_CONTRAST_K, 5 * float(card.netd_delta_k))


def validate_reading(
    view: BurnerView, *, seen: Seen, moments: Moments, design: Design, memory: ValidityMemory
) -> BurnerEstimate:
    """Return what is reported, and what stands against it."""
    trace, weight = seen.trace, seen.weight
    ends = mixture_quantiles(
        seen.reading.temperature_k,
        u_k=seen.reading.u_k,
        weight=weight,
        levels=INTERVAL,
        last_k=memory.ends_k,
    )
    low, high = ends[:, 0].copy(), ends[:, 1].copy()
    # The middle of the interval, so that reported -/+ u95 is the interval itself.
    middle, u95 = (low + high) / 2, (high - low) / 2
    of, sure = _label(weight, view.hypotheses)
    present = _presence(trace, moments.time_s, memory)
    flags = _flags(view, seen=seen, moments=moments, design=design, memory=memory)
    flags |= flag(Quality.ABSENT, present == ABSENT)
    shiny = _low_emissivity_weight(weight, view, design) > SHINY_WEIGHT
    shiny &= ~has(flags, Quality.COLD) & np.isfinite(seen.mean_k)
    flags |= flag(Quality.SHINY, shiny)
    read = Reported(of, middle, u95, flags)
    carried = carried_pan(view, seen=seen, read=read, time_s=moments.time_s, memory=memory.carried)
    hidden_u95 = U95 * seen.slope * seen.hidden_u_k
    u95 = carried.widened(u95, reading_k=middle, hidden_u95_k=hidden_u95)
    bound = float(design.estimation.u95_bound_delta_k)
    unsure = (u95 > bound) | (sure < LABEL_WEIGHT) | ~np.isfinite(middle)
    if view.expects_water:
        hand = has(flags, Quality.HAND | Quality.COVERED)
        unsure |= left_boil(
            np.where(hand, np.nan, middle),
            low_k=low,
            absent=present == ABSENT,
            time_s=moments.time_s,
            boiling_k=view.boiling_k,
            memory=memory.boiled,
        )
    flags |= flag(Quality.UNCERTAIN, unsure)
    hottest = _hottest(seen, middle=middle, shiny=shiny, flags=flags)
    open_ = ~has(flags, BLOCKING)
    hidden = has(flags, Quality.COVERED | Quality.HAND)
    of = np.where(hidden, OF_WORDS.index("food"), np.where(np.isfinite(middle), of, -1))
    read = Reported(of, middle, u95, flags)
    if design.estimation.carry_hidden_pan:
        read = carried.taken_over(read, hidden=seen.hidden, bound_k=bound)
    valid = ~has(read.flags, BLOCKING)
    uneven_k, shape = _shape(view, seen, read, open_, moments.time_s, memory)
    return BurnerEstimate(
        burner=view.name,
        head=view.head.head.name,
        present=present,
        of=read.of.astype(np.int8),
        reported_k=np.where(valid, read.temperature_k, np.nan),
        u95_k=np.where(valid, read.u95_k, np.nan),
        hottest_k=hottest,
        nonuniformity_k=uneven_k,
        apparent_k=seen.mean_k,
        flags=read.flags,
        heat_on=_heat_on(seen, moments.time_s, design, memory),
        pixels=np.minimum(trace.read(panreading.OPEN_PIXELS), 127).astype(np.int8),
        withheld_k=np.where(valid, np.nan, middle),
        shape=shape,
    )


def _shape(  # noqa: PLR0917
    view: BurnerView,
    seen: Seen,
    read: Reported,
    open_: BoolArray,
    time_s: FloatArray,
    memory: ValidityMemory,
) -> tuple[FloatArray, PanShape]:
    """Return P95 - P5, and where the pan stands and how uneven it is."""
    fits = ring_fits_k(view, seen)
    uneven_k = nonuniformity_k(seen, valid=open_, view=view, fits=fits)
    return uneven_k, pan_shape(
        view,
        seen=seen,
        uneven_k=uneven_k,
        read=read,
        time_s=time_s,
        memory=memory.hottest,
        middle=memory.middle,
        fits=fits,
    )


def _label(weight: FloatArray, hypotheses: tuple[Hypothesis, ...]) -> tuple[IntArray, FloatArray]:
    """Most probable surface and its weight, (time,)."""
    group = np.array([one.of for one in hypotheses], dtype=np.int64)
    share = group_weights(weight, group=group, groups=len(OF_WORDS))
    return share.argmax(axis=1), share.max(axis=1)


def _low_emissivity_weight(weight: FloatArray, view: BurnerView, design: Design) -> FloatArray:
    least = float(design.estimation.min_emissivity_frac)
    group = np.array([one.emissivity < least for one in view.hypotheses], dtype=np.int64)
    return group_weights(weight, group=group, groups=2)[:, 1]


def _flags(
    view: BurnerView, *, seen: Seen, moments: Moments, design: Design, memory: ValidityMemory
) -> FlagArray:
    trace, card = seen.trace, view.head.card
    cold = ~(trace.contrast_k >= least_contrast_k(card)) | np.isnan(trace.radius_m)
    covered_frac = trace.read(panreading.COVERED_FRAC)
    hand = trace.read(panreading.NEW_COVERED_FRAC) > HAND_SHARE
    hand |= seen.leaps
    covered = (covered_frac > HIDDEN_SHARE) & ~hand
    few = trace.read(panreading.OPEN_PIXELS) < design.estimation.min_pixels
    low = card.range_low_k
    below = seen.mean_k < float(low) if low is not None else np.zeros_like(cold)
    conditions = {
        Quality.STALE: moments.stale,
        Quality.SATURATED: trace.read(panreading.SATURATED) > 0,
        Quality.HAND: hand,
        Quality.COVERED: covered | (few & (covered_frac > 0.2)),
        Quality.STEAM: _steam(trace, moments.time_s, view.head, memory),
        Quality.TOO_FEW_PIXELS: few & ~cold,
        Quality.COLD: cold,
        Quality.BELOW_RANGE: below,
        Quality.SETTLING: moments.settling,
        Quality.EDGE: view.region.edge_m < np.nan_to_num(trace.radius_m),
        Quality.DEAD_PIXEL: trace.read(panreading.DEAD) > 0,
    }
    flags = np.zeros(cold.shape, dtype=np.uint32)
    for which, condition in conditions.items():
        flags |= flag(which, condition)
    return flags


def _steam(
    trace: PanTrace, time_s: FloatArray, head: HeadView, memory: ValidityMemory
) -> BoolArray:
    """Droplets drift: the mean of many pixels flickers far above what noise leaves of it."""
    whole_k = trace.read(panreading.WHOLE_K)
    still = np.where(trace.read(panreading.NEW_COVERED_FRAC) > 0, np.nan, whole_k)
    seen = flicker(
        still,
        time_s=time_s,
        span_s=STEAM_SPAN_S,
        cap=4 * STEAM_FLICKER_K,
        memory=memory.flicker,
    )
    noise = noise_k(whole_k, view=head) / np.sqrt(np.maximum(trace.read(panreading.PIXELS), 1))
    return np.asarray(seen > np.maximum(STEAM_FLICKER_K, 5 * noise))


def _presence(trace: PanTrace, time_s: FloatArray, memory: ValidityMemory) -> Int8Array:
    """Pan seen, not known, or taken off: the contrast of a known pan fell within 3 s."""
    seen = (trace.contrast_k >= MIN_CONTRAST_K) & np.isfinite(trace.radius_m)
    contrast_k, times_s, _ = memory.contrast.extended(trace.contrast_k, time_s)
    earlier = np.searchsorted(times_s, time_s - TAKEN_OFF_S)
    fell = ~seen & (contrast_k[earlier] > 4 * MIN_CONTRAST_K + 15)
    index = np.arange(time_s.size)
    last_fall = np.maximum.accumulate(np.where(fell, index, -1))
    last_seen = np.maximum.accumulate(np.where(seen, index, -1))
    gone = last_fall > last_seen
    if memory.taken_off:
        gone |= (last_fall < 0) & (last_seen < 0)
    memory.taken_off = bool(gone[-1])
    return np.where(seen, PRESENT, np.where(gone, ABSENT, UNSURE)).astype(np.int8)


def _hottest(seen: Seen, *, middle: FloatArray, shiny: BoolArray, flags: FlagArray) -> FloatArray:
    """Hottest 5 cm2 for the alerts; saturation is "at least this hot", a shiny pan is unknown."""
    hottest = middle + seen.slope * (seen.trace.read(panreading.HOTTEST_K) - seen.mean_k)
    blind = Quality.STALE | Quality.HAND | Quality.COVERED | Quality.COLD | Quality.WINDOW
    hottest = np.where(shiny | has(flags, blind), np.nan, hottest)
    return np.where(seen.trace.read(panreading.SATURATED) > 0, np.inf, hottest)


def _heat_on(seen: Seen, time_s: FloatArray, design: Design, memory: ValidityMemory) -> BoolArray:
    """Heating: warmer than the declared level and not cooling, or rising."""
    values, times_s, begins = memory.mean.extended(seen.mean_k, time_s)
    rate = trailing_slope(values, time_s=times_s, span_s=HEAT_SPAN_S, start=begins)
    rate = np.nan_to_num(rate)
    level = np.nan_to_num(seen.mean_k, nan=0.0, posinf=2000.0)
    warm = level > float(design.estimation.heated_above_k)
    saturated = seen.trace.read(panreading.SATURATED) > 0
    return np.asarray((warm & (rate > -0.25)) | (rate > 0.1) | saturated)
