"""What even scenes say: of each pixel, and black bodies of window, gain and offset."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray
from trivet.errors import NotEnoughDataError, OutOfRangeError, RecordingError
from trivet.physics.sensor.flatfield import FlatField, flat_field, flat_field_corrected_k
from trivet.physics.sensor.window import WindowFit
from trivet.records.benchsheet import SheetFlat
from trivet.records.calibration import HeadCalibration, PixelCalibration
from trivet.records.figures import Figure
from trivet.records.recording import HeadFrames, Recording
from trivet.stages.calibrate.fixedpoints import FixedPoint, fitted_points
from trivet.stages.calibrate.headscenes import HeadTerms, sensor_state
from trivet.stages.calibrate.nominal import EmissivityPrior, figure_u

LEVEL_HALF_K, BLACK_BODY_EMISSIVITY_HALF = 1.0, 0.01
"""Half-widths of a black body whose sheet gives no range; common practice, no source."""
BLACK_BODY_FLOOR_K = 0.1  # own estimate: what noise leaves of a mean over a whole frame
BLACK_BODY_CONFLICT = 2.5
"""So many joint uncertainties apart, the scene is not taken for one through the window (own
estimate: one cook in eighty lies beyond by chance)."""
GAIN_LEFT = 0.15
"""Share of the gain's uncertainty that stays: a gain acts on kelvin, a window on radiance. Matched
at 25 and 200 C, a gain of 2 % and the window that stands for it part by 0.4 K at 300 C and less
below, 0.15 of what the gain does (own sum)."""


def pixel_term(
    recordings: Sequence[Recording], *, view: HeadTerms
) -> tuple[PixelCalibration | None, tuple[str, ...]]:
    """Return what even scenes say about each pixel of a head, or why they do not."""
    stacks, housing, names = [], [], []
    for recording in recordings:
        for _, frames, use in view.even_scenes(recording):
            stack = frames.apparent_k[use].astype(np.float64)
            stacks.append(np.where(np.isfinite(stack), stack, np.nan))
            housing.append(float(frames.sensor_k[use].mean()) if use.any() else math.nan)
            names.append(recording.name)
    if not stacks:
        return None, ()
    units = {one.unit for one in recordings if one.name in names}
    where = f"pixels of head {view.head.name}"
    if len(units) > 1:
        return None, (f"{where}: even scenes of {len(units)} units; in force: pixels as they come",)
    try:
        found = flat_field(stacks, housing_k=np.array(housing))
    except (NotEnoughDataError, RecordingError) as error:
        text = ", ".join(sorted(set(names)))
        return None, (f"{where}, {text}: {error}; in force: pixels as they come",)
    levels = ", ".join(f"{level - 273.15:.0f} C" for level in found.level_k)
    reason = f"even scenes at {levels}; {int(found.bad.sum())} bad pixels"
    term = PixelCalibration(found.offset_k, found.gain, found.bad, found.residual_rms_k, reason)
    return term, ()


def evened(frames: HeadFrames, *, pixels: PixelCalibration | None) -> HeadFrames:
    """Return frames with each pixel's own offset and gain taken out, bad pixels without a value."""
    if pixels is None:
        return frames
    flat = FlatField(pixels.offset_k, pixels.gain, pixels.bad, pixels.residual_rms_k, np.zeros(0))
    even = flat_field_corrected_k(frames.apparent_k, flat=flat, housing_k=frames.sensor_k)
    return replace(frames, apparent_k=even.astype(np.float32))


def evened_recording(
    recording: Recording, *, pixels: dict[str, PixelCalibration | None]
) -> Recording:
    """Return a recording with the frames of every head evened."""
    if not any(pixels.values()):
        return recording
    heads = tuple(evened(one, pixels=pixels.get(one.head)) for one in recording.inputs.heads)
    return replace(recording, inputs=replace(recording.inputs, heads=heads))


# ------------------------------------------------------------ black bodies
def blackbody_term(
    recordings: Sequence[Recording], *, view: HeadTerms
) -> tuple[HeadCalibration, tuple[str, ...]]:
    """Return a head's terms with what black bodies say of window, gain and offset, or why not.

    Window and gain show as one product, which is all that a reading needs: it is kept as the
    transmittance, and the gain keeps what tells the two apart.
    """
    nominal, where = view.terms, f"black body of head {view.head.name}"
    levels: list[FixedPoint] = []
    emissivity: list[Figure] = []
    units: set[str] = set()
    for recording in recordings:
        for flat, frames, use in view.even_scenes(recording):
            if use.any():
                levels.append(_level(frames, flat, use, view=view))
                emissivity.append(flat.emissivity_frac)
                units.add(recording.unit)
    if not levels:
        return nominal, ()
    if len(units) > 1:
        return nominal, (f"{where}: of {len(units)} sensor units; in force: as designed",)
    try:
        fit = fitted_points(
            levels, view=view, surface=_emissivity(emissivity), gain_u=GAIN_LEFT * nominal.gain_u
        )
    except (NotEnoughDataError, OutOfRangeError) as error:
        return nominal, (f"{where}: {error}; in force: as designed",)
    allowed = BLACK_BODY_CONFLICT * math.hypot(
        fit.transmittance_u, nominal.transmittance_u, nominal.transmittance * nominal.gain_u
    )
    if abs(fit.transmittance - nominal.transmittance) > allowed:
        return nominal, (
            f"{where}: it asks for a window of {fit.transmittance:.3f} where "
            f"{nominal.transmittance:.3f} is designed; was it seen through the window? "
            "in force: as designed",
        )
    text = ", ".join(f"{one.true_k - 273.15:.0f} C" for one in levels)
    return _with_black_body(nominal, fit, text), ()


def _with_black_body(nominal: HeadCalibration, fit: WindowFit, levels: str) -> HeadCalibration:
    """Return a head's terms with window, gain and offset of black bodies."""
    value, covariance = nominal.drift.value.copy(), nominal.drift.covariance.copy()
    value[0] += fit.offset_k
    covariance[0, :] = covariance[:, 0] = 0.0
    covariance[0, 0] = fit.offset_u_k**2
    return replace(
        nominal,
        transmittance=min(fit.transmittance, 1.0),
        transmittance_u=fit.transmittance_u,
        transmittance_how="fitted",
        transmittance_reason=f"black body at {levels}: {fit.transmittance:.3f} +- "
        f"{fit.transmittance_u:.3f} with the gain in it, offset {fit.offset_k:+.1f} +- "
        f"{fit.offset_u_k:.1f} K",
        gain_u=GAIN_LEFT * nominal.gain_u,
        drift=replace(nominal.drift, value=value, covariance=covariance),
    )


def _level(frames: HeadFrames, flat: SheetFlat, use: BoolArray, *, view: HeadTerms) -> FixedPoint:
    """Return what all pixels say of a black body."""
    return FixedPoint(
        apparent_k=float(np.nanmean(frames.apparent_k[use].astype(np.float64))),
        u_k=BLACK_BODY_FLOOR_K,
        true_k=float(flat.temperature_k),
        true_u_k=figure_u(flat.temperature_k, otherwise_half=LEVEL_HALF_K),
        housing_k=float(frames.sensor_k[use].mean()),
        drift_terms=sensor_state(frames).part(use).terms(view.drift).mean(axis=0),
    )


def _emissivity(figures: list[Figure]) -> EmissivityPrior:
    """Return the emissivity of black bodies together, each within its own range."""
    return EmissivityPrior(
        min(float(np.mean([float(one) for one in figures])), 1.0),
        max(figure_u(one, otherwise_half=BLACK_BODY_EMISSIVITY_HALF) for one in figures),
    )
