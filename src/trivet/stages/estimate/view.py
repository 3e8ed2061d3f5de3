"""One head: what its frames say before the window, and which pixels are each burner's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, Float32Array, FloatArray, IntArray
from trivet.errors import RecordingError
from trivet.models.calibration_views import burner_regions, head_pose, pixels_beside, window_u
from trivet.models.optics import card_band
from trivet.physics.geometry.optics import Pose
from trivet.physics.image.panfinder import BurnerRegion
from trivet.physics.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.records.calibration import Calibration, DriftCalibration, HeadCalibration
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import SensorCard

MIN_BESIDE = 8
"""Pixels beside the pans under which the coldest of all stand for the hob."""
MEDIAN, COLDEST = 0.5, 0.2


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
    beside: IntArray
    """Places of the pixels that stand for the hob."""
    hob_quantile: float
    """Which quantile of theirs does."""


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
    settling: BoolArray
    stale: BoolArray


def head_view(name: str, *, design: Design, calibration: Calibration) -> HeadView:
    """Return what stands fixed of a head, by its name in the recording."""
    head = next((one for one in design.heads if one.name == name), None)
    if head is None:
        raise RecordingError(
            f"the recording is of head {name!r}, which the design does not have; "
            f"its heads: {', '.join(one.name for one in design.heads)}"
        )
    card, own = design.card(head), calibration.head(name)
    beside = pixels_beside(head, design=design, pose=head_pose(own))
    enough = beside.size >= MIN_BESIDE
    return HeadView(
        head=head,
        card=card,
        band=card_band(card),
        calibration=own,
        pose=head_pose(own),
        regions=burner_regions(head, design=design, calibration=own),
        beside=beside if enough else np.arange(card.rows * card.cols, dtype=np.int64),
        hob_quantile=MEDIAN if enough else COLDEST,
    )


def checked_pixels(frames: HeadFrames, *, view: HeadView) -> Float32Array:
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
    window = (radiance - own) / tau * window_u(view.head, calibration=view.calibration) / slope
    return np.asarray(np.sqrt(back**2 * (moments.offset_u_k**2 + gain**2 + noise**2) + window**2))


def noise_k(scene_k: FloatArray, *, view: HeadView) -> FloatArray:
    """Return the noise of one pixel at a scene temperature: constant in radiance."""
    at = band_radiance_slope(float(view.card.netd_at_k), band=view.band)
    here = band_radiance_slope(np.nan_to_num(scene_k, nan=300.0), band=view.band)
    return np.asarray(float(view.card.netd_delta_k) * at / here)
