"""The firmware's constants, from a design and its calibration."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.fixedpoint import (
    EXP_PER_TAU,
    EXP_STEPS,
    FIRST_NODE_K,
    LAST_NODE_K,
    ONE_Q15,
    STEPS_PER_K,
    node_temperatures_k,
    radiance_table,
    share_q15,
    temperature_q6,
)
from trivet.device.readingrules import HeadNumbers, HeadReading
from trivet.errors import HandoffRefusedError
from trivet.facts.thresholds import threshold
from trivet.models.calibration_views import (
    burner_regions,
    head_pose,
    pixels_beside,
    reflected_temperature,
    window_u,
)
from trivet.models.firmware_told import ToldSurface, surface_range, told_surfaces
from trivet.models.optics import card_band
from trivet.physics.geometry.optics import view_angle_rad
from trivet.physics.heat.leftboil import ABOVE_BOIL_K, LEFT_BOIL_K, NEAR_BOIL_K
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.image.panfinder import BurnerRegion
from trivet.physics.image.panreading import rim_trim_m
from trivet.physics.radiation.planck import band_radiance, band_radiance_slope
from trivet.records.calibration import Calibration, HeadCalibration
from trivet.records.design import Design
from trivet.records.sensorcard import Head, SensorCard

MIN_BESIDE = threshold("hob_beside_min")
MEDIAN, COLDEST = threshold("hob_rank_frac"), threshold("hob_coldest_frac")
MIN_CONTRAST_K, TAKEN_OFF_K = threshold("contrast_min_k"), threshold("taken_off_k")
STEAM_K = threshold("steam_flicker_k")
UNEVEN_FRAC = threshold("device_uneven_u95_frac")
"""Half-width for the part of a pan outside its mask, as a share of P95 - P5 (own estimate)."""
K95 = threshold("interval_sigmas")


def head_readings(design: Design, *, calibration: Calibration) -> tuple[HeadReading, ...]:
    """Return the constants of every head that reads a burner, in the design's order.

    Parameters
    ----------
    design : Design
        Sensors, burners, pans, contents, validity.
    calibration : Calibration
        Poses, drift, windows, pixels, surfaces.

    Returns
    -------
    tuple of HeadReading
        A burner belongs to the head that has the most pixels on it.

    Raises
    ------
    HandoffRefusedError
        If a constant does not fit the firmware's integers, or no head sees a burner.

    Notes
    -----
    Rounded to words here and nowhere else.
    """
    known = {one.head for one in calibration.heads}
    heads = [head for head in design.heads if head.name in known]
    regions = {
        head.name: burner_regions(head, design=design, calibration=calibration.head(head.name))
        for head in heads
    }
    best: dict[str, list[str]] = {head.name: [] for head in heads}
    for burner in design.burners:
        counts = {n: r[burner.name].rows.size for n, r in regions.items() if burner.name in r}
        if counts:
            best[max(counts, key=lambda name: counts[name])].append(burner.name)
    found = tuple(
        _head_reading(head, best[head.name], regions[head.name], design, calibration)
        for head in heads
        if best[head.name]
    )
    if not found:
        raise HandoffRefusedError("no head sees a burner: there is nothing to read")
    return found


def _head_reading(
    head: Head,
    burners: list[str],
    regions: dict[str, BurnerRegion],
    design: Design,
    calibration: Calibration,
) -> HeadReading:
    card, own = design.card(head), calibration.head(head.name)
    band = card_band(card)
    told = told_surfaces(design)
    side = hot_side(next(iter(regions.values())))
    masks: list[Mask] = []
    table = np.zeros((len(burners), len(told), 7), dtype=np.int64)
    for b, name in enumerate(burners):
        places = {}
        for radius in sorted({float(pan.diameter_m) / 2 for pan in design.pans}):
            places[radius] = len(masks)
            masks.append(pan_mask(regions[name], radius_m=radius, card=card, side=side))
        angle = _angle(name, head, design, own)
        for place, word in enumerate(told):
            table[b, place] = _surface_row(word, places, (design, calibration, own, head), angle)
    beside = pixels_beside(head, design=design, pose=head_pose(own))
    enough = beside.size >= MIN_BESIDE
    pixels = card.rows * card.cols
    exact = band_radiance(node_temperatures_k(), band=band)
    offset, gain = _pixel_terms(own, pixels)
    rank = int((MEDIAN if enough else COLDEST) * ONE_Q15)
    numbers = _numbers(head, design, own, side, rank)
    reading = HeadReading(
        head=head.name,
        burners=tuple(burners),
        surfaces=tuple(one.name for one in told),
        numbers=_rounded(numbers, mirrored_k=reflected_temperature(own, design=design)[0]),
        radiance=radiance_table(exact).values,
        decay=np.rint(ONE_Q15 * np.exp(-np.arange(EXP_STEPS + 1) / EXP_PER_TAU)).astype(np.int64),
        pixel_offset=np.rint(offset).astype(np.int64),
        pixel_gain=np.rint(gain).astype(np.int64),
        beside=beside if enough else np.arange(pixels, dtype=np.int64),
        mask_start=np.cumsum([0, *(m.pixel.size for m in masks)]).astype(np.int64),
        mask_pixel=np.concatenate([m.pixel for m in masks]),
        mask_weight=np.concatenate([m.weight for m in masks]),
        hot_start=np.cumsum([0, *(m.hot.size for m in masks)]).astype(np.int64),
        hot_pixel=np.concatenate([m.hot for m in masks]),
        mask_edge=np.array([m.edge for m in masks], dtype=np.int64),
        mask_rim=np.array([round(m.unread * ONE_Q15) for m in masks], dtype=np.int64),
        surface=table,
    )
    _checked(reading)
    return reading


def _angle(burner: str, head: Head, design: Design, own: HeadCalibration) -> float:
    middle = [float(design.burner(burner).x_m), float(design.burner(burner).y_m), 0.0]
    return float(view_angle_rad(middle, pose=head_pose(own)))


def _surface_row(
    word: ToldSurface,
    places: dict[float, int],
    records: tuple[Design, Calibration, HeadCalibration, Head],
    angle_rad: float,
) -> list[int]:
    design, calibration, own, head = records
    band = card_band(design.card(head))
    span = surface_range(
        word, design=design, calibration=calibration, band=band, angle_rad=angle_rad
    )
    radius = min(places) if word.pan is None else float(design.pan(word.pan).diameter_m) / 2
    shiny = not span.known or span.low < float(design.estimation.min_emissivity_frac)
    bits = shiny * rules.SHINY | (not span.alike) * rules.AMBIGUOUS | span.liquid * rules.LIQUID
    low, high = share_q15(span.low), share_q15(span.high)
    _, reflected_u_k = reflected_temperature(own, design=design)
    # Reflected radiance counts by its slope against that of a pan at 400 K.
    slope = float(
        band_radiance_slope(float(design.surroundings.reflected_k), band=band)
        / band_radiance_slope(400.0, band=band)
    )
    noise = float(design.card(head).netd_delta_k) / math.sqrt(design.estimation.min_pixels)
    settled = math.sqrt(
        own.drift.covariance[0, 0]
        + noise**2
        + ((1.0 - (span.low + span.high) / 2) * slope * reflected_u_k) ** 2
    )
    wide = round(K95 * settled * STEPS_PER_K)
    return [places[radius], low, high, (low + high + 1) // 2, span.of, bits, wide]


def _numbers(
    head: Head, design: Design, own: HeadCalibration, side: int, hob_rank_q15: int
) -> dict[str, Any]:
    """Return the numbers of a head in the firmware's units, not rounded."""
    card, drift = design.card(head), own.drift
    tau = float(own.transmittance)
    spread = np.sqrt(np.maximum(np.diag(drift.covariance), 0.0))
    rules_of = design.estimation
    noise = float(card.netd_delta_k)
    seen_k = threshold("contrast_noise_sigmas") * noise
    low = -1.0 if card.range_low_k is None else float(card.range_low_k)
    return {
        "cols": card.cols,
        "drift_a_q12": float(drift.value[0]) * 4096,
        "drift_b_q16": float(drift.value[1]) * 65536,
        "drift_c_ms": float(drift.value[2]) * 1000,
        "drift_d_q12": float(drift.value[3]) * 4096,
        "tau_ms": float(drift.tau_s * 1000),
        "housing_ref": STEPS_PER_K * drift.housing_ref_k,
        "has_pixel_term": int(own.pixels is not None),
        "window_rise": STEPS_PER_K * head.window.rise_delta_k.middle,
        "transmittance": tau * ONE_Q15,
        "mirrored": reflected_temperature(own, design=design)[0] * STEPS_PER_K,
        "hob_rank_q15": hob_rank_q15,
        "stale_ms": round(float(rules_of.stale_after_s) * 1000),
        "settle_ms": round(float(card.settle_s or 0.0) * 1000),
        "contrast": STEPS_PER_K * max(MIN_CONTRAST_K, seen_k) * tau,
        "taken_off": STEPS_PER_K * TAKEN_OFF_K * tau,
        "range_low": STEPS_PER_K * low,
        "bound": STEPS_PER_K * float(rules_of.u95_bound_delta_k),
        "min_pixels": rules_of.min_pixels,
        "heated": STEPS_PER_K * float(rules_of.heated_above_k),
        "reporter": rules.REPORTERS.index(design.firmware.reporter),
        "drop": STEPS_PER_K * drop_k(card),
        "noise": STEPS_PER_K * noise,
        "steam_square": (STEAM_K * STEPS_PER_K) ** 2 * 256,
        "steam_cap": STEPS_PER_K * (threshold("steam_cap_factor") * STEAM_K),
        "u_wake": STEPS_PER_K * K95 * float(spread[3]),
        "u_housing_q15": K95 * float(spread[1]) * ONE_Q15,
        "u_gain_q15": K95 * math.hypot(own.gain_u, window_u(head, calibration=own) / tau) * ONE_Q15,
        "u_uneven_q15": UNEVEN_FRAC * ONE_Q15,
        "hot_rows": side,
        "hot_cols": side,
        "near_boil": STEPS_PER_K * (boils_k(design) - NEAR_BOIL_K),
        "boiled": STEPS_PER_K * (boils_k(design) + ABOVE_BOIL_K),
        "left_boil": STEPS_PER_K * LEFT_BOIL_K,
    }


def _rounded(numbers: dict[str, Any], *, mirrored_k: float) -> HeadNumbers:
    """Return the numbers as the firmware's integers."""
    words = {name: round(value) for name, value in numbers.items()}
    words["tau_ms"], words["noise"] = max(1, words["tau_ms"]), max(1, words["noise"])
    words["transmittance"] = share_q15(numbers["transmittance"] / ONE_Q15)
    words["mirrored"] = int(temperature_q6(mirrored_k))
    return HeadNumbers(**words)


def unrounded(reading: HeadReading, *, design: Design, calibration: Calibration) -> HeadReading:
    """Return a head's constants as they are before rounding, for the rules run on floats.

    Masks, emissivities and settled intervals stay those of ``reading``. The radiance table has
    nodes 1/16 K apart, so a straight line between them costs under 0.01 mK.
    """
    head = next(one for one in design.heads if one.name == reading.head)
    own, numbers = calibration.head(reading.head), reading.numbers
    fine_k = np.arange(FIRST_NODE_K, LAST_NODE_K + 1e-9, 1 / 16)
    offset, gain = _pixel_terms(own, reading.pixels)
    exact = _numbers(head, design, own, numbers.hot_rows, numbers.hob_rank_q15)
    changed: dict[str, Any] = {
        "numbers": HeadNumbers(**exact),
        "radiance": band_radiance(fine_k, band=card_band(design.card(head))),
        "pixel_offset": offset,
        "pixel_gain": gain,
    }
    return replace(reading, **changed)


def _pixel_terms(own: HeadCalibration, pixels: int) -> tuple[FloatArray, FloatArray]:
    """Return each pixel's offset [1/64 K] and one over its gain [1/16384], 0 for a bad one."""
    term = own.pixels
    if term is None:
        return np.zeros(pixels), np.full(pixels, float(1 << 14))
    gain = (1 << 14) / term.gain.ravel()
    gain[term.bad.ravel()] = 0.0
    return term.offset_k.ravel() * STEPS_PER_K, gain


def boils_k(design: Design) -> float:
    """Return the boiling point of water where the design stands."""
    return float(boiling_point_k(float(design.surroundings.altitude_m)))


def drop_k(card: SensorCard) -> float:
    """Return the fall within about 2 s by which a pixel is known to be covered."""
    return max(
        threshold("cover_drop_k"), threshold("cover_drop_noise_sigmas") * float(card.netd_delta_k)
    )


def _checked(reading: HeadReading) -> None:
    """Refuse constants that the firmware's types or products cannot hold."""
    for name, value in reading.numbers._asdict().items():
        if not -(1 << 31) < value < 1 << 31:
            raise HandoffRefusedError(f"head {reading.head!r}: {name} = {value} exceeds 32 bits")
    n = reading.numbers
    if max(abs(n.drift_b_q16), abs(n.drift_c_ms), abs(n.drift_d_q12), abs(n.drift_a_q12)) > 1 << 28:
        raise HandoffRefusedError(f"head {reading.head!r}: the drift terms would overflow")
    if reading.pixels > 65535 or int(reading.mask_pixel.size) > 1 << 24:
        raise HandoffRefusedError(f"head {reading.head!r}: more pixels than 16 bits count")
    if np.any(np.abs(reading.pixel_offset) > 32767) or np.any(reading.pixel_gain > 65535):
        raise HandoffRefusedError(f"head {reading.head!r}: a pixel's term exceeds 16 bits")
    if np.any(reading.surface < 0) or np.any(reading.surface > 65535):
        raise HandoffRefusedError(f"head {reading.head!r}: a surface's words exceed 16 bits")


PLACED_M = threshold("device_placed_m")
"""How far off its burner a pan may stand: the margin of the rims that predict asks for too."""
HOTTEST_M2 = threshold("hottest_area_m2")


@dataclass(frozen=True)
class Mask:
    """The pixels of one size of pan on one burner."""

    pixel: IntArray
    weight: IntArray
    """0 in the rim, where blur mixes the pan with what lies beside it; to 255 inside."""
    hot: IntArray
    """First pixels of the little windows."""
    edge: bool
    unread: float
    """Share of the pan's base in the unread rim."""


def hot_side(region: BurnerRegion) -> int:
    """Return how many pixels make one side of a square of 5 cm2."""
    return max(1, round(float(np.sqrt(HOTTEST_M2)) / region.pitch_m))


def pan_mask(region: BurnerRegion, *, radius_m: float, card: SensorCard, side: int) -> Mask:
    """Return the mask of a pan of a given radius in the middle of its burner.

    A pixel counts where its centre lies inside the rim by half a pixel, twice the blur
    and what the pan may stand off. Its weight is the area of its footprint that lies
    inside; what that leaves of the pan is its unread rim.
    """
    cols = card.cols
    distance = np.hypot(region.x_m, region.y_m)
    trim = rim_trim_m(float(card.blur_px), footprint_m=region.pitch_m) + PLACED_M
    share = np.clip((radius_m - trim - distance) / region.pitch_m + 0.5, 0.0, 1.0)
    area = share * region.area_m2
    weight = np.rint(255.0 * area / max(float(area.max()), 1e-12)).astype(np.int64)
    unread = float(np.clip(1.0 - area.sum() / (np.pi * radius_m**2), 0.0, 1.0))
    wide = (distance <= radius_m - 0.5 * region.pitch_m) | (weight > 0)
    place = (region.rows * cols + region.cols)[wide].astype(np.int64)
    known = set(place.tolist())
    steps = [i * cols + k for i in range(side) for k in range(side)]
    fits = (region.cols[wide] <= cols - side) & (region.rows[wide] <= card.rows - side)
    hot = [p for p in place[fits].tolist() if all(p + step in known for step in steps)]
    return Mask(
        place, weight[wide], np.array(hot, dtype=np.int64), bool(region.edge_m < radius_m), unread
    )
