"""Pixel by pixel: offsets, gains and bad pixels from even scenes, and frames without them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from trivet.errors import NotEnoughDataError, RecordingError
from trivet.physics.sensor.flatfield import FlatField, evened_k, flat_field
from trivet.records.calibration import PixelCalibration
from trivet.records.design import Design, Head
from trivet.records.recording import HeadFrames, Recording


def pixel_term(
    recordings: Sequence[Recording], *, design: Design, head: Head
) -> tuple[PixelCalibration | None, tuple[str, ...]]:
    """Return what even scenes say about each pixel of a head, or why they do not."""
    stacks, housing, names = [], [], []
    only = len(design.heads) == 1
    for recording in recordings:
        frames = recording.inputs.frames_of(head.name)
        for flat in recording.reference.flats:
            if frames is None or flat.head not in (("", head.name) if only else (head.name,)):
                continue
            use = (frames.time_s >= float(flat.from_s)) & (frames.time_s <= float(flat.to_s))
            stack = frames.apparent_k[use].astype(np.float64)
            stacks.append(np.where(np.isfinite(stack), stack, np.nan))
            housing.append(float(frames.sensor_k[use].mean()) if use.any() else float("nan"))
            names.append(recording.name)
    if not stacks:
        return None, ()
    units = {one.unit for one in recordings if one.name in names}
    where = f"pixels of head {head.name}"
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
    even = evened_k(frames.apparent_k, flat=flat, housing_k=frames.sensor_k)
    return replace(frames, apparent_k=even.astype(np.float32))


def evened_recording(
    recording: Recording, *, pixels: dict[str, PixelCalibration | None]
) -> Recording:
    """Return a recording with the frames of every head evened."""
    if not any(pixels.values()):
        return recording
    heads = tuple(evened(one, pixels=pixels.get(one.head)) for one in recording.inputs.heads)
    return replace(recording, inputs=replace(recording.inputs, heads=heads))
