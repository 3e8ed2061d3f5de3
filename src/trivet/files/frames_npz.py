"""Reads frames from ``frames.npz``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from numpy.typing import NDArray

from trivet.files.framesource import ArrayGroup, FrameSource, source_of_arrays
from trivet.files.npz_members import MAX_MOMENTS, NpzMembers
from trivet.records.sensorcard import SensorCard


def read_npz(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of an npz archive.

    Parameters
    ----------
    path : Path
        The archive, with ``apparent_c`` or ``counts`` (+ ``scale_k``,
        ``offset_k``), ``time_s``, ``sensor_c`` and, where known, ``awake_s``.
    card : SensorCard
        The head's sensor.

    Returns
    -------
    FrameSource
        Not yet checked for what it says; see ``frames.py``.

    Raises
    ------
    RecordingError
        If arrays are missing, pickled, swollen or of another shape.
    FormatError
        If the archive is damaged.
    """
    with NpzMembers(path) as members:

        def read(name: str) -> NDArray[Any]:
            most = MAX_MOMENTS
            if name in ("apparent_c", "counts"):
                shape, _ = members.shape("time_s")
                most = shape[0] * card.rows * card.cols
            return members.read(name, most_items=most)

        return source_of_arrays(ArrayGroup(path.name, members.names(), members.shape, read), card)
