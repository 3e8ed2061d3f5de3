"""Window and offset of a head from pots of water at a rolling boil."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.geometry.optics import Pose
from trivet.physics.heat.water import boiling_point_k
from trivet.physics.image.trend import trailing_slope
from trivet.physics.sensor.drift import drift_terms
from trivet.physics.sensor.window import (
    FixedPointPriors,
    FixedPoints,
    WindowFit,
    boil_moments,
    fit_fixed_points,
    window_trend,
)
from trivet.records.benchsheet import SheetBurner, SheetProbe
from trivet.records.calibration import HeadCalibration
from trivet.records.recording import HeadFrames, ProbeSeries, Recording
from trivet.stages.calibrate.fits import HeadView
from trivet.stages.calibrate.nominal import surface_prior
from trivet.stages.calibrate.pairs import (
    HALF_WINDOW_S,
    STEP_S,
    depth_m,
    free_moments,
    probe_pixels,
    seen_means,
    wanted_probe,
)

STEAM_U_K = 0.7
"""Doubt of a boil's signal from the steam over it; assumed, no source."""
WEATHER_U_K = 0.42
"""Air pressure of the day, 1.5 kPa at 0.28 K/kPa; common practice, no source."""
SURFACE_U_K = 0.3
"""Surface of boiling water against its bulk; assumed, no source."""
COLD_K = 10.0
FLOOR_K = 0.3
MIN_MEANS = 3
CONFLICT = 2.5


@dataclass(frozen=True)
class WindowTerm:
    """A head's terms with the window that the boils show, and what to say about it."""

    head: HeadCalibration
    boiled: tuple[str, ...]
    """Recordings whose boil was used."""
    refusals: tuple[str, ...]
    advice: tuple[str, ...]


@dataclass(frozen=True)
class _Point:
    apparent_k: float
    u_k: float
    true_k: float
    true_u_k: float
    housing_k: float
    terms: FloatArray


def window_term(
    recordings: Sequence[Recording], *, view: HeadView, poses: dict[str, Pose]
) -> WindowTerm:
    """Return the head's terms with the transmittance of the boils; nominal where none carries.

    Recordings are in order of time, which their names give.  A boil that is no
    boil is refused by name and changes nothing.
    """
    name, nominal = view.head.name, view.nominal
    kept = f"in force: transmittance {nominal.transmittance:.3f} {_origin(nominal)}"
    refusals: list[str] = []
    points: list[_Point] = []
    cooks: list[str] = []
    owner: list[int] = []
    for recording in recordings:
        try:
            found = _points(recording, view=view, pose=poses[recording.name])
        except (NotEnoughDataError, OutOfRangeError) as error:
            refusals.append(f"window of head {name}, {recording.name}: {error}")
            continue
        if found:
            owner += [len(cooks)] * len(found)
            points += found
            cooks.append(recording.name)
    if not points:
        left = tuple(f"{text}; {kept}" for text in refusals)
        return WindowTerm(_unboiled(nominal, "no boil"), (), left, ())
    units = {one.unit for one in recordings}
    if len(units) > 1:
        text = f"window of head {name}: boils under {len(units)} sensor units; {kept}"
        return WindowTerm(_unboiled(nominal, "several units"), (), (*refusals, text), ())
    try:
        fit, advice, used = _fitted(points, np.array(owner), cooks, view=view)
    except (NotEnoughDataError, OutOfRangeError) as error:
        text = f"window of head {name}: {error}; {kept}"
        return WindowTerm(_unboiled(nominal, str(error)), (), (*refusals, text), ())
    stays = f"in force: what {', '.join(used)} show"
    left = tuple(f"{text}; {stays}" for text in refusals)
    return WindowTerm(_combined(nominal, fit, used, lost=bool(advice)), tuple(cooks), left, advice)


def _origin(nominal: HeadCalibration) -> str:
    return "as designed" if nominal.transmittance_how == "nominal" else "by the black body"


def _unboiled(nominal: HeadCalibration, why: str) -> HeadCalibration:
    """Return the terms as they stand: what a black body showed, else as designed."""
    if nominal.transmittance_how == "fitted":
        return nominal
    return replace(nominal, transmittance_reason=f"nominal: {why}")


def _combined(
    nominal: HeadCalibration, fit: WindowFit, used: list[str], *, lost: bool
) -> HeadCalibration:
    """Join what boils and what is known before say, unless they contradict one another."""
    declared, declared_u = nominal.transmittance, nominal.transmittance_u
    before = "declared" if nominal.transmittance_how == "nominal" else "black body's"
    tau, u = fit.transmittance, fit.transmittance_u
    text = f"{len(used)} boils say {tau:.3f} +- {u:.3f}"
    text += f" with an offset of {fit.offset_k:+.1f} +- {fit.offset_u_k:.1f} K"
    if lost:
        text += f"; a loss was called, so the {before} {declared:.3f} was not used"
    elif abs(tau - declared) > CONFLICT * math.hypot(u, declared_u):
        text += f"; the {before} {declared:.3f} disagrees and was not used"
    else:
        weight = 1 / u**2 + 1 / declared_u**2
        tau, u = (tau / u**2 + declared / declared_u**2) / weight, math.sqrt(1 / weight)
        text += f", joined with the {before} {declared:.3f}"
    return replace(
        nominal,
        transmittance=min(tau, 1.0),
        transmittance_u=u,
        transmittance_how="fitted",
        transmittance_reason=text,
    )


def _fitted(
    points: list[_Point], owner: IntArray, cooks: list[str], *, view: HeadView
) -> tuple[WindowFit, tuple[str, ...], list[str]]:
    """Fit all boils; after a loss was called, those since then alone."""
    fit = _fit(points, owner, view=view)
    try:
        trend = window_trend(fit.each, u=fit.each_u)
    except NotEnoughDataError:
        return fit, (), cooks
    if trend.lost_at is None:
        return fit, (), cooks
    since = owner >= trend.since
    fit = _fit([p for p, use in zip(points, since, strict=True) if use], owner[since], view=view)
    advice = (
        f"clean the window of head {view.head.name}: since {cooks[trend.since]} it lets "
        f"{trend.loss_frac:.0%} less through than in the first boils"
    )
    return fit, (advice,), cooks[trend.since :]


def _fit(points: list[_Point], owner: IntArray, *, view: HeadView) -> WindowFit:
    design, drift = view.design, view.declared()
    eps, eps_u = surface_prior("water", finish="", depth_m=0.1, design=design, band=view.band)
    housing = np.array([point.housing_k for point in points])
    return fit_fixed_points(
        FixedPoints(
            apparent_k=np.array([point.apparent_k for point in points]),
            u_k=np.array([point.u_k for point in points]),
            true_k=np.array([point.true_k for point in points]),
            true_u_k=np.array([point.true_u_k for point in points]),
            window_k=housing + view.window_rise_k,
            housing_k=housing,
            drift_terms=np.array([point.terms for point in points]),
            cook=owner,
        ),
        prior=FixedPointPriors(
            eps,
            eps_u,
            float(design.surroundings.reflected_k),
            view.reflected_u_k,
            drift.value,
            drift.covariance,
            view.nominal.gain_u,
        ),
        band=view.band,
    )


def _points(recording: Recording, *, view: HeadView, pose: Pose) -> list[_Point]:
    """Return the boil of one recording and, before it, its water while still cold."""
    frames = recording.inputs.frames_of(view.head.name)
    if frames is None:
        return []
    found: list[_Point] = []
    for sheet in recording.reference.sheet:
        if sheet.contents != "water" or sheet.food:
            continue
        probes = [one for one in recording.reference.probes if wanted_probe(sheet, one)]
        probe = probes[0] if probes else _called(recording, sheet)
        if np.isfinite(probe.temperature_k).sum() >= MIN_MEANS:
            found += _probed(recording, frames, sheet, probe, view=view, pose=pose)
    return found


def _called(recording: Recording, sheet: SheetBurner) -> ProbeSeries:
    """Stand in for a probe where a person called the boil: at the boil until the burner is off."""
    events = [one for one in recording.reference.events if one.burner == sheet.burner]
    begin = [one.time_s for one in events if one.event == "boil"]
    if not begin:
        raise NotEnoughDataError(
            f"burner {sheet.burner}: water without a probe in it, and no boil in events.csv"
        )
    frames = recording.inputs.heads[0]
    ends = [one.time_s for one in events if one.event == "off" and one.time_s > begin[0]]
    end = min(ends, default=float(frames.time_s[-1]))
    during = (frames.time_s >= begin[0]) & (frames.time_s <= end)
    boiling = float(boiling_point_k(recording.altitude_m))
    return ProbeSeries(
        SheetProbe(column="", burner=sheet.burner, touches="liquid"),
        frames.time_s,
        np.where(during, boiling, np.nan),
        np.full(frames.time_s.size, math.hypot(WEATHER_U_K, SURFACE_U_K)),
    )


def _probed(
    recording: Recording,
    frames: HeadFrames,
    sheet: SheetBurner,
    probe: ProbeSeries,
    *,
    view: HeadView,
    pose: Pose,
) -> list[_Point]:
    pixels = probe_pixels(sheet, probe, design=view.design, head=view.head, pose=pose)
    if not pixels.any() or depth_m(sheet) <= 0:
        return []
    good = np.isfinite(probe.temperature_k)
    boiling = float(boiling_point_k(recording.altitude_m))
    u = float(np.nanmedian(probe.u_k))
    boils = boil_moments(probe.temperature_k, time_s=probe.time_s, boiling_k=boiling, u_k=u)
    begin, end = probe.time_s[boils].min(), probe.time_s[boils].max()
    moments = np.arange(frames.time_s[0] + HALF_WINDOW_S, frames.time_s[-1], STEP_S)
    card = view.design.card(view.head)
    moments, seen, _, _ = seen_means(frames, moments, pixels, card=card)
    reading = np.interp(moments, probe.time_s[good], probe.temperature_k[good])
    use = np.isfinite(seen) & free_moments(recording, sheet.burner, moments)
    nearest = np.interp(moments, probe.time_s, boils.astype(float)) > 0.5
    boil = use & nearest & (moments >= begin) & (moments <= end)
    housing = np.interp(moments, frames.time_s, frames.sensor_k)
    cold = use & (moments < begin) & (np.abs(reading - housing) <= COLD_K)
    if boil.sum() < MIN_MEANS:
        raise NotEnoughDataError(f"burner {sheet.burner}: the head saw under 15 s of the boil")
    terms = _terms(frames, moments, view=view)
    true_u = math.hypot(WEATHER_U_K, SURFACE_U_K)
    points = [_mean(seen, housing, terms, boil, true_k=boiling, true_u_k=true_u, own_k=STEAM_U_K)]
    if cold.sum() >= MIN_MEANS:
        at = float(reading[cold].mean())
        points.append(_mean(seen, housing, terms, cold, true_k=at, true_u_k=u, own_k=FLOOR_K))
    return points


def _terms(frames: HeadFrames, moments: FloatArray, *, view: HeadView) -> FloatArray:
    drift = view.declared()
    slope = trailing_slope(frames.sensor_k, time_s=frames.time_s, span_s=30.0, least_s=10.0)
    return drift_terms(
        np.interp(moments, frames.time_s, frames.sensor_k),
        housing_rate_kps=np.interp(moments, frames.time_s, np.nan_to_num(slope)),
        awake_s=np.interp(moments, frames.time_s, frames.awake_s),
        housing_ref_k=drift.housing_ref_k,
        tau_s=drift.tau_s,
    )


def _mean(
    seen: FloatArray,
    housing: FloatArray,
    terms: FloatArray,
    use: BoolArray,
    *,
    true_k: float,
    true_u_k: float,
    own_k: float,
) -> _Point:
    scatter = 1.4826 * float(np.median(np.abs(seen[use] - np.median(seen[use]))))
    u = math.hypot(own_k, scatter / math.sqrt(float(use.sum())))
    return _Point(
        float(np.median(seen[use])), u, true_k, true_u_k, float(housing[use].mean()),
        terms[use].mean(axis=0),
    )  # fmt: skip
