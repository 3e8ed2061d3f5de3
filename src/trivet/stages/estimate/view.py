"""One head: what its frames say before the window, and which pixels are each burner's."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.errors import RecordingError
from trivet.facts.optical import optical_table
from trivet.kernels.geometry.optics import Pose, footprint_m, point_of_pixel
from trivet.kernels.image.panfinder import BurnerRegion
from trivet.kernels.radiation.film import OpticalConstants, film_transmittance
from trivet.kernels.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.records.calibration import Calibration, DriftCalibration, HeadCalibration
from trivet.records.design import Design, Head, Window
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import SensorCard
from trivet.terms.contents import table_band
from trivet.terms.optics import card_band, card_lens, reach_m

FloatArray = npt.NDArray[np.float64]

LEAST_BESIDE = 8
"""Pixels beside the pans under which the coldest of all stand for the hob."""
MEDIAN, COLDEST = 0.5, 0.2
HOT_K = 473.15
"""Scene for which the loss in grease is weighed."""


@dataclass(frozen=True)
class HeadView:
    """What stands fixed of one head."""

    head: Head
    card: SensorCard
    band: Band
    calibration: HeadCalibration
    pose: Pose
    regions: dict[str, BurnerRegion]
    """Pixels that a pan can cover, of each burner that the head sees."""
    beside: npt.NDArray[np.int64]
    """Places of the pixels that stand for the hob."""
    hob_quantile: float
    """Which quantile of theirs does."""
    transmittance_u: float
    """Standard uncertainty of the window's transmittance in use."""


@dataclass(frozen=True)
class Moments:
    """What is common to all pixels of a head, arrays (time,)."""

    time_s: FloatArray
    sensor_k: FloatArray
    window_k: FloatArray
    offset_k: FloatArray
    """Drift of the readings, to be taken off. [K]"""
    offset_u_k: FloatArray
    """Its standard uncertainty. [K]"""
    settling: npt.NDArray[np.bool_]
    stale: npt.NDArray[np.bool_]


def head_view(name: str, *, design: Design, calibration: Calibration) -> HeadView:
    """Return what stands fixed of a head, by its name in the recording."""
    head = next((one for one in design.heads if one.name == name), None)
    if head is None:
        raise RecordingError(
            f"the recording is of head {name!r}, which the design does not have; "
            f"its heads: {', '.join(one.name for one in design.heads)}"
        )
    card, own = design.card(head), calibration.head(name)
    beside = _beside(head, design=design, pose=head_pose(own))
    enough = beside.size >= LEAST_BESIDE
    return HeadView(
        head=head,
        card=card,
        band=card_band(card),
        calibration=own,
        pose=head_pose(own),
        regions=burner_regions(head, design=design, calibration=own),
        beside=beside if enough else np.arange(card.rows * card.cols, dtype=np.int64),
        hob_quantile=MEDIAN if enough else COLDEST,
        transmittance_u=transmittance_u(head.window, known=own, band=card_band(card)),
    )


def checked_pixels(frames: HeadFrames, *, view: HeadView) -> npt.NDArray[np.float32]:
    """Return frames as (time, pixel), or refuse those of another sensor."""
    card = view.card
    if frames.apparent_k.shape[1:] != (card.rows, card.cols):
        raise RecordingError(
            f"frames of {frames.apparent_k.shape[1]} x {frames.apparent_k.shape[2]} pixels from "
            f"head {view.head.name!r}, whose sensor has {card.rows} x {card.cols}"
        )
    whole = np.ascontiguousarray(frames.apparent_k, dtype=np.float32)
    term = view.calibration.pixels
    if term is not None:  # each pixel's own offset and gain; a bad one has no value
        own = frames.sensor_k[:, None, None]
        even = np.where(term.bad, np.nan, (whole - term.offset_k - own) / term.gain + own)
        whole = np.ascontiguousarray(even, dtype=np.float32)
    return whole.reshape(whole.shape[0], card.rows * card.cols)


def drift_offset(
    frames: HeadFrames, *, rate_kps: FloatArray, drift: DriftCalibration
) -> tuple[FloatArray, FloatArray]:
    """Return the offset of the apparent temperature and its standard uncertainty, (time,).

    Summed term by term, so that a moment does not depend on its block.
    """
    terms = (
        np.ones_like(frames.sensor_k),
        frames.sensor_k - drift.housing_ref_k,
        np.nan_to_num(rate_kps),
        np.exp(np.ascontiguousarray(-frames.awake_s / drift.tau_s)),
    )
    offset, variance = np.zeros_like(terms[0]), np.zeros_like(terms[0])
    for i, one in enumerate(terms):
        offset = offset + drift.value[i] * one
        for j, other in enumerate(terms):
            variance = variance + drift.covariance[i, j] * (one * other)
    return offset, np.sqrt(np.maximum(variance, 0.0))


def scene_uncertainty_k(
    scene_k: FloatArray, *, view: HeadView, moments: Moments, pixels: FloatArray
) -> FloatArray:
    """Return the standard uncertainty of a mean apparent temperature over some pixels, (time,).

    Drift offset, gain on the distance to the housing, window transmittance and
    noise; the first three are common to all pixels and do not average out.
    """
    tau = view.calibration.transmittance
    slope = band_radiance_slope(scene_k, band=view.band)
    radiance = band_radiance(scene_k, band=view.band)
    own = band_radiance(moments.window_k, band=view.band)
    apparent = radiating_temperature_k(tau * radiance + (1 - tau) * own, band=view.band)
    back = band_radiance_slope(apparent, band=view.band) / (tau * slope)
    gain = view.calibration.gain_u * (apparent - moments.sensor_k)
    noise = noise_k(scene_k, view=view) / np.sqrt(np.maximum(pixels, 1.0))
    window = (radiance - own) / tau * view.transmittance_u / slope
    return np.asarray(np.sqrt(back**2 * (moments.offset_u_k**2 + gain**2 + noise**2) + window**2))


def transmittance_u(window: Window, *, known: HeadCalibration, band: Band) -> float:
    """Return the standard uncertainty of the window's transmittance in use.

    A window gets greasy after its calibration: it lies anywhere between what was
    calibrated and the lowest that the design declares, under the thickest grease that
    it declares between two cleanings. What is as declared has its declared range.
    """
    if known.transmittance_how == "nominal":
        return float(known.transmittance_u)
    low, grease = window.transmittance_frac.low, window.grease_m
    if low is not None and grease is not None:
        table = optical_table("oil")
        passed = film_transmittance(
            float(grease if grease.high is None else grease.high),
            film=OpticalConstants(table.wavelength_m, table.n, table.k, table.name),
            temperature_k=HOT_K,
            band=table_band(band),
        )
        low = float(low) * float(passed)
    soil = 0.0 if low is None else max(known.transmittance - float(low), 0.0) / math.sqrt(3.0)
    return max(float(known.transmittance_u), soil)


def noise_k(scene_k: FloatArray, *, view: HeadView) -> FloatArray:
    """Return the noise of one pixel at a scene temperature: constant in radiance."""
    at = band_radiance_slope(float(view.card.netd_at_k), band=view.band)
    here = band_radiance_slope(np.nan_to_num(scene_k, nan=300.0), band=view.band)
    return np.asarray(float(view.card.netd_delta_k) * at / here)


def head_pose(calibration: HeadCalibration) -> Pose:
    """Return the calibrated pose of a head."""
    return Pose(*(float(term) for term in calibration.pose.value))


def burner_regions(
    head: Head, *, design: Design, calibration: HeadCalibration
) -> dict[str, BurnerRegion]:
    """Return, for each burner that the head sees, the pixels that its pan can cover."""
    card = design.card(head)
    lens, pose = card_lens(card), head_pose(calibration)
    rows, cols = np.mgrid[0 : card.rows, 0 : card.cols]
    plane = point_of_pixel(np.stack([rows, cols], axis=-1).astype(float), lens=lens, pose=pose)
    size = footprint_m(lens, pose)
    area = size[..., 0] * size[..., 1]
    regions = {}
    for burner in design.burners:
        dx, dy = plane[..., 0] - float(burner.x_m), plane[..., 1] - float(burner.y_m)
        distance = np.hypot(dx, dy)
        inside = distance <= reach_m(burner, design=design)
        if inside.sum() < 4:
            continue
        middle = np.unravel_index(np.nanargmin(distance), distance.shape)
        regions[burner.name] = BurnerRegion(
            rows[inside],
            cols[inside],
            dx[inside],
            dy[inside],
            area[inside],
            math.sqrt(float(area[middle])),
            _edge_m(distance, inside),
        )
    return regions


def _edge_m(distance: FloatArray, inside: npt.NDArray[np.bool_]) -> float:
    """Distance from the burner to the nearest pixel of the frame's border."""
    border = np.zeros_like(inside)
    border[[0, -1], :] = border[:, [0, -1]] = True
    return float(np.nanmin(np.where(border, distance, np.inf)))


def _beside(head: Head, *, design: Design, pose: Pose) -> npt.NDArray[np.int64]:
    """Return the places of the pixels on the cooktop that no pan can cover."""
    card = design.card(head)
    rows, cols = np.mgrid[0 : card.rows, 0 : card.cols]
    pixels = np.stack([rows, cols], axis=-1).astype(float)
    plane = point_of_pixel(pixels, lens=card_lens(card), pose=pose)
    beside = (np.abs(plane[..., 0]) <= float(design.cooktop.width_m) / 2) & (
        np.abs(plane[..., 1]) <= float(design.cooktop.depth_m) / 2
    )
    for burner in design.burners:
        distance = np.hypot(plane[..., 0] - float(burner.x_m), plane[..., 1] - float(burner.y_m))
        beside &= distance > reach_m(burner, design=design)
    return np.flatnonzero(beside).astype(np.int64)
