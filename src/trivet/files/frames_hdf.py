"""Reads frames from HDF5 and netCDF-4 files; needs the extra ``exchange``."""

from __future__ import annotations

import importlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trivet.errors import FormatError, InputError, RecordingError
from trivet.files.framesource import ArrayGroup, FrameSource, source_of_arrays
from trivet.records.sensorcard import SensorCard

_UNIT_WORDS = {
    "apparent_c": ("c", "degc", "°c", "deg_c", "celsius", "degree_celsius", "degrees_celsius"),
    "sensor_c": ("c", "degc", "°c", "deg_c", "celsius", "degree_celsius", "degrees_celsius"),
    "time_s": ("s", "sec", "second", "seconds"),
}


def read_hdf(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of an HDF5 or netCDF-4 file.

    Parameters
    ----------
    path : Path
        The file; datasets of its root group as in ``frames.npz``. ``scale_k``
        and ``offset_k`` may be attributes of ``counts``. CF packing
        (``scale_factor``, ``add_offset``, ``_FillValue``) is undone.
    card : SensorCard
        The head's sensor.

    Returns
    -------
    FrameSource
        Not yet checked for what it says; see ``frames.py``.

    Raises
    ------
    InputError
        If the optional library is not installed; names the extra.
    RecordingError
        If arrays are missing, of another shape, or declare another unit.
    FormatError
        If the file is not HDF5, or damaged.
    """
    h5py = _library()
    try:
        with h5py.File(path, "r") as file:
            return source_of_arrays(_group(h5py, file, path.name), card)
    except OSError as error:
        raise FormatError(
            f"{path.name}: not an HDF5 or netCDF-4 file, or damaged ({error}). Classic netCDF is "
            "not read: write netCDF-4 or frames.npz."
        ) from error


def _library() -> Any:
    try:
        return importlib.import_module("h5py")
    except ImportError as error:
        raise InputError(
            "HDF5 and netCDF frames need the extra 'exchange': install trivet[exchange], or write "
            "frames.npz instead"
        ) from error


def _group(h5py: Any, file: Any, where: str) -> ArrayGroup:
    names = [name for name, item in file.items() if isinstance(item, h5py.Dataset)]
    holder = next((file[name] for name in ("counts",) if name in names), None)
    attributes = {} if holder is None else dict(holder.attrs)
    extra = [key for key in ("scale_k", "offset_k") if key in attributes and key not in names]

    def shape(name: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
        if name in extra:
            held = np.asarray(attributes[name])
            return held.shape, held.dtype
        data = file[name]
        packed = "scale_factor" in data.attrs or "add_offset" in data.attrs
        kind = np.dtype(np.float64) if packed and data.dtype.itemsize > 1 else data.dtype
        if kind.kind not in "biuf":
            raise RecordingError(f"{where}: {name} is of type {kind}; save plain numbers")
        return tuple(data.shape), kind

    def read(name: str) -> NDArray[Any]:
        if name in extra:
            return np.asarray(attributes[name])
        _check_unit(where, name, file[name].attrs)
        return _unpacked(file[name])

    known = tuple(name for name in [*names, *extra] if name not in _axes(h5py, file, names))
    return ArrayGroup(where, known, shape, read)


def _axes(h5py: Any, file: Any, names: list[str]) -> set[str]:
    """Return names of netCDF dimension variables that carry no data of ours."""
    scales = {name for name in names if h5py.h5ds.is_scale(file[name].id)}
    return scales - {"time_s"}


def _check_unit(where: str, name: str, attributes: Any) -> None:
    unit = attributes.get("units")
    text = unit.decode() if isinstance(unit, bytes) else str(unit) if unit is not None else ""
    allowed = _UNIT_WORDS.get(name)
    if allowed and text and text.casefold().replace(" ", "_") not in allowed:
        raise RecordingError(
            f"{where}: {name} declares the unit {text!r}; allowed: {allowed[0]}. Convert it, or "
            "save it under the name that fits."
        )


def _unpacked(data: Any) -> NDArray[Any]:
    raw = np.asarray(data[()])
    fill = data.attrs.get("_FillValue")
    scale, offset = data.attrs.get("scale_factor"), data.attrs.get("add_offset")
    if fill is None and scale is None and offset is None:
        return raw
    values = raw.astype(np.float64)
    if fill is not None:
        values[raw == np.asarray(fill).item()] = np.nan
    factor = 1.0 if scale is None else float(np.asarray(scale).item())
    shift = 0.0 if offset is None else float(np.asarray(offset).item())
    return np.asarray(values * factor + shift)
