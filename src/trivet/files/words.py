"""Reads ``words.npz``: a thermopile array's calibration memory and raw half frames."""

from __future__ import annotations

from contextlib import closing
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.files.frame_readers import NpzMembers
from trivet.files.framesource import MAX_MOMENTS, FrameSource, check_shape
from trivet.physics.sensor.halfframes import ReadPattern, compose_full_frames
from trivet.physics.sensor.thermopile import (
    Readout,
    array_state,
    confirm_subpage,
    half_frame_temperature_k,
    readout_of_register,
    saturated_pixels,
    stuck_pixels,
    updated_subpage,
)
from trivet.physics.sensor.thermopile_memory import (
    COLS,
    ROWS,
    WORDS,
    ThermopileConstants,
    calibration_memory,
)
from trivet.records.recording import Note
from trivet.records.sensorcard import SensorCard

_KEYS = ("memory", "ram", "time_s", "subpage", "status", "control", "awake_s")

MAX_TORN_FRAC = 0.05
"""Own estimate: the odd read meets an update; one in twenty is a fault of the reader."""


def read_words(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames that raw words of a 32 x 24 thermopile array convert to.

    Parameters
    ----------
    path : Path
        Archive with ``memory`` (832 words from 0x2400), ``ram`` (n x 832 words
        from 0x0400), ``time_s`` (n); where known ``status`` or ``subpage``
        (n), ``control`` (n or one) and ``awake_s`` (n).
    card : SensorCard
        The head's sensor; must be 24 x 32.

    Returns
    -------
    FrameSource
        A whole frame at each half frame's moment, made of the newest half of
        either subpage; its sensor temperature is the chip's.

    Raises
    ------
    RecordingError
        If memory or ram are truncated, blank or stuck, a gain word is 0, the
        subpage is not told and cannot be seen from the words, or the one told
        contradicts them.

    Notes
    -----
    Emissivity 1: apparent temperature. Up to 5 % of the half frames may be
    torn; they are left blank and noted. More are an error that names the first.
    """
    with closing(NpzMembers(path)) as members:
        arrays = _arrays(members, path.name)
    memory, rams, time = arrays["memory"], arrays["ram"], arrays["time_s"].astype(np.float64)
    check_shape((rams.shape[0], ROWS, COLS), moments=time.size, card=card, where=path.name)
    _refuse_frozen(rams, path.name)
    constants = _constants(memory, path.name)
    readouts = _readouts(arrays.get("control"), rams.shape[0])
    subpages = _subpages(arrays, rams, readouts[0].pattern, path.name)
    half, chip, torn = _converted(rams, subpages, readouts, constants, path.name)
    order = np.all(np.diff(time) > 0.0) if time.size > 1 else True
    full = compose_full_frames(half, time_s=time) if order else None
    frames = half if full is None else full.temperature_k
    notes = _notes(path.name, rams, constants, time, subpages)
    if torn:
        found = f"{len(torn)} half frames could not be converted and are blank; {torn[0]}"
        notes += (Note(found, path.name, "their pixels keep the values before, and age"),)
    return FrameSource(
        where=path.name,
        apparent_c=(frames - ZERO_C_K).astype(np.float32),
        time_s=time,
        sensor_c=chip - ZERO_C_K,
        awake_s=arrays["awake_s"].astype(np.float64) if "awake_s" in arrays else None,
        from_counts=True,
        notes=notes,
    )


def _arrays(members: NpzMembers, where: str) -> dict[str, NDArray[np.generic]]:
    names = members.names()
    missing = [key for key in ("memory", "ram", "time_s") if key not in names]
    if missing:
        raise RecordingError(
            f"{where}: {', '.join(missing)} missing; raw words need memory (832), ram (n x 832) "
            "and time_s (n). Without its own calibration memory a sensor cannot be converted."
        )
    time = members.read("time_s", most_items=MAX_MOMENTS)
    shape, _ = members.shape("ram")
    if len(shape) != 2 or shape[1] != WORDS or time.shape != shape[:1]:
        raise RecordingError(
            f"{where}: ram has shape {shape} and time_s {time.shape}; allowed: (n, {WORDS}) and "
            "(n,): one block from 0x0400 to 0x073F a half frame"
        )
    most = {"memory": 10 * WORDS, "ram": shape[0] * WORDS}
    read = {
        key: members.read(key, most_items=most.get(key, max(shape[0], 1)))
        for key in _KEYS
        if key in names and key != "time_s"
    }
    return read | {"time_s": time}


def _constants(memory: NDArray[np.generic], where: str) -> ThermopileConstants:
    try:
        return calibration_memory(memory)
    except RecordingError as error:
        raise RecordingError(f"{where}: {error}") from error


def _readouts(control: NDArray[np.generic] | None, moments: int) -> list[Readout]:
    if control is None:
        return [Readout()] * moments
    words = np.broadcast_to(np.ravel(control).astype(np.int64), (moments,))
    known = {int(word): readout_of_register(int(word)) for word in np.unique(words)}
    return [known[int(word)] for word in words]


def _subpages(
    arrays: dict[str, NDArray[np.generic]],
    rams: NDArray[np.generic],
    pattern: ReadPattern,
    where: str,
) -> IntArray:
    """Return each half frame's subpage: as told, checked against the words, or as seen."""
    told = arrays.get("subpage", arrays.get("status"))
    if told is None:
        return _seen_subpages(rams, pattern, where)
    if told.shape != rams.shape[:1]:
        raise RecordingError(f"{where}: subpage has shape {told.shape}; allowed: one a half frame")
    subpages = told.astype(np.int64) & 1 if "subpage" not in arrays else told.astype(np.int64)
    for at in range(1, len(rams)):
        if at > 1 and subpages[at] == subpages[at - 2] and _replayed(rams, at):
            continue
        try:
            confirm_subpage(
                rams[at], previous=rams[at - 1], stated=int(subpages[at]), pattern=pattern
            )
        except RecordingError as error:
            raise RecordingError(f"{where}: half frame {at}: {error}") from error
    return subpages


def _seen_subpages(rams: NDArray[np.generic], pattern: ReadPattern, where: str) -> IntArray:
    seen = [None] + [
        updated_subpage(rams[at], previous=rams[at - 1], pattern=pattern)
        for at in range(1, len(rams))
    ]
    first = next((at for at, half in enumerate(seen) if half is not None), None)
    if first is None:
        raise RecordingError(
            f"{where}: which subpage each half frame holds is not told and cannot be seen from "
            "the words; store status (the word of register 0x8000) with every half frame"
        )
    subpages = np.empty(len(rams), dtype=np.int64)
    for at, half in enumerate(seen):
        if first < at and at > 1 and _replayed(rams, at):
            subpages[at] = subpages[at - 2]
        elif half is not None:
            subpages[at] = half
        elif at < first:  # before the first change that tells, the turns alternate backwards
            subpages[at] = (int(seen[first] or 0) + (first - at)) % 2
        else:
            raise RecordingError(
                f"{where}: half frame {at}: its words do not tell which subpage it holds (a "
                "repeated read, or a missed one). Store status with every half frame."
            )
    return subpages


def _replayed(rams: NDArray[np.generic], at: int) -> bool:
    """Whether a half frame repeats the last but one word for word, as no live sensor does."""
    return bool(np.array_equal(rams[at], rams[at - 2]))


def _refuse_frozen(rams: NDArray[np.generic], where: str) -> None:
    if len(rams) >= 8 and bool(np.all(rams == rams[0])):
        raise RecordingError(
            f"{where}: all {len(rams)} half frames are the same, word for word: stuck words. The "
            "sensor or its reader had stopped; record again."
        )


def _converted(
    rams: NDArray[np.generic],
    subpages: IntArray,
    readouts: list[Readout],
    constants: ThermopileConstants,
    where: str,
) -> tuple[FloatArray, FloatArray, list[str]]:
    """Return half frames, chip temperatures, and what was wrong with the odd torn one."""
    half = np.full((len(rams), ROWS, COLS), np.nan)
    chip = np.full(len(rams), np.nan)
    torn: list[str] = []
    for at, ram in enumerate(rams):
        readout = readouts[at]
        try:
            half[at] = half_frame_temperature_k(
                ram, constants=constants, subpage=int(subpages[at]), readout=readout
            )
            chip[at] = array_state(ram, constants=constants, resolution=readout.resolution).chip_k
        except RecordingError as error:
            torn.append(f"half frame {at} of {len(rams)}: {error}")
            half[at] = np.nan
            continue
        clipped = saturated_pixels(ram) & ~np.isnan(half[at])
        half[at, clipped] = np.where(half[at, clipped] > chip[at], np.inf, -np.inf)
    if len(torn) > MAX_TORN_FRAC * len(rams):
        raise RecordingError(f"{where}: {torn[0]} ({len(torn)} such of {len(rams)})")
    half[:, stuck_pixels(rams)] = np.nan
    return half, chip, torn


def _notes(
    where: str,
    rams: NDArray[np.generic],
    constants: ThermopileConstants,
    time: FloatArray,
    subpages: IntArray,
) -> tuple[Note, ...]:
    step = float(np.median(np.diff(time))) if time.size > 1 else 0.0
    notes = [
        Note(
            f"whole frames composed of half frames; the other half is about {step:.2f} s old",
            where,
            "at 3 K/s that is a checkerboard of "
            f"{3 * step:.1f} K: read pans over many pixels, or raise the rate",
        )
    ]
    repeats = np.flatnonzero(np.diff(subpages) == 0) + 1
    if repeats.size:
        notes.append(
            Note(
                f"{repeats.size} times the same subpage twice in a row, first at half frame "
                f"{repeats[0]}",
                f"{where}, {time[repeats[0]]:.2f} s",
                "a turn was lost: the other half is staler there",
            )
        )
    replayed = sum(_replayed(rams, at) for at in range(2, len(rams)))
    if replayed:
        notes.append(
            Note(
                f"{replayed} half frames repeat the last but one word for word",
                where,
                "a live sensor shows noise: this is a replay, or its reader had stalled",
            )
        )
    bad = constants.pixels.broken | stuck_pixels(rams)
    if np.any(bad):
        row, col = np.argwhere(bad)[0]
        notes.append(
            Note(
                f"{np.count_nonzero(bad)} broken or stuck pixels, first row {row}, col {col}",
                where,
                "they are left out",
            )
        )
    return tuple(notes)
