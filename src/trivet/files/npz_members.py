"""The arrays of an npz archive, looked at before they are unpacked.

An npz is a zip.  A zip of a few kilobytes can swell to gigabytes, and an array
of objects runs code when it is loaded.  So the directory and each array's
header are read first, and nothing is unpacked whose declared size does not
follow from the sensor head and the number of moments.
"""

from __future__ import annotations

import zipfile
import zlib
from pathlib import Path
from types import TracebackType
from typing import IO, Any, Self

import numpy as np
from numpy.lib import format as npy
from numpy.typing import NDArray

from trivet.errors import FormatError, InputError, RecordingError

HEADER_BYTES = 10_000
MAX_MOMENTS = 5_000_000
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

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
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

        Raises
        ------
        RecordingError
            If it is an array of objects, or it or its archive member is larger
            than expected.
        FormatError
            If it is no array, or damaged.
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
                return np.asarray(
                    npy.read_array(stream, allow_pickle=False, max_header_size=HEADER_BYTES)
                )
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
