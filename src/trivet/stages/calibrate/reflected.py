"""What the pans mirror, from patches of low emissivity on the cooktop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.models.optics import card_lens
from trivet.physics.geometry.optics import Pose, footprint_m, point_of_pixel
from trivet.physics.image.trend import trailing_slope
from trivet.physics.radiation.filmfit import PatchReading, reflected_from_patch
from trivet.physics.radiation.planck import (
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.physics.sensor.drift import DriftModel, drift_terms
from trivet.records.benchsheet import SheetPatch
from trivet.records.calibration import HeadCalibration
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.fits import HeadView

HOUSING_U_K = 1.0
"""Doubt of a patch's temperature where it is part of the housing; assumed, no source."""


def reflected_term(
    recordings: Sequence[Recording], *, view: HeadView, drift: DriftModel, poses: dict[str, Pose]
) -> tuple[HeadCalibration, tuple[str, ...]]:
    """Return a head's terms with the reflected temperature of its patches, and what was refused."""
    readings: list[PatchReading] = []
    refused: list[str] = []
    design = view.design
    kept = f"in force: {float(design.surroundings.reflected_k) - 273.15:.0f} C as designed"
    for recording in recordings:
        frames = recording.inputs.frames_of(view.head.name)
        for patch in recording.reference.patches if frames is not None else ():
            assert frames is not None
            try:
                readings.append(
                    _reading(
                        recording, frames, patch, view=view, drift=drift, pose=poses[recording.name]
                    )
                )
            except (NotEnoughDataError, OutOfRangeError) as error:
                refused.append(
                    f"reflected temperature of head {view.head.name}, {recording.name}: {error}; "
                    f"{kept}"
                )
    if not readings:
        return view.nominal, tuple(refused)
    values = np.array([one.reflected_k for one in readings])
    own = np.array([one.reflected_u_k for one in readings])
    # a kitchen is not the same every day: the spread between cooks counts for the next one
    spread = float(values.std(ddof=1)) if values.size > 1 else float(own.mean())
    u = math.hypot(float(np.sqrt((own**2).mean())), spread)
    reason = (
        f"{values.size} patches read {values.min() - 273.15:.0f} to {values.max() - 273.15:.0f} C"
    )
    found = replace(
        view.nominal,
        reflected_k=float(values.mean()),
        reflected_u_k=u,
        reflected_reason=reason,
    )
    return found, tuple(refused)


def _reading(
    recording: Recording,
    frames: HeadFrames,
    patch: SheetPatch,
    *,
    view: HeadView,
    drift: DriftModel,
    pose: Pose,
) -> PatchReading:
    seen = _scene_k(frames, _pixels(patch, view=view, pose=pose), view=view, drift=drift)
    if patch.probe == "housing":
        own, own_u = frames.sensor_k, HOUSING_U_K
    else:
        probe = next(
            (one for one in recording.reference.probes if one.probe.column == patch.probe), None
        )
        if probe is None or np.isfinite(probe.temperature_k).sum() < 2:
            raise NotEnoughDataError(f"no readings of probe {patch.probe!r} on the patch")
        good = np.isfinite(probe.temperature_k)
        own = np.interp(
            frames.time_s, probe.time_s[good], probe.temperature_k[good], math.nan, math.nan
        )
        own_u = float(np.nanmedian(probe.u_k))
    tau, u_tau = view.nominal.transmittance, view.nominal.transmittance_u
    terms = np.array([1.0, float(np.median(frames.sensor_k)) - drift.housing_ref_k, 0.0, 0.0])
    offset_u = math.sqrt(float(terms @ drift.covariance @ terms)) / tau
    middle = float(np.nanmedian(seen)) if np.isfinite(seen).any() else 300.0
    window = float(np.median(frames.sensor_k)) + view.window_rise_k
    apart = float(band_radiance(middle, band=view.band) - band_radiance(window, band=view.band))
    through = apart / tau * u_tau / float(band_radiance_slope(middle, band=view.band))
    return reflected_from_patch(
        seen,
        scene_u_k=math.hypot(offset_u, through),
        patch_k=own,
        patch_u_k=own_u,
        emissivity=float(patch.emissivity_frac),
        emissivity_u=max(patch.emissivity_frac.standard_uncertainty, 0.01),
        band=view.band,
    )


def _pixels(patch: SheetPatch, *, view: HeadView, pose: Pose) -> BoolArray:
    """Mark the pixels that see the patch alone, blur included."""
    card = view.design.card(view.head)
    lens = card_lens(card)
    index = np.moveaxis(np.indices((card.rows, card.cols)), 0, -1)
    plane = point_of_pixel(index, lens=lens, pose=pose)[..., :2]
    away = np.hypot(*np.moveaxis(plane - np.array([float(patch.x_m), float(patch.y_m)]), -1, 0))
    nearest = np.unravel_index(np.nanargmin(away), away.shape)
    pitch = float(footprint_m(lens, pose, rowcol=np.array(nearest)).max())
    clear = away <= float(patch.diameter_m) / 2 - (0.5 + 2.0 * float(card.blur_px)) * pitch
    if not clear.any():
        need = 2 * (0.5 + 2.0 * float(card.blur_px)) * pitch + pitch
        raise NotEnoughDataError(
            f"no pixel sees the patch alone: it is {1000 * float(patch.diameter_m):.0f} mm across, "
            f"needed about {1000 * need:.0f} mm"
        )
    return np.asarray(clear)


def _scene_k(
    frames: HeadFrames, pixels: BoolArray, *, view: HeadView, drift: DriftModel
) -> FloatArray:
    slope = trailing_slope(frames.sensor_k, time_s=frames.time_s, span_s=30.0, least_s=10.0)
    terms = drift_terms(
        frames.sensor_k,
        housing_rate_kps=np.nan_to_num(slope),
        awake_s=frames.awake_s,
        housing_ref_k=drift.housing_ref_k,
        tau_s=drift.tau_s,
    )
    apparent = frames.apparent_k[:, pixels].astype(np.float64).mean(axis=1) - terms @ drift.value
    apparent = np.where(np.isfinite(apparent), apparent, np.nan)
    tau = view.nominal.transmittance
    window = band_radiance(frames.sensor_k + view.window_rise_k, band=view.band)
    scene = band_radiance(np.nan_to_num(apparent, nan=300.0), band=view.band) - (1 - tau) * window
    found = np.asarray(radiating_temperature_k(scene / tau, band=view.band))
    return np.where(np.isfinite(apparent), found, np.nan)
