"""The reflected temperature, from patches of low emissivity on the cooktop."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.geometry.optics import Pose
from trivet.physics.radiation.filmfit import PatchReading, reflected_from_patch
from trivet.physics.radiation.planck import (
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)
from trivet.records.benchsheet import SheetPatch
from trivet.records.calibration import HeadCalibration
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.headscenes import HeadTerms, sensor_state

HOUSING_U_K = 1.0
"""Doubt of a patch's temperature where it is part of the housing; assumed, no source."""


def reflected_term(
    recordings: Sequence[Recording], *, view: HeadTerms
) -> tuple[HeadCalibration, tuple[str, ...]]:
    """Return a head's terms with the reflected temperature of its patches, and what was refused."""
    readings: list[PatchReading] = []
    refused: list[str] = []
    design = view.design
    kept = f"in force: {float(design.surroundings.reflected_k) - 273.15:.0f} C as designed"
    for recording in recordings:
        frames = view.frames(recording)
        for patch in recording.reference.patches if frames is not None else ():
            assert frames is not None
            try:
                readings.append(_reading(recording, frames, patch, view=view))
            except (NotEnoughDataError, OutOfRangeError) as error:
                refused.append(
                    f"reflected temperature of head {view.head.name}, {recording.name}: {error}; "
                    f"{kept}"
                )
    if not readings:
        return view.terms, tuple(refused)
    values = np.array([one.reflected_k for one in readings])
    own = np.array([one.reflected_u_k for one in readings])
    # a kitchen is not the same every day: the spread between cooks counts for the next one
    spread = float(values.std(ddof=1)) if values.size > 1 else float(own.mean())
    u = math.hypot(float(np.sqrt((own**2).mean())), spread)
    reason = (
        f"{values.size} patches read {values.min() - 273.15:.0f} to {values.max() - 273.15:.0f} C"
    )
    found = replace(
        view.terms,
        reflected_k=float(values.mean()),
        reflected_u_k=u,
        reflected_reason=reason,
    )
    return found, tuple(refused)


def _reading(
    recording: Recording, frames: HeadFrames, patch: SheetPatch, *, view: HeadTerms
) -> PatchReading:
    """Return the reflected temperature that one patch shows."""
    pixels = _pixels(patch, view=view, pose=view.poses[recording.name])
    seen = _scene_k(frames, pixels, view=view)
    own, own_u = _patch_k(recording, frames, patch)
    drift, tau = view.drift, view.terms.transmittance
    housing = float(np.median(frames.sensor_k))
    terms = np.array([1.0, housing - drift.housing_ref_k, 0.0, 0.0])
    offset_u = math.sqrt(float(terms @ drift.covariance @ terms)) / tau
    middle = float(np.nanmedian(seen)) if np.isfinite(seen).any() else 300.0
    window = housing + view.window_rise_k
    apart = float(band_radiance(middle, band=view.band) - band_radiance(window, band=view.band))
    slope = float(band_radiance_slope(middle, band=view.band))
    return reflected_from_patch(
        seen,
        scene_u_k=math.hypot(offset_u, apart / tau * view.terms.transmittance_u / slope),
        patch_k=own,
        patch_u_k=own_u,
        emissivity=float(patch.emissivity_frac),
        emissivity_u=max(patch.emissivity_frac.standard_uncertainty, 0.01),
        band=view.band,
    )


def _patch_k(
    recording: Recording, frames: HeadFrames, patch: SheetPatch
) -> tuple[FloatArray, float]:
    """Return the patch's own temperature at the frames (time,) and its uncertainty. [K]"""
    if patch.probe == "housing":
        return frames.sensor_k, HOUSING_U_K
    named = (one for one in recording.reference.probes if one.probe.column == patch.probe)
    probe = next(named, None)
    if probe is None or np.isfinite(probe.temperature_k).sum() < 2:
        raise NotEnoughDataError(f"no readings of probe {patch.probe!r} on the patch")
    good = np.isfinite(probe.temperature_k)
    times, values = probe.time_s[good], probe.temperature_k[good]
    own = np.interp(frames.time_s, times, values, math.nan, math.nan)
    return own, float(np.nanmedian(probe.u_k))


def _pixels(patch: SheetPatch, *, view: HeadTerms, pose: Pose) -> BoolArray:
    """Mark the pixels that see the patch alone, blur included."""
    across = float(patch.diameter_m)
    centre = np.array([float(patch.x_m), float(patch.y_m)])
    disc = view.disc(pose, centre_m=centre, radius_m=across / 2)
    if not disc.clear.any():
        need = 2 * view.margin_px * disc.pitch_m + disc.pitch_m
        raise NotEnoughDataError(
            f"no pixel sees the patch alone: it is {1000 * across:.0f} mm across, "
            f"needed about {1000 * need:.0f} mm"
        )
    return disc.clear


def _scene_k(frames: HeadFrames, pixels: BoolArray, *, view: HeadTerms) -> FloatArray:
    """Return the scene temperature of some pixels, drift and window taken out, (time,). [K]"""
    drift = view.drift
    apparent = frames.apparent_k[:, pixels].astype(np.float64).mean(axis=1)
    apparent = apparent - sensor_state(frames).terms(drift) @ drift.value
    known = np.isfinite(apparent)
    scene = view.scene_radiance(np.where(known, apparent, 300.0), housing_k=frames.sensor_k)
    return np.where(known, radiating_temperature_k(scene, band=view.band), np.nan)
