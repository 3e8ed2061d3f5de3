"""Paired samples: what a head saw near a reference probe, beside what the probe said.

A pixel sees its footprint through blur, a probe touches a spot whose place is known to some
millimetres: on a pan that is hottest over the flames the two differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from trivet.arrays import BoolArray, FloatArray
from trivet.models.assumed import OPAQUE_FILM_M
from trivet.physics.sensor.probelog import blamed_probes, disagreements
from trivet.records.design import Contents
from trivet.records.recording import ProbeSeries, Recording
from trivet.stages.calibrate.headscenes import (
    HALF_WINDOW_S,
    HeadTerms,
    PanScene,
    SensorState,
    depth_m,
    sensor_state,
)

PROBE_GAP_S = 15.0  # own estimate: a pan on full heat moves by up to 30 K meanwhile
ALIGNMENT_S = 0.5
"""Doubt of the common clock and of the probe's lag together; common practice, no source."""
PAIR_FLOOR_K = 0.3  # own estimate: what a mean over a few pixels and 3 s is worth
SAME_PLACE_M = 0.02
"""Probes on a pan this close touch one place; in a liquid all do."""
AROUND_PITCH = 1.6  # own estimate: eight neighbours of a pixel, corners at 1.41
POOL_SHARE = 0.5
"""Standard uncertainty of a probe in a pool against the mean seen of it, as a share of the
standard deviation over the pool; common to a series (own estimate: a probe that hangs anywhere
in a pool that moves sees part of its unevenness)."""
CAUSES = 3
"""What lies between a probe and what is seen of it: its place, the curvature, the clock."""
PLACE_U_M = 5e-3
"""Standard uncertainty of where a probe is, against what the head sees: the sheet's figures, the
pan's place and the pose together (common practice, no source)."""
CURVED_SHARE = 0.5
"""Standard uncertainty of the correction for curvature, as a share of it: pixels that are as wide
as what they resolve show a part of it only (own estimate)."""
MIN_PLANE, MIN_CURVED = 4, 7
"""Pixels from which a slope shows, and from which a curvature does."""


class SurfaceGroup(NamedTuple):
    """What one emissivity stands for."""

    contents: Contents
    finish: str
    """Empty under water, which hides it."""
    film: bool
    """Whether it is oil so thin that the pan shows through."""


@dataclass(frozen=True)
class PairSeries:
    """Samples of one probe on one burner in one recording, seen by one head."""

    recording: str
    unit: str
    group: SurfaceGroup
    depth_m: float
    apparent_k: FloatArray
    """(sample,) mean over the pixels near the probe. [K]"""
    u_k: FloatArray
    """(sample,) independent part of its standard uncertainty. [K]"""
    reference_k: FloatArray
    """(sample,)"""
    reference_u_k: float
    """Common to the series. [K]"""
    state: SensorState
    beside_k: FloatArray
    """(sample, cause) what lies between the probe's place and what is seen of it, for one standard
    uncertainty of each cause; common to the series. [K]"""

    def kept(self, use: BoolArray) -> PairSeries:
        """Return the series with some of its samples."""
        names = ("apparent_k", "u_k", "reference_k", "beside_k")
        some = {name: getattr(self, name)[use] for name in names}
        return replace(self, state=self.state.part(use), **some)


def pair_series(
    recording: Recording, *, view: HeadTerms
) -> tuple[tuple[PairSeries, ...], tuple[str, ...]]:
    """Return the series of one recording as one head saw them, and what had to be left out."""
    found: list[PairSeries] = []
    left: list[str] = []
    for pan in view.pans(recording):
        where = f"{recording.name}, burner {pan.sheet.burner}"
        probes, refused = _trusted(pan.probes())
        left += [f"{where}: {text}" for text in refused]
        if pan.sheet.food:
            left.append(f"{where}: food on the pan")
            continue
        if not probes and not refused:
            left.append(f"{where}: no probe on what the head sees")
        for probe in probes:
            series, why = _series(pan, probe)
            found += [] if series is None else [series]
            left += [f"{where}, probe {probe.probe.column}: {why}"] if why else []
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
        mine = next((group for group in groups if _one_place(group[0], probe)), None)
        if mine is None:
            groups.append([probe])
        else:
            mine.append(probe)
    return groups


def _one_place(one: ProbeSeries, other: ProbeSeries) -> bool:
    first, second = one.probe, other.probe
    apart = math.hypot(float(first.x_m) - float(second.x_m), float(first.y_m) - float(second.y_m))
    near = first.touches == "liquid" or apart <= SAME_PLACE_M
    return first.touches == second.touches and near


def _at(probe: ProbeSeries, values: FloatArray, time: FloatArray) -> FloatArray:
    """Values of a probe at other moments; no value where it has none close by."""
    good = np.isfinite(probe.temperature_k) & np.isfinite(values)
    if good.sum() < 2:
        return np.full(time.size, np.nan)
    inside = _covered(time, probe.time_s[good]) | np.isin(time, probe.time_s[good])
    return np.where(inside, np.interp(time, probe.time_s[good], values[good]), np.nan)


def _covered(moments: FloatArray, times: FloatArray) -> BoolArray:
    """Whether a probe's reading stands close before and after each moment."""
    after = np.searchsorted(times, moments)
    inside = (after > 0) & (after < times.size)
    gap = times[np.clip(after, 1, times.size - 1)] - times[np.clip(after - 1, 0, times.size - 2)]
    return np.asarray(inside & (gap <= PROBE_GAP_S))


def _series(pan: PanScene, probe: ProbeSeries) -> tuple[PairSeries | None, str]:
    """Return the samples of one probe, and why some or all of them are left out."""
    pixels, good = pan.pixels(probe), np.isfinite(probe.temperature_k)
    if not pixels.any():
        return None, "no pixel clear of the rim on it"
    if good.sum() < 2 or pan.frames.time_s.size < 2:
        return None, "no moment with both readings"
    times, values = probe.time_s[good], probe.temperature_k[good]
    seen = pan.short_means(pixels)
    keep = seen.free & _covered(seen.time_s, times)
    if not keep.any():
        return None, "no moment with both readings"
    reference_u = max(float(np.nanmedian(probe.u_k)), 0.05)
    doubt = np.zeros((seen.time_s.size, CAUSES))
    doubt[:, 0] = np.nan_to_num(POOL_SHARE * seen.spread_k)
    shown, why = seen.mean_k, ""
    if not pan.immersed(probe):
        place = _probe_place(pan, probe, seen.time_s)
        shown = np.where(np.isfinite(place.at_k), place.at_k, shown)
        doubt[:, :2] = np.nan_to_num(place.doubt_k)
        steep = keep & (np.nan_to_num(place.steep_k) > 2.0 * reference_u)
        why = _too_steep(steep, keep, reference_u)
        keep &= ~steep
    if not keep.any():
        return None, why
    later, earlier = (np.interp(seen.time_s + off, times, values) for off in (5, -5))
    doubt[:, -1] = ALIGNMENT_S * ((later - earlier) / 10)
    sheet, deep = pan.sheet, depth_m(pan.sheet)
    group = SurfaceGroup(
        sheet.contents,
        "" if sheet.contents == "water" else sheet.finish,
        sheet.contents == "oil" and deep < OPAQUE_FILM_M.value,
    )
    series = PairSeries(
        recording=pan.recording.name,
        unit=pan.recording.unit,
        group=group,
        depth_m=deep,
        apparent_k=shown,
        u_k=np.hypot(seen.u_k, PAIR_FLOOR_K),
        reference_k=np.interp(seen.time_s, times, values),
        reference_u_k=reference_u,
        state=sensor_state(pan.frames, seen.time_s),
        beside_k=doubt,
    )
    return series.kept(keep), why


def _too_steep(steep: BoolArray, keep: BoolArray, reference_u_k: float) -> str:
    if not steep.any():
        return ""
    return (
        f"{int(steep.sum())} of {int(keep.sum())} moments left out: across the footprint "
        f"the pan differs by more than the probe's 95 % uncertainty, {2 * reference_u_k:.1f} K"
    )


# ------------------------------------------------ what a pan shows at the place of a probe
@dataclass(frozen=True)
class Around:
    """Pixels round a probe and how wide each sees."""

    x_m: FloatArray
    """(pixel,) from the probe's place. [m]"""
    y_m: FloatArray
    pitch_m: float
    """Width of a footprint. [m]"""
    blur_px: float
    """Standard deviation of the blur. [pixel]"""


@dataclass(frozen=True)
class Beside:
    """A short mean of the pixels round a probe, arrays (moment,)."""

    at_k: FloatArray
    """At the probe's place, blur taken out. [K]"""
    steep_k: FloatArray
    """What a footprint hides: half of what its width changes the signal by, and the curvature."""
    doubt_k: FloatArray
    """(moment, 2) for one standard uncertainty of the place, and of the curvature. [K]"""


def _probe_place(pan: PanScene, probe: ProbeSeries, moments_s: FloatArray) -> Beside:
    """Return what a pan shows at the probe's very place, and the doubt of that."""
    near, away = pan.near(probe, pitches=AROUND_PITCH), pan.from_probe_m(probe)
    means = short_means(
        pan.frames.apparent_k[:, near],
        time_s=pan.frames.time_s,
        moments_s=moments_s,
        half_s=HALF_WINDOW_S,
    )
    blur_px = float(pan.view.card.blur_px)
    return beside(means, around=Around(away[near, 0], away[near, 1], pan.disc.pitch_m, blur_px))


def beside(mean_k: FloatArray, *, around: Around) -> Beside:
    """Return what pixels show at a probe's place from a surface through them.

    Parameters
    ----------
    mean_k : (moment, pixel)
        Signal. [K]
    around : Around

    Returns
    -------
    Beside
        NaN where fewer than four pixels, or pixels on one line, cannot show a slope.

    Notes
    -----
    A footprint of width p with a blur of b pixels averages over a variance of
    (1/12 + b^2) p^2 on each axis, so that it reads 1/2 of that times the Laplacian above
    the place itself; 1 K/mm and 0.05 K/mm2 at 23 mm and 0.5 pixels are 5 K for 5 mm and 9 K.

    References
    ----------
    Taylor's series of the surface; variances add.
    """
    bent = around.x_m.size >= MIN_CURVED
    x, y = around.x_m / around.pitch_m, around.y_m / around.pitch_m
    columns = [np.ones_like(x), x, y] + ([x * x, x * y, y * y] if bent else [])
    lever = np.column_stack(columns)
    unknown = np.full(mean_k.shape[0], np.nan)
    if x.size < MIN_PLANE or np.linalg.matrix_rank(lever, tol=1e-6) < lever.shape[1]:
        return Beside(unknown, unknown, np.column_stack([unknown, unknown]))
    whole = np.isfinite(mean_k.sum(axis=1, keepdims=True))
    terms = np.where(whole, np.where(whole, mean_k, 0.0) @ np.linalg.pinv(lever).T, np.nan)
    slope_k = np.hypot(terms[:, 1], terms[:, 2])
    curved_k = 0.0 * slope_k
    if bent:
        curved_k = (1.0 / 12.0 + around.blur_px**2) * (terms[:, 3] + terms[:, 5])
    place = slope_k * PLACE_U_M / around.pitch_m
    return Beside(
        at_k=terms[:, 0] - curved_k,
        steep_k=np.hypot(0.5 * slope_k, curved_k),
        doubt_k=np.column_stack([place, CURVED_SHARE * curved_k]),
    )


def short_means(
    frames_k: npt.NDArray[np.floating[Any]],
    *,
    time_s: FloatArray,
    moments_s: FloatArray,
    half_s: float,
) -> FloatArray:
    """Return the mean of each pixel round each moment, NaN where a frame has no value."""
    found = np.full((moments_s.size, frames_k.shape[1]), np.nan)
    for k, moment in enumerate(moments_s):
        first, last = np.searchsorted(time_s, moment + half_s * np.array([-1, 1]))
        if last > first:
            found[k] = frames_k[first:last].mean(axis=0, dtype=np.float64)
    return found
