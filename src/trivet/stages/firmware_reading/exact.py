"""The firmware's reading in double precision, from the records and not from its constants.

It takes design and calibration as they are, so that what the integers lose (rounded
constants, rounded words, tables, rounded steps) shows in full against it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.readingrules import HeadReading
from trivet.facts.thresholds import threshold
from trivet.models.calibration_views import reflected_temperature, window_u
from trivet.models.firmware_tables import (
    K95,
    MIN_CONTRAST_K,
    STEAM_K,
    TAKEN_OFF_K,
    UNEVEN_FRAC,
    boils_k,
    drop_k,
)
from trivet.models.optics import card_band
from trivet.physics.heat.leftboil import (
    ABOVE_BOIL_K,
    LEFT_BOIL_K,
    NEAR_BOIL_K,
    WATER_COOLING_KPS,
)
from trivet.physics.radiation.path import before_window
from trivet.physics.radiation.planck import Band, band_radiance, radiating_temperature_k
from trivet.quality import BLOCKING, Quality
from trivet.records.calibration import Calibration, HeadCalibration
from trivet.records.design import Design, Head
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import HeadFrames
from trivet.records.requirement import OF_WORDS
from trivet.stages.firmware_reading.exactpixels import Counted, Covered, counted

TAKEN_OFF_S, STEAM_S = threshold("taken_off_s"), threshold("steam_span_s")
HEAT_S, MIN_HEAT_S = threshold("heat_span_s"), threshold("device_heat_min_span_s")
NEAR_S, HAND_SHARE = threshold("boil_back_s"), threshold("hand_share_frac")


@dataclass(frozen=True)
class ExactBurner:
    """What the exact rules say of one burner, arrays (time,)."""

    reported_k: FloatArray
    u95_k: FloatArray
    hottest_k: FloatArray
    flags: IntArray
    present: IntArray
    heat_on: BoolArray
    of: IntArray
    """Index in OF_WORDS, -1 of nothing."""
    nonuniformity_k: FloatArray
    apparent_k: FloatArray
    open_: IntArray


def exact_estimate(
    burners: Mapping[str, tuple[str, ExactBurner]], *, time_s: FloatArray
) -> Estimate:
    """Return what the exact rules say as an estimate; ``burners`` holds head and words of each."""
    return Estimate(
        time_s=time_s,
        burners=tuple(
            BurnerEstimate(
                burner=name,
                head=head,
                present=one.present.astype(np.int8),
                of=one.of.astype(np.int8),
                reported_k=one.reported_k,
                u95_k=one.u95_k,
                hottest_k=one.hottest_k,
                nonuniformity_k=one.nonuniformity_k,
                apparent_k=one.apparent_k,
                flags=one.flags.astype(np.uint32),
                heat_on=one.heat_on,
                pixels=np.minimum(one.open_, 127).astype(np.int8),
            )
            for name, (head, one) in burners.items()
        ),
    )


def exact_reading(
    frames: HeadFrames,
    *,
    told: IntArray,
    constants: HeadReading,
    design: Design,
    calibration: Calibration,
) -> tuple[ExactBurner, ...]:
    """Return what the firmware's rules say without its integers, burner by burner."""
    head = next(one for one in design.heads if one.name == constants.head)
    own, band = calibration.head(constants.head), card_band(design.card(head))
    scene, decay = _even(frames, own)
    covered, drop = Covered.nothing(constants.pixels), drop_k(design.card(head))
    rows: list[list[Counted]] = [[] for _ in constants.burners]
    hob_k = np.full(frames.time_s.size, np.nan)
    places = [_place(b, int(told[b]), constants) for b in range(len(constants.burners))]
    cols, reporter = constants.numbers.cols, design.firmware.reporter
    before = frames.time_s[0]
    for t, now in enumerate(frames.time_s.tolist()):
        covered.cover(scene[t], now_s=now, step_s=now - before, drop_k=drop)
        before = now
        beside = np.sort(scene[t][constants.beside][~np.isnan(scene[t][constants.beside])])
        if beside.size:
            hob_k[t] = beside[((beside.size - 1) * constants.numbers.hob_rank_q15) >> 15]
        for b, (place, hot) in enumerate(places):
            one = counted(
                scene[t], place=place, hot=hot, covered=covered, shape=(cols, now, reporter)
            )
            rows[b].append(one)
            if not place[2]:
                covered.uncover(scene[t], place=place[0], now_s=now, mean_k=one.mean_k, drop_k=drop)
    at = _Scene(frames, hob_k, decay, head, own, band, design)
    return tuple(
        _burner(rows[b], at, constants.surface[b, told[b]].tolist())
        for b in range(len(constants.burners))
    )


@dataclass(frozen=True)
class _Scene:
    frames: HeadFrames
    hob_k: FloatArray
    decay: FloatArray
    head: Head
    own: HeadCalibration
    band: Band
    design: Design


def _place(
    b: int, told: int, constants: HeadReading
) -> tuple[tuple[IntArray, FloatArray, bool, float], IntArray]:
    c, row = constants, constants.surface[b, told]
    m = int(row[rules.MASK])
    part = slice(int(c.mask_start[m]), int(c.mask_start[m + 1]))
    hot = c.hot_pixel[int(c.hot_start[m]) : int(c.hot_start[m + 1])]
    n = c.numbers
    steps = [i * n.cols + k for i in range(n.hot_rows) for k in range(n.hot_cols)]
    liquid = bool(row[rules.BITS] & rules.LIQUID)
    place = (c.mask_pixel[part], c.mask_weight[part].astype(np.float64), liquid)
    rim = float(c.mask_rim[m]) / 32768.0
    return (*place, rim), hot[:, None] + np.array(steps, dtype=np.int64)


def _even(frames: HeadFrames, own: HeadCalibration) -> tuple[FloatArray, FloatArray]:
    """Return frames (time, pixel) without pixel terms and drift, and the decay after wake."""
    time_s, sensor_k, drift = frames.time_s, frames.sensor_k, own.drift
    scene = frames.apparent_k.reshape(time_s.size, -1).astype(np.float64)
    if own.pixels is not None:
        one = own.pixels
        housing = sensor_k[:, None]
        gain, offset = one.gain.ravel(), one.offset_k.ravel()
        scene = np.where(one.bad.ravel(), np.nan, (scene - offset - housing) / gain + housing)
    decay = np.exp(-np.maximum(frames.awake_s, 0.0) / drift.tau_s)
    decay = np.where(frames.awake_s >= 8 * drift.tau_s, 0.0, decay)
    a, b, c, d = (float(value) for value in drift.value)
    offset = a + b * (sensor_k - drift.housing_ref_k) + c * _rate(time_s, sensor_k) + d * decay
    return scene - offset[:, None], decay


def _rate(time_s: FloatArray, value: FloatArray) -> FloatArray:
    """Return the least-squares rate over readings 1 s apart in the last 30 s, 0 under 10 s."""
    kept: list[int] = []
    rate = np.zeros(time_s.size)
    for t, now in enumerate(time_s.tolist()):
        if not kept or round((now - time_s[kept[-1]]) * 1000) >= 1000:
            kept = [*kept[-31:], t]
        while len(kept) > 1 and round((now - time_s[kept[0]]) * 1000) > 30_000:
            kept.pop(0)
        if time_s[kept[-1]] - time_s[kept[0]] >= 10.0:
            rate[t] = np.polyfit(time_s[kept] - time_s[kept[-1]], value[kept], 1)[0]
    return rate


def _burner(rows: list[Counted], at: _Scene, surface: list[int]) -> ExactBurner:
    design, own, time_s = at.design, at.own, at.frames.time_s
    card, tau = design.card(at.head), float(own.transmittance)
    get = {name: np.array([getattr(r, name) for r in rows]) for name in Counted.__annotations__}
    mean, every, covered = get["mean_k"], get["every"], get["covered"]
    contrast = (mean - at.hob_k) / tau
    present = _presence(
        contrast,
        time_s,
        max(MIN_CONTRAST_K, threshold("contrast_noise_sigmas") * float(card.netd_delta_k)),
    )
    cold, few = present != 1, get["open_"] < design.estimation.min_pixels
    hand = get["fresh"] > HAND_SHARE * every
    settle = float(card.settle_s or 0.0)
    low = -np.inf if card.range_low_k is None else float(card.range_low_k)
    shiny = bool(surface[rules.BITS] & rules.SHINY)
    gap = np.diff(time_s, prepend=time_s[0]) > float(design.estimation.stale_after_s)
    conditions = {
        Quality.STALE: gap,
        Quality.SATURATED: get["hot"] > 0,
        Quality.HAND: hand,
        Quality.STEAM: _steams(get, time_s, card.netd_delta_k),
        Quality.COVERED: ((covered > 0.6 * every) & ~hand) | (few & (covered > 0.2 * every)),
        Quality.TOO_FEW_PIXELS: few & ~cold,
        Quality.ABSENT: present == 0,
        Quality.COLD: cold,
        Quality.SHINY: ~cold & ~np.isnan(mean) & shiny,
        Quality.BELOW_RANGE: (get["under"] > 0) | (mean < low),
        Quality.SETTLING: at.frames.awake_s < settle,
        Quality.DEAD_PIXEL: get["dead"] > 0,
    }
    flags = np.zeros(time_s.size, dtype=np.int64)
    for flag, condition in conditions.items():
        flags |= np.where(condition, int(flag), 0)
    middle, half = _middle(get, at, surface)
    bound = float(design.estimation.u95_bound_delta_k)
    unsure = ~(half <= bound) | bool(surface[rules.BITS] & rules.AMBIGUOUS)
    if surface[rules.BITS] & rules.LIQUID:
        unsure |= _left_boil(middle, half, present, time_s, boils_k(design))
    flags |= np.where(unsure, int(Quality.UNCERTAIN), 0)
    valid = flags & int(BLOCKING) == 0
    blind = int(Quality.STALE | Quality.HAND | Quality.COVERED | Quality.COLD | Quality.SHINY)
    hottest = _inverted(get["hottest_k"], surface[rules.EPS_MIDDLE] / 32768.0, at)
    hottest = np.where(flags & blind == 0, hottest, np.nan)
    return ExactBurner(
        reported_k=np.where(valid, middle, np.nan),
        u95_k=np.where(valid, half, np.nan),
        hottest_k=np.where(get["hot"] > 0, np.inf, hottest),
        flags=flags,
        present=present,
        heat_on=_heats(
            get["plain_k"], get["hot"] > 0, time_s, float(design.estimation.heated_above_k)
        ),
        of=_of(flags, mean, surface),
        nonuniformity_k=np.where(valid, _uneven(get, at, surface), np.nan),
        apparent_k=np.where(cold, np.nan, _inverted(mean, 1.0, at)),
        open_=get["open_"].astype(np.int64),
    )


def _of(flags: IntArray, mean_k: FloatArray, surface: list[int]) -> IntArray:
    hidden = flags & int(Quality.COVERED | Quality.HAND) != 0
    bare = np.where(np.isnan(mean_k), -1, surface[rules.SURFACE_OF])
    return np.where(hidden, OF_WORDS.index("food"), bare).astype(np.int64)


def _uneven(get: dict[str, FloatArray], at: _Scene, surface: list[int]) -> FloatArray:
    """Return the spread over the pan without the noise's part, NaN where too much is covered."""
    low, middle = get["low_k"], surface[rules.EPS_MIDDLE] / 32768.0
    noise = float(at.design.card(at.head).netd_delta_k)
    spread = np.sqrt(np.maximum((get["high_k"] - low) ** 2 - 11.0 * noise**2, 0.0))
    found = _inverted(low + spread, middle, at) - _inverted(low, middle, at)
    return np.where(get["covered"] <= 0.4 * get["every"], found, np.nan)


def _inverted(apparent_k: FloatArray, emissivity: float, at: _Scene) -> FloatArray:
    window = at.frames.sensor_k + at.head.window.rise_delta_k.middle
    seen = band_radiance(np.nan_to_num(apparent_k, nan=300.0), band=at.band)
    before = before_window(
        seen, transmittance=float(at.own.transmittance), window_k=window, band=at.band
    )
    reflected_k, _ = reflected_temperature(at.own, design=at.design)
    reflected = float(band_radiance(reflected_k, band=at.band))
    leaving = (before - (1.0 - emissivity) * reflected) / emissivity
    found = radiating_temperature_k(np.where(leaving > 0.0, leaving, np.nan), band=at.band)
    return np.where(np.isnan(apparent_k), np.nan, found)


def _middle(
    get: dict[str, FloatArray], at: _Scene, surface: list[int]
) -> tuple[FloatArray, FloatArray]:
    """Return middle and half-width of the interval."""
    own, drift, sensor_k = at.own, at.own.drift, at.frames.sensor_k
    spread = np.sqrt(np.maximum(np.diag(drift.covariance), 0.0))
    gain = math.hypot(own.gain_u, window_u(at.head, calibration=own) / float(own.transmittance))
    mean, hot = get["mean_k"], get["hottest_k"]
    terms = (
        np.full(mean.size, surface[rules.WIDE] / 64.0),
        K95 * spread[3] * at.decay,
        K95 * spread[1] * (sensor_k - drift.housing_ref_k),
        K95 * gain * (mean - sensor_k),
        UNEVEN_FRAC * (get["high_k"] - get["low_k"]),
    )
    wide = np.sqrt(sum(term**2 for term in terms))
    share = get["covered"] / np.maximum(get["every"], 1)
    wide = wide + np.nan_to_num(np.maximum(hot - mean, 0.0)) * share
    low = _inverted(mean - wide, surface[rules.EPS_HIGH] / 32768.0, at)
    high = _inverted(mean + wide, surface[rules.EPS_LOW] / 32768.0, at)
    return (low + high) / 2, (high - low) / 2


def _left_boil(
    middle: FloatArray, half: FloatArray, present: IntArray, time_s: FloatArray, boils: float
) -> BoolArray:
    """Return where what was told to be water has left the boil as no water can."""
    top = left = back = math.nan
    found, before = np.zeros(time_s.size, dtype=np.bool_), time_s[0]
    for t, now in enumerate(time_s.tolist()):
        step, before = min(max(now - before, 0.0), 60.0), now
        if present[t] == 0:
            top = left = math.nan
        if math.isnan(middle[t]):
            continue
        low = middle[t] - half[t]
        if math.isnan(left):
            top = np.fmax(middle[t], top - WATER_COOLING_KPS * step)
            fell = top > boils - NEAR_BOIL_K and middle[t] < top - LEFT_BOIL_K
            if fell or low > boils + ABOVE_BOIL_K:
                left, back = min(top, boils + ABOVE_BOIL_K), math.nan
        elif low > boils + ABOVE_BOIL_K or middle[t] < left - LEFT_BOIL_K / 2:
            back = math.nan
        elif math.isnan(back):
            back = now
        elif now - back >= NEAR_S:
            top, left = middle[t], math.nan
        found[t] = not math.isnan(left)
    return found


def _presence(contrast_k: FloatArray, time_s: FloatArray, least_k: float) -> IntArray:
    found = np.full(time_s.size, 2, dtype=np.int64)
    high_s, gone = -math.inf, False
    for t, now in enumerate(time_s.tolist()):
        if contrast_k[t] > TAKEN_OFF_K:
            high_s = now
        if contrast_k[t] >= least_k:
            gone = False
            found[t] = 1
            continue
        gone = gone or now - high_s <= TAKEN_OFF_S
        found[t] = 0 if gone else 2
    return found


def _steams(get: dict[str, FloatArray], time_s: FloatArray, noise_k: float) -> BoolArray:
    value = np.where(get["fresh"] == 0, get["whole_k"], np.nan)
    square, seen, found = 0.0, 0, np.zeros(time_s.size, dtype=np.bool_)
    last = before = math.nan
    for t, now in enumerate(value.tolist()):
        if math.isnan(now):
            seen = 0
            continue
        if seen == 2:
            step = time_s[t] - time_s[t - 1]
            second = min(abs(now - 2 * last + before), 4 * STEAM_K)
            square += (second**2 / 6 - square) * step / (step + STEAM_S)
        else:
            seen += 1
        last, before = now, last
        least = 25 * float(noise_k) ** 2 / max(get["every"][t], 1)
        found[t] = square > max(STEAM_K**2, least)
    return found


def _heats(
    mean_k: FloatArray, saturated: BoolArray, time_s: FloatArray, warm_k: float
) -> BoolArray:
    kept: list[tuple[float, float]] = []
    found = np.zeros(time_s.size, dtype=np.bool_)
    for t, now in enumerate(time_s.tolist()):
        kept = [one for one in kept if round((now - one[0]) * 1000) <= 1000 * HEAT_S]
        mean, rate = mean_k[t], 0.0
        if not math.isnan(mean):
            if kept and round((now - kept[0][0]) * 1000) >= 1000 * MIN_HEAT_S:
                rate = (mean - kept[0][1]) / (now - kept[0][0])
            if not kept or round((now - kept[-1][0]) * 1000) >= 1000:
                kept.append((now, mean))
        kept = kept[-15:]
        found[t] = saturated[t] or rate > 0.1 or (mean > warm_k and rate > -0.25)
    return found
