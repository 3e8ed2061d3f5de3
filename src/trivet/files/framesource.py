"""What a frame file says, before it is believed: values, time, sensor state.

Every format's reader fills one :class:`FrameSource`; ``frames.py`` checks it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import Float32Array, FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.records.recording import Note
from trivet.records.sensorcard import SensorCard

MAX_MOMENTS = 5_000_000  # own estimate: two weeks at 4 Hz; more is a damaged header
FRAME_KEYS = ("apparent_c", "counts", "scale_k", "offset_k", "time_s", "sensor_c", "awake_s")


@dataclass(frozen=True)
class FrameSource:
    """Frames as a file gives them, in C, with what the checks need to know."""

    where: str
    apparent_c: Float32Array
    """(time, row, col) [C]"""
    time_s: FloatArray
    """(time,) [s]"""
    sensor_c: FloatArray
    """(time,) [C]"""
    awake_s: FloatArray | None
    """(time,) since wake; None where the file does not say. [s]"""
    from_counts: bool
    """Whether the values are scaled counts rather than temperatures as written."""
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class ArrayGroup:
    """Named arrays of one file, each read only when asked for and after its shape is seen."""

    where: str
    names: tuple[str, ...]
    shape: Callable[[str], tuple[tuple[int, ...], np.dtype[Any]]]
    read: Callable[[str], NDArray[Any]]


def source_of_arrays(group: ArrayGroup, card: SensorCard) -> FrameSource:
    """Return the frames of a file of named arrays.

    Parameters
    ----------
    group : ArrayGroup
        The file's arrays: ``apparent_c``, or ``counts`` with ``scale_k`` and
        ``offset_k``; ``time_s``; ``sensor_c``; ``awake_s`` where known.
    card : SensorCard
        The head's sensor; gives the shape that the frames must have.

    Returns
    -------
    FrameSource
        Values in C; only missing keys, types and shapes have been checked.

    Raises
    ------
    RecordingError
        If a key is missing, the shape is not the head's, the values are an
        8-bit picture, or counts come without their scale.
    """
    name = _frame_key(group)
    shape, dtype = group.shape(name)
    refuse_picture(dtype, f"{group.where}: {name}")
    moments = _moments(group)
    check_shape(shape, moments=moments.size, card=card, where=f"{group.where}: {name}")
    raw = group.read(name)
    if name == "counts":
        values = _scaled(group, raw)
    else:
        _refuse_integers(dtype, group.where)
        values = raw.astype(np.float32)
    sensor, notes = _sensor(group, moments.size)
    awake = None
    if "awake_s" in group.names:
        awake = _small(group, "awake_s", moments.size)
        if awake.shape != moments.shape:
            raise RecordingError(
                f"{group.where}: awake_s has shape {awake.shape}; allowed: ({moments.size},)"
            )
    strangers = sorted(set(group.names) - set(FRAME_KEYS))
    if strangers:
        notes += (
            Note(
                f"arrays that are not used: {', '.join(strangers)}",
                group.where,
                f"known are {', '.join(FRAME_KEYS)}",
            ),
        )
    return FrameSource(group.where, values, moments, sensor, awake, name == "counts", notes)


def check_shape(shape: tuple[int, ...], *, moments: int, card: SensorCard, where: str) -> None:
    """Refuse frames of another shape than the head's, and say what the shape betrays.

    Parameters
    ----------
    shape : tuple
        Shape that the file declares.
    moments : int
        Length of the time axis.
    card : SensorCard
        The head's sensor.
    where : str
        File and array, for the message.

    Raises
    ------
    RecordingError
        If the shape is not (time, rows, cols).
    """
    wanted = (moments, card.rows, card.cols)
    if tuple(shape) == wanted:
        return
    allowed = f"allowed: (time, row, col) = {wanted} for sensor {card.name!r}"
    if len(shape) == 3:
        extra = shape[1] - card.rows
        if shape[2] == card.cols and 1 <= extra <= 8:
            raise RecordingError(
                f"{where}: {shape[1]} rows where the sensor has {card.rows}: {extra} telemetry "
                f"row{'s' if extra > 1 else ''} inside the frame. Cut them off before saving; "
                f"{allowed}"
            )
        if shape[1:] == (card.cols, card.rows) and card.rows != card.cols:
            raise RecordingError(
                f"{where}: frames of {shape[1]} x {shape[2]}: rows and columns are swapped; "
                f"{allowed}"
            )
        if shape[1:] == wanted[1:]:
            raise RecordingError(
                f"{where}: {shape[0]} frames and {moments} moments in time_s; give one moment "
                "to each frame"
            )
    raise RecordingError(f"{where}: shape {tuple(shape)}; {allowed}")


def refuse_picture(dtype: np.dtype[Any], where: str) -> None:
    """Refuse pixels of 8 bits: a picture, not a measurement.

    Parameters
    ----------
    dtype : numpy dtype
        Type of the pixels as stored.
    where : str
        File and array, for the message.

    Raises
    ------
    RecordingError
        If the type holds one byte.
    """
    if dtype.itemsize == 1:
        raise RecordingError(
            f"{where}: values of type {dtype}, 0 to 255: a picture whose grey or colour was scaled "
            "to the scene, from which no temperature can be had. Export the sensor's own "
            "temperatures or its 16-bit counts with their scale."
        )


def _frame_key(group: ArrayGroup) -> str:
    if "apparent_c" in group.names and "counts" in group.names:
        raise RecordingError(
            f"{group.where}: both apparent_c and counts; keep the one that was measured"
        )
    for name in ("apparent_c", "counts"):
        if name in group.names:
            return name
    raise RecordingError(
        f"{group.where}: neither apparent_c nor counts; found "
        f"{', '.join(group.names) or 'nothing'}. Name the frames apparent_c (C), or counts "
        "with scale_k and offset_k."
    )


def _small(group: ArrayGroup, name: str, most: int) -> FloatArray:
    """Read a series after a look at its declared shape, so that nothing swells."""
    shape, _ = group.shape(name)
    items = int(np.prod(shape, dtype=object)) if shape else 1
    if items > most:
        raise RecordingError(
            f"{group.where}: {name} swells to {items:,} values; at most {most:,} were expected. "
            "It was not unpacked."
        )
    return np.asarray(group.read(name), dtype=np.float64)


def _moments(group: ArrayGroup) -> FloatArray:
    if "time_s" not in group.names:
        raise RecordingError(
            f"{group.where}: no time axis: time_s is missing. Give the moment of each frame in "
            "seconds; a frame rate alone hides lost frames."
        )
    time = _small(group, "time_s", MAX_MOMENTS)
    if time.ndim != 1 or time.size == 0:
        raise RecordingError(f"{group.where}: time_s has shape {time.shape}; allowed: (time,)")
    return time


def _scaled(group: ArrayGroup, raw: NDArray[Any]) -> Float32Array:
    missing = [key for key in ("scale_k", "offset_k") if key not in group.names]
    if missing:
        raise RecordingError(
            f"{group.where}: counts without {' and '.join(missing)}: counts are not temperatures, "
            "and a guessed factor is right at one temperature only. Give scale_k (kelvin a count) "
            "and offset_k (kelvin at count 0)."
        )
    keys = ("scale_k", "offset_k")
    scale, offset = (_small(group, key, 1) for key in keys)
    single = scale.size == 1 and offset.size == 1
    if not single or not scale.item() > 0 or not np.isfinite(offset.item()):
        raise RecordingError(
            f"{group.where}: scale_k {scale!r}, offset_k {offset!r}; allowed: one number each, "
            "scale_k above 0"
        )
    return np.asarray(raw * scale.item() + (offset.item() - ZERO_C_K), dtype=np.float32)


def _refuse_integers(dtype: np.dtype[Any], where: str) -> None:
    if dtype.kind in "iub":
        raise RecordingError(
            f"{where}: apparent_c is of type {dtype}: whole numbers of the converter, not C. "
            "Name them counts and give scale_k and offset_k."
        )


def _sensor(group: ArrayGroup, moments: int) -> tuple[FloatArray, tuple[Note, ...]]:
    if "sensor_c" not in group.names:
        raise RecordingError(
            f"{group.where}: sensor_c is missing; the temperature of the sensor housing at each "
            "frame is needed to take out its drift"
        )
    sensor = _small(group, "sensor_c", moments)
    if sensor.size == 1 and moments > 1:
        note = Note(
            f"one sensor temperature ({sensor.item():.1f} C) for all {moments} frames",
            group.where,
            "log it with every frame; drift cannot be taken out of this recording",
        )
        return np.full(moments, sensor.item()), (note,)
    if sensor.shape != (moments,):
        raise RecordingError(
            f"{group.where}: sensor_c has shape {sensor.shape}; allowed: ({moments},)"
        )
    return sensor, ()
