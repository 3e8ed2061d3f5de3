"""Reads frames from ``frames.csv``: one row a frame."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np

from trivet.errors import RecordingError
from trivet.files.framesource import FrameSource, check_shape
from trivet.files.texttable import numbers, read_table
from trivet.records.sensorcard import SensorCard

_STATE = ("time_s", "sensor_c", "awake_s")
_PIXEL = re.compile(r"^r(\d+)c(\d+)$")


def read_csv(path: Path, card: SensorCard) -> FrameSource:
    """Return the frames of a CSV file.

    Parameters
    ----------
    path : Path
        Columns ``time_s``, ``sensor_c``, where known ``awake_s``, then one
        column a pixel, row by row: ``r0c0``, ``r0c1``, ... [C]
    card : SensorCard
        The head's sensor.

    Returns
    -------
    FrameSource
        Not yet checked for what it says; see ``frames.py``.

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
