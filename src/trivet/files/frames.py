"""Finds and reads the frames of each head in a folder, in whichever format they are."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from trivet.constants import ZERO_C_K
from trivet.errors import FormatError, InputError, RecordingError
from trivet.files.frame_checks import check_time, held_sensor, in_range, whole_frames
from trivet.files.frame_readers import READERS
from trivet.files.frame_units import refuse_wrong_unit
from trivet.files.framesource import FrameSource
from trivet.files.words import read_words
from trivet.records.recording import HeadFrames, Note
from trivet.records.sensorcard import SensorCard

FORMATS = "frames.npz, .csv, .tif, .tiff, .h5, .hdf5, .nc, or words.npz"


def frame_file(folder: Path, *, head: str, only: bool) -> Path:
    """Return the one file that holds a head's frames.

    Parameters
    ----------
    folder : Path
        The bench cook.
    head : str
        Name of the head; ``frames.HEAD.npz`` and the like.
    only : bool
        Whether it is the only head, so that ``frames.npz`` will do.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    RecordingError
        If there is none, or more than one.
    """
    stems = [f"frames.{head}", f"words.{head}"] + (["frames", "words"] if only else [])
    found = [
        folder / f"{stem}{suffix}"
        for stem in stems
        for suffix in READERS
        if (folder / f"{stem}{suffix}").is_file() and (stem[:5] != "words" or suffix == ".npz")
    ]
    if not found:
        wanted = (
            FORMATS
            if only
            else FORMATS.replace("frames.", f"frames.{head}.", 1).replace(
                "words.", f"words.{head}.", 1
            )
        )
        raise RecordingError(f"{folder}: no frames of head {head!r}; expected {wanted}")
    if len(found) > 1:
        names = ", ".join(path.name for path in found)
        raise RecordingError(
            f"{folder}: frames of head {head!r} in several files: {names}; keep the one that was "
            "recorded"
        )
    return found[0]


def read_frames(
    path: Path, *, head: str, card: SensorCard, ambient_c: float = 22.0
) -> tuple[HeadFrames, tuple[Note, ...]]:
    """Return a head's frames, checked, with notes of what was found.

    Parameters
    ----------
    path : Path
        The file; its name decides the format.
    head : str
        Name of the head.
    card : SensorCard
        The head's sensor: shape, rate, range, step.
    ambient_c : float
        Kitchen temperature of the design, as evidence on units. [C]

    Returns
    -------
    HeadFrames, notes
        Apparent temperature [K], NaN without a value, infinite beyond range.

    Raises
    ------
    RecordingError
        If the frames are not what they claim to be; says what, where and what
        to do.
    FormatError
        If the format is unknown or the file is damaged.
    InputError
        If the file is missing, or its format needs an extra.

    Notes
    -----
    The file is only read. What is wrong throughout is refused; what is wrong
    at moments or pixels is blanked and noted.
    """
    if not path.is_file():
        raise InputError(f"{path}: there is no such file")
    reader = read_words if path.name.startswith("words") else READERS.get(path.suffix.casefold())
    if reader is None:
        raise FormatError(f"{path.name}: format {path.suffix!r} is not known; allowed: {FORMATS}")
    source = reader(path, card)
    notes = [*source.notes, *check_time(source, card)]
    refuse_wrong_unit(_without_fillers(source), card=card, ambient_c=ambient_c)
    frames, found = whole_frames(source, card)
    notes += found
    frames, found = in_range(frames, card=card, where=source.where)
    notes += found
    sensor, found = held_sensor(source)
    notes += found
    awake = source.awake_s
    if awake is None:
        awake = source.time_s - source.time_s[0]
        notes.append(
            Note(
                "awake_s is not given; the sensor is taken to have woken at the first frame",
                source.where,
                "save awake_s where the sensor had settled before",
            )
        )
    return (
        HeadFrames(
            head=head,
            time_s=source.time_s,
            apparent_k=(frames + np.float32(ZERO_C_K)).astype(np.float32),
            sensor_k=sensor + ZERO_C_K,
            awake_s=np.asarray(awake, dtype=np.float64),
        ),
        tuple(notes),
    )


def _without_fillers(source: FrameSource) -> FrameSource:
    """Return the frames with exact zeros blanked, for evidence on units only."""
    zero = source.apparent_c == 0.0
    if not np.any(zero) or np.all(zero):
        return source
    return replace(source, apparent_c=np.where(zero, np.float32(np.nan), source.apparent_c))
