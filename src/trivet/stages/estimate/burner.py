"""One burner over time: its pan, its surface, its reading and what stands against it."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from trivet.kernels.image.panfinder import BurnerRegion, PanTrack, find_pan
from trivet.kernels.image.panreading import PanPixels, ReadingRule, read_pixels
from trivet.kernels.image.panrings import RingRule, read_rings, ring_area_frac
from trivet.kernels.image.trend import flicker, held_s, trailing_slope
from trivet.kernels.radiation.planck import (
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.kernels.radiation.seensurface import (
    Hypothesis,
    SurfaceReading,
    mixture_interval,
    read_surface,
    weigh,
)
from trivet.quality import BLOCKING, Quality
from trivet.records.design import Design
from trivet.records.estimate import ABSENT, PRESENT, UNSURE, BurnerEstimate
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate.view import Scene, noise_k, scene_uncertainty_k

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEAST_CONTRAST_K = 4.0
LABEL_WEIGHT = 0.8
SHINY_WEIGHT = 0.025
HAND_SHARE = 0.08
HIDDEN_SHARE = 0.6
UNEVEN_SHARE = 0.01
"""Standard uncertainty of a pan's mean as a share of its P95 - P5: rings, not cells, are read."""
RING_BEND_K = 40.0
HIDDEN_RING = 0.1
DOUBT_SHARE = 0.2
"""Standard uncertainty as a share of the distance between the readings with and without wall."""
STEAM_FLICKER_K = 0.35


@dataclass(frozen=True)
class BurnerView:
    """What one burner's reading needs from around it."""

    name: str
    head: str
    region: BurnerRegion
    background_k: FloatArray
    hypotheses: tuple[Hypothesis, ...]
    radii_m: tuple[float, float]
    """Smallest and largest radius of a rim, as projected onto the cooktop plane."""
    eye_m: tuple[float, float]
    """Foot of the head on the cooktop, from the burner's centre."""
    rise_frac: float
    """Height of the rim over the height of the head."""
    base_radius_m: float | None
    """Radius of the base, where the cook told which pan it is."""
    boiling_k: float
    settling: BoolArray
    stale: BoolArray


def read_burner(view: BurnerView, *, scene: Scene, design: Design) -> BurnerEstimate:
    """Return the estimate of one burner from its pixels, causally."""
    time_s = scene.frames.time_s
    pixels_k = scene.scene_k[:, view.region.rows, view.region.cols]
    track = find_pan(
        pixels_k,
        background_k=view.background_k,
        time_s=time_s,
        region=view.region,
        radii_m=view.radii_m,
        least_contrast_k=max(LEAST_CONTRAST_K, 5 * float(scene.card.netd_delta_k)),
    )
    stats = read_pixels(
        pixels_k,
        track=track,
        time_s=time_s,
        region=view.region,
        rule=_rule(view, scene=scene),
    )
    doubt = np.zeros(time_s.size)
    if not _expects_water(view):
        stats, doubt = _with_rim(stats, pixels_k, track=track, view=view, scene=scene)
    reading, weight = _surfaces(view, stats=stats, doubt_k=doubt, scene=scene, design=design)
    return _judge(
        view,
        track=track,
        stats=stats,
        surfaces=(reading, weight),
        scene=scene,
        design=design,
    )


def _surfaces(
    view: BurnerView, *, stats: PanPixels, doubt_k: FloatArray, scene: Scene, design: Design
) -> tuple[SurfaceReading, FloatArray]:
    """Return the temperature under each hypothesis, and how much each weighs."""
    time_s = scene.frames.time_s
    rate = trailing_slope(stats.mean_k, time_s=time_s, span_s=8.0)
    still = held_s(np.abs(np.nan_to_num(rate, nan=9.0)) < 0.06, time_s=time_s)
    common = scene_uncertainty_k(stats.mean_k, scene=scene, pixels=stats.open_pixels)
    spread = UNEVEN_SHARE * np.nan_to_num(stats.p95_k - stats.p5_k)
    reading = read_surface(
        stats.mean_k,
        hypotheses=view.hypotheses,
        surround_k=design.surroundings.reflected_k.middle,
        surround_u_k=design.surroundings.reflected_k.standard_uncertainty,
        scene_u_k=np.sqrt(common**2 + spread**2 + doubt_k**2),
        band=scene.band,
    )
    weight = weigh(
        reading,
        hypotheses=view.hypotheses,
        scene_rate_kps=rate,
        boiling_k=view.boiling_k,
        plateau_s=still,
    )
    return reading, weight


def _with_rim(
    stats: PanPixels, pixels_k: FloatArray, *, track: PanTrack, view: BurnerView, scene: Scene
) -> tuple[PanPixels, FloatArray]:
    """Return the statistics with the mean over the whole pan, and that mean's uncertainty.

    How much of the outermost ring is base and how much the inner wall depends on
    how high the rim stands. Both ends are read, no wall and a wall as deep as the
    pan; the radius that was found says where between them, and a share of their
    distance is doubt.
    """
    ends = [
        _ring_mean(stats, pixels_k, track=track, view=view, scene=scene, rise_frac=rise)
        for rise in (0.0, view.rise_frac)
    ]
    walled = _walled(track, view)
    mean = (1 - walled) * ends[0][0] + walled * ends[1][0]
    coldest = np.minimum(ends[0][1], ends[1][1])
    usable = np.isfinite(mean) & np.isfinite(stats.mean_k)
    doubt = np.where(usable, DOUBT_SHARE * np.abs(ends[0][0] - ends[1][0]), 0.0)
    return replace(
        stats,
        mean_k=np.where(usable, mean, stats.mean_k),
        p5_k=np.where(usable, np.fmin(stats.p5_k, coldest), stats.p5_k),
    ), doubt


def _walled(track: PanTrack, view: BurnerView) -> FloatArray:
    """Share of the way from a flat disc to a full wall that the found radius speaks for."""
    if view.base_radius_m is None:
        return np.full(track.radius_m.shape, 0.5)
    full = view.base_radius_m / (1 - view.rise_frac)
    return np.clip((track.radius_m - view.base_radius_m) / (full - view.base_radius_m), 0.0, 1.0)


def _ring_mean(
    stats: PanPixels,
    pixels_k: FloatArray,
    *,
    track: PanTrack,
    view: BurnerView,
    scene: Scene,
    rise_frac: float,
) -> tuple[FloatArray, FloatArray]:
    """Return area mean and outermost ring of the open part of a pan, in apparent temperature."""
    slope = float(band_radiance_slope(400.0, band=scene.band))
    finite = np.isfinite(pixels_k)
    radiance = band_radiance(np.where(finite, pixels_k, 300.0), band=scene.band)
    rim = track.radius_m
    if view.base_radius_m is not None:
        rim = np.where(np.isnan(rim), np.nan, view.base_radius_m / (1 - rise_frac))
    rings = read_rings(
        np.where(finite, radiance, np.nan),
        covered=stats.covered,
        background=band_radiance(view.background_k, band=scene.band),
        track=replace(track, radius_m=rim),
        region=view.region,
        rule=RingRule(
            blur_px=float(scene.card.blur_px),
            noise=float(scene.card.netd_delta_k) * slope,
            bend=RING_BEND_K * slope,
            eye_m=view.eye_m,
            rise_frac=rise_frac,
        ),
    )
    ring_k = radiating_temperature_k(rings.radiance, band=scene.band)
    # A ring that lies all but hidden is not explained by any pixel.
    weight = ring_area_frac() * np.where(rings.open_frac < HIDDEN_RING, 0.0, rings.open_frac)
    total = weight.sum(axis=1)
    mean = (weight * np.nan_to_num(ring_k)).sum(axis=1) / np.where(total > 0, total, 1.0)
    usable = (total > 0.2) & (np.isfinite(ring_k) | (weight == 0.0)).all(axis=1)
    return np.where(usable, mean, np.nan), np.where(usable, ring_k[:, -1], np.nan)


def _expects_water(view: BurnerView) -> bool:
    water = sum(one.prior for one in view.hypotheses if one.is_water)
    return water >= 0.5 * sum(one.prior for one in view.hypotheses)


def _rule(view: BurnerView, *, scene: Scene) -> ReadingRule:
    return ReadingRule(
        trim_m=(0.5 + 2.0 * float(scene.card.blur_px)) * view.region.pitch_m,
        drop_k=max(15.0, 8 * float(scene.card.netd_delta_k)),
        sees_food=not _expects_water(view),
    )


def _judge(
    view: BurnerView,
    *,
    track: PanTrack,
    stats: PanPixels,
    surfaces: tuple[SurfaceReading, FloatArray],
    scene: Scene,
    design: Design,
) -> BurnerEstimate:
    """Return what is reported, and what stands against it."""
    time_s = scene.frames.time_s
    reading, weight = surfaces
    _, low, high = mixture_interval(reading, weight=weight)
    # The middle of the interval, so that reported -/+ u95 is the interval itself.
    middle, u95 = (low + high) / 2, (high - low) / 2
    of, sure = _label(weight, view.hypotheses)
    flags = _flags(view, track=track, stats=stats, scene=scene, design=design)
    cold = (flags & np.uint32(Quality.COLD)) != 0
    shiny = weight[:, _low_emissivity(view, design)].sum(axis=1) > SHINY_WEIGHT
    shiny &= ~cold & np.isfinite(stats.mean_k)
    flags |= np.where(shiny, Quality.SHINY, 0).astype(np.uint32)
    bound = float(design.estimation.u95_bound_delta_k)
    unsure = (u95 > bound) | (sure < LABEL_WEIGHT) | ~np.isfinite(middle)
    flags |= np.where(unsure, Quality.UNCERTAIN, 0).astype(np.uint32)
    valid = (flags & np.uint32(BLOCKING)) == 0
    slope = (weight * np.nan_to_num(reading.slope)).sum(axis=1)
    hidden = (flags & np.uint32(Quality.COVERED | Quality.HAND)) != 0
    return BurnerEstimate(
        burner=view.name,
        head=view.head,
        present=_presence(track, stats, time_s),
        of=np.where(hidden, OF_WORDS.index("food"), np.where(np.isfinite(middle), of, -1)),
        reported_k=np.where(valid, middle, np.nan),
        u95_k=np.where(valid, u95, np.nan),
        hottest_k=_hottest(stats, middle=middle, slope=slope, shiny=shiny, flags=flags),
        nonuniformity_k=_nonuniformity(stats, slope=slope, valid=valid, scene=scene),
        flags=flags,
        heat_on=_heat_on(middle, stats, time_s, design),
        pixels=np.minimum(stats.open_pixels, 127),
    )


def _label(
    weight: FloatArray, hypotheses: tuple[Hypothesis, ...]
) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Most probable surface and its weight, (time,)."""
    share = np.zeros((weight.shape[0], len(OF_WORDS)))
    for k, one in enumerate(hypotheses):
        share[:, one.of] += weight[:, k]
    return share.argmax(axis=1), share.max(axis=1)


def _low_emissivity(view: BurnerView, design: Design) -> list[int]:
    least = float(design.estimation.min_emissivity_frac)
    return [k for k, one in enumerate(view.hypotheses) if one.emissivity < least]


def _flags(
    view: BurnerView, *, track: PanTrack, stats: PanPixels, scene: Scene, design: Design
) -> npt.NDArray[np.uint32]:
    least = max(LEAST_CONTRAST_K, 5 * float(scene.card.netd_delta_k))
    cold = ~(track.contrast_k >= least) | np.isnan(track.radius_m)
    hand = stats.new_covered_frac > HAND_SHARE
    covered = (stats.covered_frac > HIDDEN_SHARE) & ~hand
    few = stats.open_pixels < design.estimation.min_pixels
    low = scene.card.range_low_k
    below = stats.mean_k < float(low) if low is not None else np.zeros_like(cold)
    conditions = {
        Quality.STALE: view.stale,
        Quality.SATURATED: stats.saturated > 0,
        Quality.HAND: hand,
        Quality.COVERED: covered | (few & (stats.covered_frac > 0.2)),
        Quality.STEAM: _steam(stats, scene=scene),
        Quality.TOO_FEW_PIXELS: few & ~cold,
        Quality.ABSENT: _presence(track, stats, scene.frames.time_s) == ABSENT,
        Quality.COLD: cold,
        Quality.BELOW_RANGE: below,
        Quality.SETTLING: view.settling,
        Quality.EDGE: view.region.edge_m < np.nan_to_num(track.radius_m),
        Quality.DEAD_PIXEL: stats.dead > 0,
    }
    flags = np.zeros(cold.shape, dtype=np.uint32)
    for flag, condition in conditions.items():
        flags |= np.where(condition, np.uint32(flag), np.uint32(0))
    return flags


def _steam(stats: PanPixels, *, scene: Scene) -> BoolArray:
    """Droplets drift: the mean of many pixels flickers far above what noise leaves of it."""
    still = np.where(stats.new_covered_frac > 0, np.nan, stats.whole_k)
    seen = flicker(still, time_s=scene.frames.time_s, span_s=3.0, cap=4 * STEAM_FLICKER_K)
    noise = noise_k(stats.whole_k, scene=scene) / np.sqrt(np.maximum(stats.pixels, 1))
    return np.asarray(seen > np.maximum(STEAM_FLICKER_K, 5 * noise))


def _presence(track: PanTrack, stats: PanPixels, time_s: FloatArray) -> npt.NDArray[np.int8]:
    """Pan seen, not known, or taken off: the contrast of a known pan fell within 3 s."""
    seen = (track.contrast_k >= LEAST_CONTRAST_K) & np.isfinite(track.radius_m)
    index = np.arange(time_s.size)
    earlier = np.searchsorted(time_s, time_s - 3.0)
    fell = ~seen & (track.contrast_k[earlier] > 4 * LEAST_CONTRAST_K + 15)
    last_fall = np.maximum.accumulate(np.where(fell, index, -1))
    last_seen = np.maximum.accumulate(np.where(seen, index, -1))
    gone = (last_fall >= 0) & (last_fall > last_seen)
    return np.where(seen, PRESENT, np.where(gone, ABSENT, UNSURE)).astype(np.int8)


def _hottest(
    stats: PanPixels,
    *,
    middle: FloatArray,
    slope: FloatArray,
    shiny: BoolArray,
    flags: npt.NDArray[np.uint32],
) -> FloatArray:
    """Hottest 5 cm2 for the alerts; saturation is "at least this hot", a shiny pan is unknown."""
    hottest = middle + slope * (stats.hottest_k - stats.mean_k)
    blind = Quality.STALE | Quality.HAND | Quality.COVERED | Quality.COLD | Quality.WINDOW
    unknown = shiny | ((flags & np.uint32(blind)) != 0)
    hottest = np.where(unknown, np.nan, hottest)
    return np.where(stats.saturated > 0, np.inf, hottest)


def _nonuniformity(
    stats: PanPixels, *, slope: FloatArray, valid: BoolArray, scene: Scene
) -> FloatArray:
    """P95 - P5 without the noise's share; withheld when more than 40 % is hidden."""
    noise = 2 * 1.645 * noise_k(stats.mean_k, scene=scene)
    spread = np.sqrt(np.maximum((stats.p95_k - stats.p5_k) ** 2 - noise**2, 0.0))
    return np.where(valid & (stats.covered_frac <= 0.4), slope * spread, np.nan)


def _heat_on(middle: FloatArray, stats: PanPixels, time_s: FloatArray, design: Design) -> BoolArray:
    """Heating: warmer than the declared level and not cooling, or rising."""
    slope = np.nan_to_num(trailing_slope(stats.mean_k, time_s=time_s, span_s=15.0))
    level = np.nan_to_num(stats.mean_k, nan=0.0, posinf=2000.0)
    warm = level > float(design.estimation.heated_above_k)
    return np.asarray((warm & (slope > -0.25)) | (slope > 0.1) | (stats.saturated > 0))
