"""Window, gain and offset of a unit from black bodies of known temperature before its head."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.image.trend import trailing_slope
from trivet.physics.sensor.drift import drift_terms
from trivet.physics.sensor.window import (
    FixedPointPriors,
    FixedPoints,
    WindowFit,
    fit_fixed_points,
)
from trivet.records.benchsheet import SheetFlat
from trivet.records.calibration import HeadCalibration
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.fits import HeadView
from trivet.stages.calibrate.nominal import figure_u

LEVEL_HALF_K, EMISSIVITY_HALF = 1.0, 0.01
"""Half-widths of a black body whose sheet gives no range; common practice, no source."""
FLOOR_K = 0.1
CONFLICT = 2.5
"""So many joint uncertainties apart, the scene is not taken for one through the window."""
GAIN_LEFT = 0.15
"""Share of the gain's uncertainty that stays: a gain acts on kelvin, a window on radiance. Matched
at 25 and 200 C, a gain of 2 % and the window that stands for it part by 0.4 K at 300 C and less
below, 0.15 of what the gain does (own sum)."""


@dataclass(frozen=True)
class _Level:
    """One even scene."""

    apparent_k: float
    flat: SheetFlat
    housing_k: float
    terms: FloatArray


def blackbody_term(
    recordings: Sequence[Recording], *, view: HeadView
) -> tuple[HeadCalibration, tuple[str, ...]]:
    """Return a head's terms with what black bodies say of window, gain and offset, or why not.

    Window and gain show as one product, which is all that a reading needs: it is kept as the
    transmittance, and the gain keeps what tells the two apart.
    """
    nominal, where = view.nominal, f"black body of head {view.head.name}"
    levels: list[_Level] = []
    units: set[str] = set()
    for recording in recordings:
        found = _levels(recording, view=view)
        levels += found
        units |= {recording.unit} if found else set()
    if not levels:
        return nominal, ()
    if len(units) > 1:
        return nominal, (f"{where}: of {len(units)} sensor units; in force: as designed",)
    try:
        fit = _fit(levels, view=view)
    except (NotEnoughDataError, OutOfRangeError) as error:
        return nominal, (f"{where}: {error}; in force: as designed",)
    off = fit.transmittance - nominal.transmittance
    allowed = CONFLICT * math.hypot(
        fit.transmittance_u, nominal.transmittance_u, nominal.transmittance * nominal.gain_u
    )
    if abs(off) > allowed:
        return nominal, (
            f"{where}: it asks for a window of {fit.transmittance:.3f} where "
            f"{nominal.transmittance:.3f} is designed; was it seen through the window? "
            "in force: as designed",
        )
    value, covariance = nominal.drift.value.copy(), nominal.drift.covariance.copy()
    value[0] += fit.offset_k
    covariance[0, :] = covariance[:, 0] = 0.0
    covariance[0, 0] = fit.offset_u_k**2
    text = ", ".join(f"{float(one.flat.temperature_k) - 273.15:.0f} C" for one in levels)
    return replace(
        nominal,
        transmittance=min(fit.transmittance, 1.0),
        transmittance_u=fit.transmittance_u,
        transmittance_how="fitted",
        transmittance_reason=f"black body at {text}: {fit.transmittance:.3f} +- "
        f"{fit.transmittance_u:.3f} with the gain in it, offset {fit.offset_k:+.1f} +- "
        f"{fit.offset_u_k:.1f} K",
        gain_u=GAIN_LEFT * nominal.gain_u,
        drift=replace(nominal.drift, value=value, covariance=covariance),
    ), ()


def _levels(recording: Recording, *, view: HeadView) -> list[_Level]:
    frames = recording.inputs.frames_of(view.head.name)
    only = len(view.design.heads) == 1
    levels = []
    for flat in recording.reference.flats if frames is not None else ():
        if flat.head not in (("", view.head.name) if only else (view.head.name,)):
            continue
        assert frames is not None
        use = (frames.time_s >= float(flat.from_s)) & (frames.time_s <= float(flat.to_s))
        if use.any():
            levels.append(_level(frames, flat, use, view=view))
    return levels


def _level(frames: HeadFrames, flat: SheetFlat, use: BoolArray, *, view: HeadView) -> _Level:
    drift = view.nominal.drift
    slope = trailing_slope(frames.sensor_k, time_s=frames.time_s, span_s=30.0, least_s=10.0)
    terms = drift_terms(
        frames.sensor_k[use],
        housing_rate_kps=np.nan_to_num(slope)[use],
        awake_s=frames.awake_s[use],
        housing_ref_k=drift.housing_ref_k,
        tau_s=drift.tau_s,
    )
    pixels = frames.apparent_k[use].astype(np.float64)
    housing = float(frames.sensor_k[use].mean())
    return _Level(float(np.nanmean(pixels)), flat, housing, terms.mean(axis=0))


def _fit(levels: list[_Level], *, view: HeadView) -> WindowFit:
    housing = np.array([one.housing_k for one in levels])
    emissivity = [one.flat.emissivity_frac for one in levels]
    level_u = [figure_u(one.flat.temperature_k, otherwise_half=LEVEL_HALF_K) for one in levels]
    drift = view.declared()
    return fit_fixed_points(
        FixedPoints(
            apparent_k=np.array([one.apparent_k for one in levels]),
            u_k=np.full(housing.size, FLOOR_K),
            true_k=np.array([float(one.flat.temperature_k) for one in levels]),
            true_u_k=np.array(level_u),
            window_k=housing + view.window_rise_k,
            housing_k=housing,
            drift_terms=np.array([one.terms for one in levels]),
            cook=np.zeros(housing.size, dtype=np.int64),
        ),
        prior=FixedPointPriors(
            emissivity=min(float(np.mean([float(one) for one in emissivity])), 1.0),
            emissivity_u=max(figure_u(one, otherwise_half=EMISSIVITY_HALF) for one in emissivity),
            reflected_k=view.reflected_k,
            reflected_u_k=view.reflected_u_k,
            drift=drift.value,
            drift_covariance=drift.covariance,
            gain_u=GAIN_LEFT * view.nominal.gain_u,
        ),
        band=view.band,
    )
