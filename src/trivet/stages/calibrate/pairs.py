"""Paired samples: what a head saw near a reference probe, beside what the probe said."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.models.assumed import OPAQUE_FILM_M
from trivet.models.optics import card_band, card_lens
from trivet.physics.geometry.occlusion import visible_base
from trivet.physics.geometry.optics import Lens, Pose, footprint_m, point_of_pixel
from trivet.physics.image.trend import trailing_slope
from trivet.physics.radiation.planck import band_radiance_slope
from trivet.physics.sensor.probelog import blamed_probes, disagreements
from trivet.records.benchsheet import SheetBurner
from trivet.records.design import Contents, Design, Head
from trivet.records.recording import HeadFrames, ProbeSeries, Recording
from trivet.records.sensorcard import SensorCard
from trivet.stages.calibrate.beside import Around, Beside, beside, short_means

STEP_S = 5.0
HALF_WINDOW_S = 1.5
PROBE_GAP_S = 15.0
ALIGNMENT_S = 0.5
"""Doubt of the common clock and of the probe's lag together; common practice, no source."""
FLOOR_K = 0.3
NEAR_PITCH = 0.8
SAME_PLACE_M = 0.02
"""Probes on a pan this close touch one place; in a liquid all do."""
AROUND_PITCH = 1.6
POOL_SHARE = 0.5
"""Standard uncertainty of a probe in a pool against the mean seen of it, as a share of the
standard deviation over the pool; common to a series (own estimate: a probe that hangs anywhere
in a pool that moves sees part of its unevenness)."""
CAUSES = 3
"""What lies between a probe and what is seen of it: its place, the curvature, the clock."""
HANDS_OFF: dict[str, str] = {"pan_off": "pan_on", "lid_on": "lid_off", "person_in": "person_out"}


@dataclass(frozen=True)
class PairSeries:
    """Samples of one probe on one burner in one recording, seen by one head."""

    recording: str
    unit: str
    head: str
    burner: str
    contents: Contents
    finish: str
    film: bool
    depth_m: float
    apparent_k: FloatArray
    """(sample,) mean over the pixels near the probe. [K]"""
    u_k: FloatArray
    """(sample,) independent part of its standard uncertainty. [K]"""
    reference_k: FloatArray
    """(sample,)"""
    reference_u_k: float
    """Common to the series. [K]"""
    housing_k: FloatArray
    housing_rate_kps: FloatArray
    awake_s: FloatArray
    beside_k: FloatArray
    """(sample, cause) what lies between the probe's place and what is seen of it, for one standard
    uncertainty of each cause; common to the series. [K]"""

    @property
    def group(self) -> tuple[Contents, str, bool]:
        """Contents, finish and whether a film: what one emissivity stands for."""
        return self.contents, "" if self.contents == "water" else self.finish, self.film

    def kept(self, use: BoolArray) -> PairSeries:
        """Return the series with some of its samples."""
        said = ("apparent_k", "u_k", "reference_k", "beside_k")
        names = (*said, "housing_k", "housing_rate_kps", "awake_s")
        return replace(self, **{name: getattr(self, name)[use] for name in names})


def wanted_probe(sheet: SheetBurner, probe: ProbeSeries) -> bool:
    """Return whether a probe touches what the head sees of a burner."""
    depth = depth_m(sheet)
    of = {"dry": ("pan",), "water": ("liquid",), "butter": ("pan", "oil")}.get(
        sheet.contents, ("oil",) if depth >= OPAQUE_FILM_M.value else ("pan", "oil")
    )
    return probe.probe.burner == sheet.burner and probe.probe.touches in of


def depth_m(sheet: SheetBurner) -> float:
    """Return the mean depth of a burner's contents over the pan's base. [m]"""
    return float(sheet.volume_m3) / (math.pi * (float(sheet.diameter_m) / 2) ** 2)


def pair_series(
    recording: Recording, *, design: Design, head: Head, pose: Pose
) -> tuple[tuple[PairSeries, ...], tuple[str, ...]]:
    """Return the series of one recording as one head saw them, and what had to be left out."""
    frames = recording.inputs.frames_of(head.name)
    if frames is None:
        return (), ()
    found: list[PairSeries] = []
    left: list[str] = []
    for sheet in recording.reference.sheet:
        probes = [one for one in recording.reference.probes if wanted_probe(sheet, one)]
        where = f"{recording.name}, burner {sheet.burner}"
        probes, refused = _trusted(probes)
        left += [f"{where}: {text}" for text in refused]
        if sheet.food:
            left.append(f"{where}: food on the pan")
        elif not probes and not refused:
            left.append(f"{where}: no probe on what the head sees")
        for probe in probes if not sheet.food else ():
            pixels = probe_pixels(sheet, probe, design=design, head=head, pose=pose)
            if pixels.sum() == 0:
                left.append(f"{where}, probe {probe.probe.column}: no pixel clear of the rim on it")
                continue
            series, why = _series(
                recording, frames, sheet, probe, design=design, pixels=pixels, pose=pose
            )
            if series is not None:
                found.append(series)
            if why:
                left.append(f"{where}, probe {probe.probe.column}: {why}")
    return tuple(found), tuple(left)


def _trusted(probes: list[ProbeSeries]) -> tuple[list[ProbeSeries], list[str]]:
    """Leave out probes of one place that disagree by more than their classes allow."""
    refused: list[str] = []
    blamed: set[int] = set()
    for group in _groups(probes):
        if len(group) < 2:
            continue
        time = group[0].time_s
        readings = np.column_stack([_at(one, one.temperature_k, time) for one in group])
        u = np.column_stack([_at(one, one.u_k, time) for one in group])
        found = disagreements(readings, u_k=u)
        blamed |= {id(group[at]) for at in blamed_probes(found, n=len(group))}
        refused += [
            f"probes {group[one.first].probe.column} and {group[one.second].probe.column} differ "
            f"by {abs(one.difference_k):.1f} K where their classes allow {one.allowed_k:.1f} K; "
            "refused as references, in force: what the other cooks say"
            for one in found
        ]
    return [one for one in probes if id(one) not in blamed], refused


def _groups(probes: list[ProbeSeries]) -> list[list[ProbeSeries]]:
    """Probes that touch one thing at one place."""
    groups: list[list[ProbeSeries]] = []
    for probe in probes:
        for group in groups:
            first = group[0].probe
            near = math.hypot(
                float(first.x_m) - float(probe.probe.x_m), float(first.y_m) - float(probe.probe.y_m)
            )
            if first.touches == probe.probe.touches and (
                first.touches == "liquid" or near <= SAME_PLACE_M
            ):
                group.append(probe)
                break
        else:
            groups.append([probe])
    return groups


def _at(probe: ProbeSeries, values: FloatArray, time: FloatArray) -> FloatArray:
    """Values of a probe at other moments; no value where it has none close by."""
    good = np.isfinite(probe.temperature_k) & np.isfinite(values)
    if good.sum() < 2:
        return np.full(time.size, np.nan)
    inside = _covered(time, probe.time_s[good]) | np.isin(time, probe.time_s[good])
    return np.where(inside, np.interp(time, probe.time_s[good], values[good]), np.nan)


@dataclass(frozen=True)
class _Seen:
    """Where the pixels of a head look in a pan."""

    plane: FloatArray
    """(row, col, xy) on the surface that faces up. [m]"""
    centre: FloatArray
    """(xy) of the pan. [m]"""
    pitch_m: float
    clear: BoolArray
    """(row, col) whether a pixel sees the base or its contents alone."""


def _seen(sheet: SheetBurner, *, design: Design, head: Head, pose: Pose) -> _Seen:
    card = design.card(head)
    lens: Lens = card_lens(card)
    fill = min(depth_m(sheet), float(sheet.depth_m))
    index = np.moveaxis(np.indices((card.rows, card.cols)), 0, -1)
    plane = point_of_pixel(index, lens=lens, pose=pose, plane_height_m=fill)[..., :2]
    burner = design.burner(sheet.burner)
    centre = np.array([float(burner.x_m + sheet.offset_x_m), float(burner.y_m + sheet.offset_y_m)])
    radius = float(sheet.diameter_m) / 2
    away = np.hypot(*np.moveaxis(plane - centre, -1, 0))
    nearest = np.unravel_index(np.nanargmin(away), away.shape)
    pitch = float(footprint_m(lens, pose, rowcol=np.array(nearest)).max())
    clear = away <= radius - (0.5 + 2.0 * float(card.blur_px)) * pitch
    clear &= visible_base(
        plane,
        centre_m=centre,
        radius_m=radius,
        depth_m=float(sheet.depth_m),
        fill_m=fill,
        eye_m=pose.eye_m,
    )
    return _Seen(plane, centre, pitch, np.asarray(clear))


def _from_probe(seen: _Seen, probe: ProbeSeries) -> FloatArray:
    """Return where pixels look from a probe's place, (row, col, xy). [m]"""
    spot = seen.centre + np.array([float(probe.probe.x_m), float(probe.probe.y_m)])
    return np.asarray(seen.plane - spot)


def _immersed(sheet: SheetBurner, probe: ProbeSeries) -> bool:
    """Return whether a probe stands for a whole pool, which moves round it."""
    deep = min(depth_m(sheet), float(sheet.depth_m)) >= OPAQUE_FILM_M.value
    return probe.probe.touches in ("oil", "liquid") and deep


def probe_pixels(
    sheet: SheetBurner, probe: ProbeSeries, *, design: Design, head: Head, pose: Pose
) -> BoolArray:
    """Mark the pixels (row, col) that see what the probe touches, clear of the rim."""
    seen = _seen(sheet, design=design, head=head, pose=pose)
    if _immersed(sheet, probe):
        return seen.clear
    away = np.hypot(*np.moveaxis(_from_probe(seen, probe), -1, 0))
    return np.asarray(seen.clear & (away <= NEAR_PITCH * seen.pitch_m))


def _beside(
    frames: HeadFrames,
    sheet: SheetBurner,
    probe: ProbeSeries,
    moments: FloatArray,
    *,
    design: Design,
    head: Head,
    pose: Pose,
) -> Beside:
    """Return what the pan shows at the probe's very place, and the doubt of that."""
    seen = _seen(sheet, design=design, head=head, pose=pose)
    away = _from_probe(seen, probe)
    near = seen.clear & (np.hypot(*np.moveaxis(away, -1, 0)) <= AROUND_PITCH * seen.pitch_m)
    means = short_means(
        frames.apparent_k[:, near], time_s=frames.time_s, moments_s=moments, half_s=HALF_WINDOW_S
    )
    blur_px = float(design.card(head).blur_px)
    return beside(means, around=Around(away[near, 0], away[near, 1], seen.pitch_m, blur_px))


def _series(
    recording: Recording,
    frames: HeadFrames,
    sheet: SheetBurner,
    probe: ProbeSeries,
    *,
    design: Design,
    pixels: BoolArray,
    pose: Pose,
) -> tuple[PairSeries | None, str]:
    none = "no moment with both readings"
    good = np.isfinite(probe.temperature_k)
    if good.sum() < 2 or frames.time_s.size < 2:
        return None, none
    moments = np.arange(frames.time_s[0] + HALF_WINDOW_S, frames.time_s[-1], STEP_S)
    head = _head(design, frames.head)
    moments, seen, own_u, spread = seen_means(frames, moments, pixels, card=design.card(head))
    doubt = np.zeros((moments.size, CAUSES))
    doubt[:, 0] = np.nan_to_num(POOL_SHARE * spread)
    times, values = probe.time_s[good], probe.temperature_k[good]
    reference = np.interp(moments, times, values)
    rate = (np.interp(moments + 5, times, values) - np.interp(moments - 5, times, values)) / 10
    keep = (
        np.isfinite(seen)
        & _covered(moments, times)
        & free_moments(recording, sheet.burner, moments)
    )
    if not keep.any():
        return None, none
    reference_u = max(float(np.nanmedian(probe.u_k)), 0.05)
    why = ""
    if not _immersed(sheet, probe):
        place = _beside(frames, sheet, probe, moments, design=design, head=head, pose=pose)
        shows = np.isfinite(place.at_k)
        seen, doubt[:, :2] = np.where(shows, place.at_k, seen), np.nan_to_num(place.doubt_k)
        steep = keep & (np.nan_to_num(place.steep_k) > 2.0 * reference_u)
        if steep.any():
            why = (
                f"{int(steep.sum())} of {int(keep.sum())} moments left out: across the footprint "
                f"the pan differs by more than the probe's 95 % uncertainty, "
                f"{2 * reference_u:.1f} K"
            )
        keep &= ~steep
    if not keep.any():
        return None, why
    slope = trailing_slope(frames.sensor_k, time_s=frames.time_s, span_s=30.0, least_s=10.0)
    doubt[:, -1] = ALIGNMENT_S * rate
    u = np.hypot(own_u, FLOOR_K)
    found = PairSeries(
        recording=recording.name,
        unit=recording.unit,
        head=frames.head,
        burner=sheet.burner,
        contents=sheet.contents,
        finish=sheet.finish,
        film=sheet.contents == "oil" and depth_m(sheet) < OPAQUE_FILM_M.value,
        depth_m=depth_m(sheet),
        apparent_k=seen[keep],
        u_k=u[keep],
        reference_k=reference[keep],
        reference_u_k=max(float(np.nanmedian(probe.u_k)), 0.05),
        housing_k=np.interp(moments, frames.time_s, frames.sensor_k)[keep],
        housing_rate_kps=np.interp(moments, frames.time_s, np.nan_to_num(slope))[keep],
        awake_s=np.interp(moments, frames.time_s, frames.awake_s)[keep],
        beside_k=doubt[keep],
    )
    return found, why


def _head(design: Design, name: str) -> Head:
    return next(one for one in design.heads if one.name == name)


def seen_means(
    frames: HeadFrames, moments: FloatArray, pixels: BoolArray, *, card: SensorCard
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Mean moment and mean signal of a short window of frames, its noise, the pixels' spread."""
    netd = float(card.netd_delta_k)
    at = float(card.netd_at_k)
    band = card_band(card)
    flat = frames.apparent_k[:, pixels].astype(np.float64)
    at_s, mean = moments.copy(), np.full(moments.size, np.nan)
    u, apart = mean.copy(), mean.copy()
    for k, moment in enumerate(moments):
        first, last = np.searchsorted(frames.time_s, moment + HALF_WINDOW_S * np.array([-1, 1]))
        block = flat[first:last]
        if block.size == 0 or not np.isfinite(block).all():
            continue
        at_s[k], mean[k] = frames.time_s[first:last].mean(), block.mean()
        here = float(band_radiance_slope(at, band=band) / band_radiance_slope(mean[k], band=band))
        apart[k] = block.mean(axis=0).std()
        u[k] = netd * here / math.sqrt(block.size)
    return at_s, mean, u, apart


def _covered(moments: FloatArray, times: FloatArray) -> BoolArray:
    """Whether a probe's reading stands close before and after each moment."""
    after = np.searchsorted(times, moments)
    inside = (after > 0) & (after < times.size)
    gap = times[np.clip(after, 1, times.size - 1)] - times[np.clip(after - 1, 0, times.size - 2)]
    return np.asarray(inside & (gap <= PROBE_GAP_S))


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
                free &= ~((moments >= since - 2) & (moments <= event.time_s + 2))
                since = None
        if since is not None:
            free &= moments < since - 2
    for event in events:
        if event.event == "shutter":
            free &= np.abs(moments - event.time_s) > 2
    return free
