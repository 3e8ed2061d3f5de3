"""Reads frames from npz, CSV, TIFF, HDF5 and netCDF-4 files: one reader a format, in one table.

An npz is a zip: a few kilobytes can swell to gigabytes, and an array of objects runs code
when loaded. So its directory and each array's header are read first, and nothing is unpacked
whose declared size does not follow from the sensor head and the number of moments.
"""

from __future__ import annotations

import importlib
import json
import re
import zipfile
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from trivet.errors import FormatError, InputError, RecordingError
from trivet.files.framesource import (
    MAX_MOMENTS,
    ArrayGroup,
    FrameSource,
    check_shape,
    source_of_arrays,
)
from trivet.files.texttable import numbers, read_table
from trivet.records.sensorcard import SensorCard

HEADER_BYTES = 10_000  # own estimate: a header of plain numbers takes under 200 bytes
_DAMAGE = (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError)


class NpzMembers:
    """An open npz archive whose members are checked one by one."""

    def __init__(self, path: Path):
        self.path = path
        try:
            self._zip = zipfile.ZipFile(path)
        except FileNotFoundError as error:
            raise InputError(f"{path}: there is no such file") from error
        except (zipfile.BadZipFile, OSError) as error:
            raise FormatError(
                f"{path}: not an npz archive, or damaged ({error}); write it with numpy.savez"
            ) from error

    def close(self) -> None:
        """Close the archive."""
        self._zip.close()

    def names(self) -> tuple[str, ...]:
        """Return the names of the arrays, as numpy would give them."""
        return tuple(name.removesuffix(".npy") for name in self._zip.namelist())

    def shape(self, name: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
        """Return shape and type that an array declares, without unpacking it.

        Raises
        ------
        RecordingError
            If the member is an array of objects (pickled).
        FormatError
            If it is no array, or damaged.
        """
        with self._open(name) as stream:
            return self._header(stream, name)

    def read(self, name: str, *, most_items: int) -> NDArray[Any]:
        """Return an array whose declared size is within what is expected.

        Raises as :meth:`shape` does, and RecordingError where the array or its archive
        member is larger than expected.
        """
        shape, dtype = self.shape(name)
        items = int(np.prod([int(size) for size in shape], dtype=object)) if shape else 1
        expected = items * dtype.itemsize + HEADER_BYTES
        declared = self._zip.getinfo(self._member(name)).file_size
        if items > most_items or declared > expected:
            raise RecordingError(
                f"{self.path.name}: {name} swells to {max(declared, items * dtype.itemsize):,} "
                f"bytes from {self.path.stat().st_size:,} in the file; {most_items:,} values were "
                "expected. It was not unpacked: check how the archive was made."
            )
        with self._open(name) as stream:
            try:
                array = npy.read_array(stream, allow_pickle=False, max_header_size=HEADER_BYTES)
                return np.asarray(array)
            except (ValueError, *_DAMAGE) as error:
                raise self._damaged(name, error) from error

    def _member(self, name: str) -> str:
        return f"{name}.npy" if f"{name}.npy" in self._zip.namelist() else name

    def _open(self, name: str) -> IO[bytes]:
        try:
            return self._zip.open(self._member(name))
        except (KeyError, *_DAMAGE) as error:
            raise self._damaged(name, error) from error

    def _header(self, stream: IO[bytes], name: str) -> tuple[tuple[int, ...], np.dtype[Any]]:
        try:
            version = npy.read_magic(stream)
            reader = npy.read_array_header_1_0 if version == (1, 0) else npy.read_array_header_2_0
            shape, _, dtype = reader(stream, max_header_size=HEADER_BYTES)
        except (ValueError, *_DAMAGE) as error:
            raise self._damaged(name, error) from error
        if dtype.hasobject:
            raise RecordingError(
                f"{self.path.name}: {name} holds pickled objects, which would run code when "
                "loaded; save plain numbers (float or integer arrays)"
            )
        if dtype.fields is not None or dtype.kind not in "biuf":
            raise RecordingError(f"{self.path.name}: {name} is of type {dtype}; save plain numbers")
        return tuple(int(size) for size in shape), dtype

    def _damaged(self, name: str, error: Exception) -> FormatError:
        return FormatError(
            f"{self.path.name}: array {name!r} cannot be read ({error}); the file is damaged or "
            "was cut while copying. Copy it again."
        )


def read_npz(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of an npz archive.

    Its arrays: ``apparent_c`` or ``counts`` (+ ``scale_k``, ``offset_k``), ``time_s``,
    ``sensor_c`` and, where known, ``awake_s``.

    Raises
    ------
    RecordingError
        If arrays are missing, pickled, swollen or of another shape.
    FormatError
        If the archive is damaged.
    """
    with closing(NpzMembers(path)) as members:

        def read(name: str) -> NDArray[Any]:
            most = MAX_MOMENTS
            if name in ("apparent_c", "counts"):
                shape, _ = members.shape("time_s")
                most = shape[0] * card.rows * card.cols
            return members.read(name, most_items=most)

        return source_of_arrays(ArrayGroup(path.name, members.names(), members.shape, read), card)


def read_tiff(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of a TIFF stack, one page a frame.

    16-bit pages are counts: ``scale_k`` and ``offset_k`` stand as JSON in the first
    page's ImageDescription. Pages of floating point are apparent temperature in C.
    Beside ``NAME.tif`` stands ``NAME.times.csv`` with ``time_s``, ``sensor_c`` and, where
    known, ``awake_s``, one row a page.

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
            return source_of_arrays(_pages(file, path), card)
    except (tifffile.TiffFileError, OSError, ValueError, KeyError) as error:
        raise FormatError(f"{path.name}: not a TIFF stack, or damaged ({error})") from error


def _pages(file: Any, path: Path) -> ArrayGroup:
    pages = len(file.pages)
    first = file.pages[0]
    shapes = {tuple(page.shape) for page in file.pages}
    if len(shapes) > 1:
        raise RecordingError(f"{path.name}: pages of different shapes: {sorted(shapes)}")
    fields = _written_scale(first, path.name) | _moments_beside(path)
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


def _written_scale(page: Any, where: str) -> dict[str, NDArray[Any]]:
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


def _moments_beside(path: Path) -> dict[str, NDArray[Any]]:
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


_UNIT_WORDS = {
    "apparent_c": ("c", "degc", "°c", "deg_c", "celsius", "degree_celsius", "degrees_celsius"),
    "sensor_c": ("c", "degc", "°c", "deg_c", "celsius", "degree_celsius", "degrees_celsius"),
    "time_s": ("s", "sec", "second", "seconds"),
}


def read_hdf(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of an HDF5 or netCDF-4 file; needs the extra ``exchange``.

    Datasets of its root group as in ``frames.npz``. ``scale_k`` and ``offset_k`` may be
    attributes of ``counts``. CF packing (``scale_factor``, ``add_offset``, ``_FillValue``)
    is undone.

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
            return source_of_arrays(_datasets(h5py, file, path.name), card)
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


def _datasets(h5py: Any, file: Any, where: str) -> ArrayGroup:
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


_STATE = ("time_s", "sensor_c", "awake_s")
_PIXEL = re.compile(r"^r(\d+)c(\d+)$")


def read_csv(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of a CSV file, one row a frame.

    Its columns: ``time_s``, ``sensor_c``, where known ``awake_s``, then one column a
    pixel, row by row: ``r0c0``, ``r0c1``, ... [C]

    Raises
    ------
    RecordingError
        If a state column is missing, or the pixels are not rows x cols of the
        head in reading order.
    """
    table = read_table(path)
    places = {name: table.header.index(name) for name in _STATE if name in table.header}
    for name, why in (("time_s", "no time axis"), ("sensor_c", "no sensor temperature")):
        if name not in places:
            raise RecordingError(
                f"{path.name}: {why}: column {name} is missing; the header begins "
                f"{', '.join(table.header[:4])}. Give {', '.join(_STATE[:2])}, then the pixels."
            )
    pixels = tuple(at for at in range(len(table.header)) if at not in places.values())
    _check_pixels(table.header, pixels, card, path.name, len(table.rows))
    state, state_notes = numbers(table, tuple(places.values()))
    values, notes = numbers(table, pixels)
    series = dict(zip(places, state.T, strict=True))
    return FrameSource(
        where=path.name,
        apparent_c=values.reshape(-1, card.rows, card.cols).astype(np.float32),
        time_s=series["time_s"],
        sensor_c=series["sensor_c"],
        awake_s=series.get("awake_s"),
        from_counts=False,
        notes=table.notes + (notes or state_notes),
    )


def _check_pixels(
    header: tuple[str, ...], pixels: tuple[int, ...], card: SensorCard, where: str, moments: int
) -> None:
    rows, left = divmod(len(pixels), card.cols)
    if left:
        raise RecordingError(
            f"{where}: {len(pixels)} pixel columns; sensor {card.name!r} has {card.rows} x "
            f"{card.cols} = {card.rows * card.cols}"
        )
    check_shape((moments, rows, card.cols), moments=moments, card=card, where=where)
    for order, at in enumerate(pixels):
        named = _PIXEL.match(header[at])
        wanted = divmod(order, card.cols)
        if named and (int(named.group(1)), int(named.group(2))) != wanted:
            raise RecordingError(
                f"{where}: column {at + 1} is {header[at]!r} where r{wanted[0]}c{wanted[1]} is "
                "due; write the pixels row by row"
            )


READERS: dict[str, Callable[[Path, SensorCard], FrameSource]] = {
    ".npz": read_npz,
    ".csv": read_csv,
    ".tif": read_tiff,
    ".tiff": read_tiff,
    ".h5": read_hdf,
    ".hdf5": read_hdf,
    ".nc": read_hdf,
}
"""Reader of each suffix: file and the head's sensor in, frames not yet checked out."""
