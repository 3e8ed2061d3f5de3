"""Window and offset of a head from pots of water at a rolling boil."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.heat.water import boiling_point_k
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
from trivet.records.recording import ProbeSeries, Recording
from trivet.stages.calibrate.headscenes import (
    HeadTerms,
    PanScene,
    ShortMeans,
    depth_m,
    sensor_state,
)
from trivet.stages.calibrate.nominal import EmissivityPrior, surface_prior

STEAM_U_K = 0.7
"""Doubt of a boil's signal from the steam over it; assumed, no source."""
WEATHER_U_K = 0.42
"""Air pressure of the day, 1.5 kPa at 0.28 K/kPa; common practice, no source."""
SURFACE_U_K = 0.3
"""Surface of boiling water against its bulk; assumed, no source."""
COLD_WATER_DELTA_K = 10.0  # own estimate: so near to the housing a window hardly shows
WATER_FLOOR_K = 0.3  # own estimate: surface of still water against its probe
MIN_MEANS = 3  # own estimate: 15 s, of which a median is no single burst of steam
BOIL_CONFLICT = 2.5  # own estimate: one cook in eighty lies beyond by chance


@dataclass(frozen=True)
class WindowTerm:
    """A head's terms with the window that the boils show, and what to say about it."""

    head: HeadCalibration
    boiled: tuple[str, ...]
    """Recordings whose boil was used."""
    refusals: tuple[str, ...]
    advice: tuple[str, ...]


@dataclass(frozen=True)
class FixedPoint:
    """A mean over calm moments of a scene of known temperature."""

    apparent_k: float
    u_k: float
    true_k: float
    true_u_k: float
    housing_k: float
    drift_terms: FloatArray
    cook: str = ""
    """The recording it is of; points of one cook share its errors."""


def window_term(recordings: Sequence[Recording], *, view: HeadTerms) -> WindowTerm:
    """Return the head's terms with the transmittance of the boils; nominal where none carries.

    Recordings are in order of time, which their names give.  A boil that is no
    boil is refused by name and changes nothing.
    """
    name, nominal = view.head.name, view.terms
    kept = f"in force: transmittance {nominal.transmittance:.3f} {_origin(nominal)}"
    refusals: list[str] = []
    points: list[FixedPoint] = []
    for recording in recordings:
        try:
            points += _points(recording, view=view)
        except (NotEnoughDataError, OutOfRangeError) as error:
            refusals.append(f"window of head {name}, {recording.name}: {error}")
    if not points:
        left = tuple(f"{text}; {kept}" for text in refusals)
        return WindowTerm(_unboiled(nominal, "no boil"), (), left, ())
    cooks = list(dict.fromkeys(one.cook for one in points))
    units = {one.unit for one in recordings}
    if len(units) > 1:
        text = f"window of head {name}: boils under {len(units)} sensor units; {kept}"
        return WindowTerm(_unboiled(nominal, "several units"), (), (*refusals, text), ())
    try:
        fit, advice, used = _fitted(points, cooks, view=view)
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
    elif abs(tau - declared) > BOIL_CONFLICT * math.hypot(u, declared_u):
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
    points: list[FixedPoint], cooks: list[str], *, view: HeadTerms
) -> tuple[WindowFit, tuple[str, ...], list[str]]:
    """Fit all boils; after a loss was called, those since then alone."""
    water = surface_prior("water", finish="", depth_m=0.1, design=view.design, band=view.band)
    fit = fitted_points(points, view=view, surface=water, gain_u=view.terms.gain_u)
    try:
        trend = window_trend(fit.each, u=fit.each_u)
    except NotEnoughDataError:
        return fit, (), cooks
    if trend.lost_at is None:
        return fit, (), cooks
    used = cooks[trend.since :]
    since = [one for one in points if one.cook in used]
    fit = fitted_points(since, view=view, surface=water, gain_u=view.terms.gain_u)
    advice = (
        f"clean the window of head {view.head.name}: since {used[0]} it lets "
        f"{trend.loss_frac:.0%} less through than in the first boils"
    )
    return fit, (advice,), used


def fitted_points(
    points: list[FixedPoint], *, view: HeadTerms, surface: EmissivityPrior, gain_u: float
) -> WindowFit:
    """Return transmittance and offset that explain scenes of known temperature."""
    housing = np.array([one.housing_k for one in points])
    cooks = list(dict.fromkeys(one.cook for one in points))
    return fit_fixed_points(
        FixedPoints(
            apparent_k=np.array([one.apparent_k for one in points]),
            u_k=np.array([one.u_k for one in points]),
            true_k=np.array([one.true_k for one in points]),
            true_u_k=np.array([one.true_u_k for one in points]),
            window_k=housing + view.window_rise_k,
            housing_k=housing,
            drift_terms=np.array([one.drift_terms for one in points]),
            cook=np.array([cooks.index(one.cook) for one in points]),
        ),
        prior=FixedPointPriors(
            emissivity=surface.emissivity,
            emissivity_u=surface.u,
            reflected_k=view.reflected_k,
            reflected_u_k=view.reflected_u_k,
            drift=view.drift.value,
            drift_covariance=view.drift.covariance,
            gain_u=gain_u,
        ),
        band=view.band,
    )


def _points(recording: Recording, *, view: HeadTerms) -> list[FixedPoint]:
    """Return the boil of one recording and, before it, its water while still cold."""
    found: list[FixedPoint] = []
    for pan in view.pans(recording):
        if pan.sheet.contents != "water" or pan.sheet.food:
            continue
        probes = pan.probes()
        probe = probes[0] if probes else _called(recording, pan.sheet)
        if np.isfinite(probe.temperature_k).sum() >= MIN_MEANS:
            found += _boil(pan, probe)
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


def _boil(pan: PanScene, probe: ProbeSeries) -> list[FixedPoint]:
    """Return the boil of one pot as its probe tells it, and its water while still cold."""
    pixels = pan.pixels(probe)
    if not pixels.any() or depth_m(pan.sheet) <= 0:
        return []
    good = np.isfinite(probe.temperature_k)
    boiling = float(boiling_point_k(pan.recording.altitude_m))
    u = float(np.nanmedian(probe.u_k))
    boils = boil_moments(probe.temperature_k, time_s=probe.time_s, boiling_k=boiling, u_k=u)
    begin, end = probe.time_s[boils].min(), probe.time_s[boils].max()
    seen = pan.short_means(pixels)
    housing_k = sensor_state(pan.frames, seen.time_s).housing_k
    reading = np.interp(seen.time_s, probe.time_s[good], probe.temperature_k[good])
    nearest = np.interp(seen.time_s, probe.time_s, boils.astype(float)) > 0.5
    boil = seen.free & nearest & (seen.time_s >= begin) & (seen.time_s <= end)
    cold = seen.free & (seen.time_s < begin) & (np.abs(reading - housing_k) <= COLD_WATER_DELTA_K)
    if boil.sum() < MIN_MEANS:
        raise NotEnoughDataError(f"burner {pan.sheet.burner}: the head saw under 15 s of the boil")
    true_u = math.hypot(WEATHER_U_K, SURFACE_U_K)
    points = [_point(pan, seen, boil, true_k=boiling, true_u_k=true_u, own_k=STEAM_U_K)]
    if cold.sum() >= MIN_MEANS:
        known = float(reading[cold].mean())
        points.append(_point(pan, seen, cold, true_k=known, true_u_k=u, own_k=WATER_FLOOR_K))
    return points


def _point(
    pan: PanScene,
    seen: ShortMeans,
    use: BoolArray,
    *,
    true_k: float,
    true_u_k: float,
    own_k: float,
) -> FixedPoint:
    """Return the median over some moments."""
    signal, state = seen.mean_k[use], sensor_state(pan.frames, seen.time_s)
    scatter = 1.4826 * float(np.median(np.abs(signal - np.median(signal))))
    return FixedPoint(
        apparent_k=float(np.median(signal)),
        u_k=math.hypot(own_k, scatter / math.sqrt(float(use.sum()))),
        true_k=true_k,
        true_u_k=true_u_k,
        housing_k=float(state.housing_k[use].mean()),
        drift_terms=state.terms(pan.view.drift)[use].mean(axis=0),
        cook=pan.recording.name,
    )
