"""From a head's frames to the apparent temperature of the scene, and to each burner's pixels."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.errors import RecordingError
from trivet.kernels.geometry.optics import Pose, footprint_m, point_of_pixel
from trivet.kernels.image.panfinder import BurnerRegion
from trivet.kernels.image.trend import trailing_slope
from trivet.kernels.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.records.calibration import DriftCalibration, HeadCalibration
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import SensorCard
from trivet.terms.optics import card_band, card_lens, reach_m

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Scene:
    """What a head's frames say before the window, with what is common to all pixels."""

    frames: HeadFrames
    card: SensorCard
    band: Band
    scene_k: FloatArray
    """(time, row, col); NaN dead, +inf saturated. [K]"""
    window_k: FloatArray
    """(time,)"""
    offset_u_k: FloatArray
    """(time,) standard uncertainty of the drift term. [K]"""
    calibration: HeadCalibration


def head_scene(frames: HeadFrames, *, design: Design, calibration: HeadCalibration) -> Scene:
    """Return the scene of one head: drift taken off, window taken out."""
    head = next((one for one in design.heads if one.name == frames.head), None)
    if head is None:
        raise RecordingError(
            f"the recording is of head {frames.head!r}, which the design does not have; "
            f"its heads: {', '.join(one.name for one in design.heads)}"
        )
    card = design.card(head)
    if frames.apparent_k.shape[1:] != (card.rows, card.cols):
        raise RecordingError(
            f"frames of {frames.apparent_k.shape[1]} x {frames.apparent_k.shape[2]} pixels from "
            f"head {head.name!r}, whose sensor has {card.rows} x {card.cols}"
        )
    band = card_band(card)
    offset, offset_u = drift_offset(frames, drift=calibration.drift)
    window_k = frames.sensor_k + head.window.rise_delta_k.middle
    apparent = frames.apparent_k.astype(np.float64) - offset[:, None, None]
    tau = calibration.transmittance
    own = (1 - tau) * band_radiance(window_k, band=band)
    finite = np.isfinite(apparent)
    signal = band_radiance(np.where(finite, apparent, 300.0), band=band)
    scene = radiating_temperature_k((signal - own[:, None, None]) / tau, band=band)
    scene = np.where(finite, scene, apparent)
    return Scene(frames, card, band, scene, window_k, offset_u, calibration)


def drift_offset(frames: HeadFrames, *, drift: DriftCalibration) -> tuple[FloatArray, FloatArray]:
    """Return the offset of the apparent temperature and its standard uncertainty, (time,)."""
    rate = np.nan_to_num(
        trailing_slope(frames.sensor_k, time_s=frames.time_s, span_s=30.0, least_s=10.0)
    )
    terms = np.stack(
        [
            np.ones_like(frames.sensor_k),
            frames.sensor_k - drift.housing_ref_k,
            rate,
            np.exp(-frames.awake_s / drift.tau_s),
        ],
        axis=1,
    )
    variance = np.einsum("ti,ij,tj->t", terms, drift.covariance, terms)
    return terms @ drift.value, np.sqrt(np.maximum(variance, 0.0))


def scene_uncertainty_k(scene_k: FloatArray, *, scene: Scene, pixels: FloatArray) -> FloatArray:
    """Return the standard uncertainty of a mean apparent temperature over some pixels, (time,).

    Drift offset, gain on the distance to the housing, window transmittance and
    noise; the first three are common to all pixels and do not average out.
    """
    tau = scene.calibration.transmittance
    slope = band_radiance_slope(scene_k, band=scene.band)
    radiance = band_radiance(scene_k, band=scene.band)
    own = band_radiance(scene.window_k, band=scene.band)
    apparent = radiating_temperature_k(tau * radiance + (1 - tau) * own, band=scene.band)
    back = band_radiance_slope(apparent, band=scene.band) / (tau * slope)
    gain = scene.calibration.gain_u * (apparent - scene.frames.sensor_k)
    noise = noise_k(scene_k, scene=scene) / np.sqrt(np.maximum(pixels, 1.0))
    window = (radiance - own) / tau * scene.calibration.transmittance_u / slope
    return np.asarray(np.sqrt(back**2 * (scene.offset_u_k**2 + gain**2 + noise**2) + window**2))


def noise_k(scene_k: FloatArray, *, scene: Scene) -> FloatArray:
    """Return the noise of one pixel at a scene temperature: constant in radiance."""
    at = band_radiance_slope(float(scene.card.netd_at_k), band=scene.band)
    here = band_radiance_slope(np.nan_to_num(scene_k, nan=300.0), band=scene.band)
    return np.asarray(float(scene.card.netd_delta_k) * at / here)


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


def background(scene: Scene, *, design: Design, head: Head) -> FloatArray:
    """Return the apparent temperature of the hob beside the pans, (time,)."""
    lens, pose = card_lens(scene.card), head_pose(scene.calibration)
    rows, cols = np.mgrid[0 : scene.card.rows, 0 : scene.card.cols]
    plane = point_of_pixel(np.stack([rows, cols], axis=-1).astype(float), lens=lens, pose=pose)
    beside = (np.abs(plane[..., 0]) <= float(design.cooktop.width_m) / 2) & (
        np.abs(plane[..., 1]) <= float(design.cooktop.depth_m) / 2
    )
    for burner in design.burners:
        distance = np.hypot(plane[..., 0] - float(burner.x_m), plane[..., 1] - float(burner.y_m))
        beside &= distance > reach_m(burner, design=design)
    pixels = (
        scene.scene_k[:, beside]
        if beside.sum() >= 8
        else scene.scene_k.reshape(scene.scene_k.shape[0], -1)
    )
    pixels = np.where(np.isfinite(pixels), pixels, np.nan)
    quantile = 0.5 if beside.sum() >= 8 else 0.2
    if np.all(np.isnan(pixels), axis=1).any():
        pixels = np.where(np.isnan(pixels), 2000.0, pixels)
    return np.asarray(np.nanquantile(pixels, quantile, axis=1))
