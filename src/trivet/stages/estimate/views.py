"""What stands fixed of a head and of a burner under it, and how frames become scene temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from trivet.arrays import BoolArray, Float32Array, FloatArray, IntArray
from trivet.errors import RecordingError
from trivet.facts.thresholds import threshold
from trivet.models.calibration_views import burner_regions, head_pose, pixels_beside, window_u
from trivet.models.optics import card_band
from trivet.physics.geometry.optics import Pose
from trivet.physics.heat.carriedpan import CarryRule
from trivet.physics.image.burnerpass import burner_place
from trivet.physics.image.panfinder import BurnerRegion, RegionPixels, whole_centres
from trivet.physics.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.physics.radiation.seensurface import Hypothesis
from trivet.records.calibration import Calibration, DriftCalibration, HeadCalibration
from trivet.records.design import Design
from trivet.records.product import Reporter
from trivet.records.recording import HeadFrames
from trivet.records.sensorcard import Head, SensorCard

MIN_BESIDE = threshold("hob_beside_min")
"""Pixels beside the pans under which the coldest of all stand for the hob."""
MEDIAN, COLDEST = threshold("hob_rank_frac"), threshold("hob_coldest_frac")


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

    def pixels(self, frames: HeadFrames) -> Float32Array:
        """Return frames as (time, pixel), flat field taken out, or refuse another sensor's."""
        card, field = self.card, self.calibration.pixels
        if frames.apparent_k.shape[1:] != (card.rows, card.cols):
            raise RecordingError(
                f"frames of {frames.apparent_k.shape[1]} x {frames.apparent_k.shape[2]} pixels "
                f"from head {self.head.name!r}, whose sensor has {card.rows} x {card.cols}"
            )
        whole = np.ascontiguousarray(frames.apparent_k, dtype=np.float32)
        if field is not None:  # each pixel's own offset and gain; a bad one has no value
            own = frames.sensor_k[:, None, None]
            even = np.where(field.bad, np.nan, (whole - field.offset_k - own) / field.gain + own)
            whole = np.ascontiguousarray(even, dtype=np.float32)
        return whole.reshape(whole.shape[0], card.rows * card.cols)

    def noise_k(self, scene_k: FloatArray) -> FloatArray:
        """Return the noise of one pixel at a scene temperature: constant in radiance."""
        at = band_radiance_slope(float(self.card.netd_at_k), band=self.band)
        here = band_radiance_slope(np.nan_to_num(scene_k, nan=300.0), band=self.band)
        return np.asarray(float(self.card.netd_delta_k) * at / here)

    def scene_u_k(self, scene_k: FloatArray, *, moments: Moments, pixels: FloatArray) -> FloatArray:
        """Return the standard uncertainty of a mean scene temperature of some pixels, (time,).

        Drift offset, gain on the distance to the housing, window transmittance and
        noise; the first three are common to all pixels and do not average out.
        """
        tau, band = self.calibration.transmittance, self.band
        slope = band_radiance_slope(scene_k, band=band)
        radiance = band_radiance(scene_k, band=band)
        own = band_radiance(moments.window_k, band=band)
        apparent = radiating_temperature_k(tau * radiance + (1 - tau) * own, band=band)
        back = band_radiance_slope(apparent, band=band) / (tau * slope)
        gain = self.calibration.gain_u * (apparent - moments.sensor_k)
        noise = self.noise_k(scene_k) / np.sqrt(np.maximum(pixels, 1.0))
        window = (radiance - own) / tau * window_u(self.head, calibration=self.calibration) / slope
        common = back**2 * (moments.offset_u_k**2 + gain**2 + noise**2)
        return np.asarray(np.sqrt(common + window**2))


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


@dataclass(frozen=True)
class BurnerView:
    """What one burner's reading needs from around it."""

    name: str
    head: HeadView
    region: BurnerRegion
    hypotheses: tuple[Hypothesis, ...]
    radii_m: tuple[float, float]
    """Smallest and largest radius of a rim, as projected onto the cooktop plane."""
    eye_m: tuple[float, float]
    """Foot of the head on the cooktop, from the burner's centre."""
    rise_frac: float
    """Height of the rim over the height of the head."""
    base_radius_m: float | None
    """Radius of the base, where the user told which pan it is."""
    boiling_k: float
    carry: CarryRule
    reporter: Reporter = "area-mean"

    @cached_property
    def place(self) -> RegionPixels:
        """The region as the compiled loops take it."""
        return burner_place(self.region, cols=self.head.card.cols)

    @property
    def expects_water(self) -> bool:
        """Whether water is at least as likely as all else."""
        water = sum(one.prior for one in self.hypotheses if one.is_water)
        return water >= 0.5 * sum(one.prior for one in self.hypotheses)

    def walled_share(self, radius_m: FloatArray) -> FloatArray:
        """Return the share of the way from a flat disc to a full wall that a radius speaks for."""
        if self.base_radius_m is None:
            return np.full(radius_m.shape, 0.5)
        full = self.base_radius_m / (1 - self.rise_frac)
        return np.clip((radius_m - self.base_radius_m) / (full - self.base_radius_m), 0.0, 1.0)

    def found_middle(self, circles_m: FloatArray, memory: FloatArray | None = None) -> FloatArray:
        """Return the middle of pans of which frame or region cut off a part, (time, 2)."""
        return whole_centres(
            circles_m,
            place=self.place,
            reach_m=self.radii_m[1] + float(self.region.pitch_m),
            edge_m=self.region.edge_m,
            memory=memory,
        )
