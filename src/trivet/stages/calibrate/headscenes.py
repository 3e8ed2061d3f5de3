"""A head with the terms in force while they are fitted, and what is selected of its frames.

Every fit selects here: the state of the sensor, even scenes, what lies within a disc, the pans of
a recording, and short means at moments at which nothing stands in the way.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.thresholds import threshold
from trivet.models.assumed import OPAQUE_FILM_M
from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.occlusion import visible_base
from trivet.physics.geometry.optics import Lens, Pose, footprint_m, point_of_pixel
from trivet.physics.image.trend import trailing_slope
from trivet.physics.radiation.planck import Band, band_radiance, band_radiance_slope
from trivet.physics.sensor.drift import DriftModel, drift_terms
from trivet.records.benchsheet import SheetBurner, SheetFlat
from trivet.records.calibration import HeadCalibration
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, ProbeSeries, Recording
from trivet.records.sensorcard import Head, SensorCard

COMPARED_EVERY_S, HALF_WINDOW_S = 5.0, 1.5
"""Distance of the moments that are compared, and half of the time that each averages over; own
estimate: they share no frame, and a pan moves by few kelvin within one."""
HOUSING_SPAN_S, HOUSING_LEAST_S = threshold("housing_span_s"), threshold("housing_min_span_s")
UNSTATED_REFLECTED_HALF_K = 10.0  # common practice, no source: where the design is silent
NEAR_PITCH = 0.8  # own estimate: the two to four pixels nearest to a probe
HANDS_OFF: dict[str, str] = {"pan_off": "pan_on", "lid_on": "lid_off", "person_in": "person_out"}
AROUND_EVENT_S = 2.0  # own estimate: how well a person notes the moment of an event


@dataclass(frozen=True)
class SensorState:
    """What the drift of a head depends on, arrays (moment,)."""

    housing_k: FloatArray
    rate_kps: FloatArray
    awake_s: FloatArray

    def part(self, use: BoolArray) -> SensorState:
        """Return some of the moments."""
        return SensorState(self.housing_k[use], self.rate_kps[use], self.awake_s[use])

    def terms(self, drift: DriftModel) -> FloatArray:
        """Return what each term of a drift is multiplied with, (moment, term)."""
        return drift_terms(
            self.housing_k,
            housing_rate_kps=self.rate_kps,
            awake_s=self.awake_s,
            housing_ref_k=drift.housing_ref_k,
            tau_s=drift.tau_s,
        )


def sensor_state(frames: HeadFrames, at_s: FloatArray | None = None) -> SensorState:
    """Return the state of a head's sensor at its frames, or at other moments (moment,). [s]"""
    rate_kps = trailing_slope(
        frames.sensor_k, time_s=frames.time_s, span_s=HOUSING_SPAN_S, least_s=HOUSING_LEAST_S
    )
    rows = (frames.sensor_k, np.nan_to_num(rate_kps), frames.awake_s)
    if at_s is None:
        return SensorState(*rows)
    return SensorState(*(np.interp(at_s, frames.time_s, one) for one in rows))


@dataclass(frozen=True)
class SeenDisc:
    """A level disc as a head sees it, arrays (row, col)."""

    plane_m: FloatArray
    """(row, col, xy) where a pixel looks in its plane."""
    centre_m: FloatArray
    """(xy)"""
    pitch_m: float
    """Width of a footprint at its centre."""
    clear: BoolArray
    """Whether a pixel sees the disc alone, blur included."""


@dataclass(frozen=True)
class ShortMeans:
    """Means of some pixels round moments, arrays (moment,)."""

    time_s: FloatArray
    mean_k: FloatArray
    """NaN where a frame has no value. [K]"""
    u_k: FloatArray
    """Noise of the mean, a standard uncertainty. [K]"""
    spread_k: FloatArray
    """Standard deviation over the pixels. [K]"""
    free: BoolArray
    """Whether there is a mean, and pan and sight are as the sheet says."""


@dataclass(frozen=True)
class HeadTerms:
    """One head, its terms in force, and how it hung in each recording."""

    design: Design
    head: Head
    terms: HeadCalibration
    poses: dict[str, Pose] = field(default_factory=dict)
    """By the recording's name."""

    @cached_property
    def card(self) -> SensorCard:
        """The head's sensor card."""
        return self.design.card(self.head)

    @cached_property
    def band(self) -> Band:
        """Its spectral band."""
        return card_band(self.card)

    @cached_property
    def lens(self) -> Lens:
        """Its lens and pixel array."""
        return card_lens(self.card)

    @property
    def window_rise_k(self) -> float:
        """Temperature of the window over the housing, as designed. [K]"""
        return float(self.head.window.rise_delta_k)

    @property
    def reflected_k(self) -> float:
        """Reflected temperature: as patches showed it, else as designed. [K]"""
        measured = self.terms.reflected_k
        return measured if math.isfinite(measured) else float(self.design.surroundings.reflected_k)

    @property
    def reflected_u_k(self) -> float:
        """Standard uncertainty of the reflected temperature. [K]"""
        if math.isfinite(self.terms.reflected_u_k):
            return self.terms.reflected_u_k
        figure = self.design.surroundings.reflected_k
        return figure.standard_uncertainty or UNSTATED_REFLECTED_HALF_K / math.sqrt(3)

    @property
    def drift(self) -> DriftModel:
        """The drift in force."""
        own = self.terms.drift
        return DriftModel(own.value, own.covariance, own.housing_ref_k, own.tau_s)

    def window_radiance(self, housing_k: FloatArray) -> FloatArray:
        """Return what a black window would emit in band. [W/m2/sr]"""
        return np.asarray(band_radiance(housing_k + self.window_rise_k, band=self.band))

    def scene_radiance(self, apparent_k: FloatArray, *, housing_k: FloatArray) -> FloatArray:
        """Return the in-band radiance before the window; drift is taken off. [W/m2/sr]"""
        tau, window = self.terms.transmittance, self.window_radiance(housing_k)
        return np.asarray((band_radiance(apparent_k, band=self.band) - (1 - tau) * window) / tau)

    def is_mine(self, name: str) -> bool:
        """Return whether a sheet's head is this one; without a name, where it is the only one."""
        return name == self.head.name or (name == "" and len(self.design.heads) == 1)

    def frames(self, recording: Recording) -> HeadFrames | None:
        """Return its frames in a recording, or None."""
        return recording.inputs.frames_of(self.head.name)

    def even_scenes(
        self, recording: Recording
    ) -> Iterator[tuple[SheetFlat, HeadFrames, BoolArray]]:
        """Give the even scenes of a recording, its frames, and which of them show the scene."""
        frames = self.frames(recording)
        for flat in recording.reference.flats if frames is not None else ():
            assert frames is not None
            if self.is_mine(flat.head):
                time_s = frames.time_s
                yield flat, frames, (time_s >= float(flat.from_s)) & (time_s <= float(flat.to_s))

    def pans(self, recording: Recording) -> list[PanScene]:
        """Return the pans of a recording as the head sees them; none without frames."""
        frames = self.frames(recording)
        if frames is None:
            return []
        return [PanScene(self, recording, frames, one) for one in recording.reference.sheet]

    def disc(
        self, pose: Pose, *, centre_m: FloatArray, radius_m: float, height_m: float = 0.0
    ) -> SeenDisc:
        """Return which pixels look at a level disc; centre (xy) on the cooktop. [m]"""
        index = np.moveaxis(np.indices((self.card.rows, self.card.cols)), 0, -1)
        plane = point_of_pixel(index, lens=self.lens, pose=pose, plane_height_m=height_m)[..., :2]
        away = np.hypot(*np.moveaxis(plane - centre_m, -1, 0))
        nearest = np.unravel_index(np.nanargmin(away), away.shape)
        pitch = float(footprint_m(self.lens, pose, rowcol=np.array(nearest)).max())
        clear = away <= radius_m - self.margin_px * pitch
        return SeenDisc(plane, centre_m, pitch, np.asarray(clear))

    @property
    def margin_px(self) -> float:
        """How far inside an edge a pixel's middle lies that sees nothing beyond it. [pixel]"""
        return 0.5 + 2.0 * float(self.card.blur_px)


@dataclass(frozen=True)
class PanScene:
    """A pan of one recording as one head sees it."""

    view: HeadTerms
    recording: Recording
    frames: HeadFrames
    sheet: SheetBurner

    @property
    def fill_m(self) -> float:
        """Height of the surface that faces up."""
        return min(depth_m(self.sheet), float(self.sheet.depth_m))

    @cached_property
    def disc(self) -> SeenDisc:
        """Its base, or the surface of its contents, where no wall hides it."""
        sheet, pose = self.sheet, self.view.poses[self.recording.name]
        burner = self.view.design.burner(sheet.burner)
        centre = np.array(
            [float(burner.x_m + sheet.offset_x_m), float(burner.y_m + sheet.offset_y_m)]
        )
        radius = float(sheet.diameter_m) / 2
        disc = self.view.disc(pose, centre_m=centre, radius_m=radius, height_m=self.fill_m)
        seen = visible_base(
            disc.plane_m,
            centre_m=centre,
            radius_m=radius,
            depth_m=float(sheet.depth_m),
            fill_m=self.fill_m,
            eye_m=pose.eye_m,
        )
        return replace(disc, clear=np.asarray(disc.clear & seen))

    def probes(self) -> list[ProbeSeries]:
        """Return the probes that touch what the head sees of it."""
        sheet = self.sheet
        opaque = depth_m(sheet) >= OPAQUE_FILM_M.value
        of = {"dry": ("pan",), "water": ("liquid",), "butter": ("pan", "oil")}.get(
            sheet.contents, ("oil",) if opaque else ("pan", "oil")
        )
        return [
            one
            for one in self.recording.reference.probes
            if one.probe.burner == sheet.burner and one.probe.touches in of
        ]

    def immersed(self, probe: ProbeSeries) -> bool:
        """Return whether a probe stands for a whole pool, which moves round it."""
        return probe.probe.touches in ("oil", "liquid") and self.fill_m >= OPAQUE_FILM_M.value

    def from_probe_m(self, probe: ProbeSeries) -> FloatArray:
        """Return where pixels look from a probe's place, (row, col, xy). [m]"""
        spot = np.array([float(probe.probe.x_m), float(probe.probe.y_m)])
        return np.asarray(self.disc.plane_m - (self.disc.centre_m + spot))

    def near(self, probe: ProbeSeries, *, pitches: float = NEAR_PITCH) -> BoolArray:
        """Mark the clear pixels (row, col) within so many footprints of a probe."""
        away = np.hypot(*np.moveaxis(self.from_probe_m(probe), -1, 0))
        return np.asarray(self.disc.clear & (away <= pitches * self.disc.pitch_m))

    def pixels(self, probe: ProbeSeries) -> BoolArray:
        """Mark the pixels (row, col) that see what a probe touches, clear of the rim."""
        return self.disc.clear if self.immersed(probe) else self.near(probe)

    def short_means(self, pixels: BoolArray) -> ShortMeans:
        """Return the mean signal of some pixels (row, col) every 5 s, over 3 s each."""
        card, band, frames = self.view.card, self.view.band, self.frames
        moments = np.arange(frames.time_s[0] + HALF_WINDOW_S, frames.time_s[-1], COMPARED_EVERY_S)
        netd_slope = float(card.netd_delta_k), band_radiance_slope(float(card.netd_at_k), band=band)
        flat = frames.apparent_k[:, pixels].astype(np.float64)
        at_s, mean = moments.copy(), np.full(moments.size, np.nan)
        u, apart = mean.copy(), mean.copy()
        for k, moment in enumerate(moments):
            first, last = np.searchsorted(frames.time_s, moment + HALF_WINDOW_S * np.array([-1, 1]))
            block = flat[first:last]
            if block.size == 0 or not np.isfinite(block).all():
                continue
            at_s[k], mean[k] = frames.time_s[first:last].mean(), block.mean()
            here = float(netd_slope[1] / band_radiance_slope(mean[k], band=band))
            apart[k] = block.mean(axis=0).std()
            u[k] = netd_slope[0] * here / math.sqrt(block.size)
        free = np.isfinite(mean) & free_moments(self.recording, self.sheet.burner, at_s)
        return ShortMeans(at_s, mean, u, apart, free)


def depth_m(sheet: SheetBurner) -> float:
    """Return the mean depth of a burner's contents over the pan's base. [m]"""
    return float(sheet.volume_m3) / (math.pi * (float(sheet.diameter_m) / 2) ** 2)


def free_moments(recording: Recording, burner: str, moments: FloatArray) -> BoolArray:
    """Whether pan and sight are as the sheet says: no lid, no pan taken off, nobody in the way."""
    free = np.ones(moments.size, dtype=np.bool_)
    events = sorted(recording.reference.events, key=lambda one: one.time_s)
    for begin, end in HANDS_OFF.items():
        since: float | None = None
        for event in events:
            if event.burner not in ("", burner):
                continue
            if event.event == begin and since is None:
                since = event.time_s
            elif event.event == end and since is not None:
                until = event.time_s + AROUND_EVENT_S
                free &= ~((moments >= since - AROUND_EVENT_S) & (moments <= until))
                since = None
        if since is not None:
            free &= moments < since - AROUND_EVENT_S
    for event in events:
        if event.event == "shutter":
            free &= np.abs(moments - event.time_s) > AROUND_EVENT_S
    return free
