"""Reads frames from a 16-bit TIFF stack and the table of its moments."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trivet.errors import FormatError, RecordingError
from trivet.files.framesource import ArrayGroup, FrameSource, source_of_arrays
from trivet.files.texttable import numbers, read_table
from trivet.records.sensorcard import SensorCard


def read_tiff(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of a TIFF stack.

    Parameters
    ----------
    path : Path
        One page a frame. 16-bit pages are counts: ``scale_k`` and ``offset_k``
        stand as JSON in the first page's ImageDescription. Pages of floating
        point are apparent temperature in C. Beside ``NAME.tif`` stands
        ``NAME.times.csv`` with ``time_s``, ``sensor_c`` and, where known,
        ``awake_s``, one row a page.
    card : SensorCard
        The head's sensor.

    Returns
    -------
    FrameSource
        Not yet checked for what it says; see ``frames.py``.

    Raises
    ------
    RecordingError
        If the pages are pictures, of another shape, or the moments or the
        scale are missing.
    FormatError
        If the file is no TIFF, or damaged.
    """
    import tifffile

    try:
        with tifffile.TiffFile(path) as file:
            return source_of_arrays(_group(file, path), card)
    except (tifffile.TiffFileError, OSError, ValueError, KeyError) as error:
        raise FormatError(f"{path.name}: not a TIFF stack, or damaged ({error})") from error


def _group(file: Any, path: Path) -> ArrayGroup:
    pages = len(file.pages)
    first = file.pages[0]
    shapes = {tuple(page.shape) for page in file.pages}
    if len(shapes) > 1:
        raise RecordingError(f"{path.name}: pages of different shapes: {sorted(shapes)}")
    fields = _description(first, path.name) | _times(path)
    name = "apparent_c" if first.dtype.kind == "f" else "counts"

    def shape(key: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
        if key == name:
            return (pages, *first.shape), first.dtype
        return fields[key].shape, fields[key].dtype

    def read(key: str) -> NDArray[Any]:
        if key == name:
            return np.stack([page.asarray() for page in file.pages])
        return fields[key]

    return ArrayGroup(path.name, (name, *fields), shape, read)


def _description(page: Any, where: str) -> dict[str, NDArray[Any]]:
    text = (page.description or "").strip()
    if not text.startswith("{"):
        return {}
    try:
        content = json.loads(text)
        known = {key: content[key] for key in ("scale_k", "offset_k") if key in content}
        return {key: np.asarray(float(value)) for key, value in known.items()}
    except (ValueError, TypeError) as error:
        raise RecordingError(
            f"{where}: ImageDescription is not the JSON it begins as ({error}); write "
            '{"scale_k": ..., "offset_k": ...}'
        ) from error


def _times(path: Path) -> dict[str, NDArray[Any]]:
    beside = path.with_name(f"{path.stem}.times.csv")
    if not beside.is_file():
        raise RecordingError(
            f"{path.name}: no time axis: {beside.name} is missing. Give time_s and sensor_c of "
            "each page in that table."
        )
    table = read_table(beside)
    wanted = [name for name in ("time_s", "sensor_c", "awake_s") if name in table.header]
    values, _ = numbers(table, tuple(table.header.index(name) for name in wanted))
    return {name: values[:, at] for at, name in enumerate(wanted)}
