"""Reads ``events.csv``: what was done at which moment."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from trivet.errors import RecordingError, nearest
from trivet.files.texttable import numbers, read_table
from trivet.records.recording import EVENTS, Event, Note

COLUMNS = ("time_s", "burner", "event", "value", "note")
WITHOUT_BURNER = frozenset(("person_in", "person_out", "shutter"))


def read_events(
    path: Path, *, burners: tuple[str, ...]
) -> tuple[tuple[Event, ...], tuple[Note, ...]]:
    """Return the events of a cook, in order of time.

    Parameters
    ----------
    path : Path
        Table with ``time_s, burner, event, value, note``; the last two may be
        left out.
    burners : tuple of str
        Names that the design knows.

    Returns
    -------
    events, notes
        Events sorted by time; a note where the file was not.

    Raises
    ------
    RecordingError
        If a column is missing, a moment is no number, an event or burner is
        unknown (with the nearest name), or a level is not from 0 to 1.
    """
    table = read_table(path)
    missing = [name for name in COLUMNS[:3] if name not in table.header]
    if missing:
        raise RecordingError(
            f"{path.name}: columns missing: {', '.join(missing)}; the header is {','.join(COLUMNS)}"
        )
    at = {name: table.header.index(name) for name in COLUMNS if name in table.header}
    times, _ = numbers(table, (at["time_s"],))
    events = []
    for row, cells in enumerate(table.rows):
        picked = {name: cells[place] for name, place in at.items()}
        moment = float(times[row, 0])
        _check(picked, moment, table.line(row), burners)
        events.append(
            Event(
                time_s=moment,
                burner=picked["burner"],
                event=picked["event"],
                value=picked.get("value", ""),
                note=picked.get("note", ""),
            )
        )
    notes = table.notes
    if np.any(np.diff(times[:, 0]) < 0.0):
        first = int(np.flatnonzero(np.diff(times[:, 0]) < 0.0)[0]) + 1
        notes += (Note("events are not in order of time; sorted", table.line(first), "check it"),)
    return tuple(sorted(events, key=lambda event: event.time_s)), notes


def _check(cells: dict[str, str], moment: float, place: str, burners: tuple[str, ...]) -> None:
    if not np.isfinite(moment):
        raise RecordingError(f"{place}: an event without time_s")
    event, burner = cells["event"], cells["burner"]
    if event not in EVENTS:
        raise RecordingError(f"{place}: event {event!r} is unknown; {nearest(event, EVENTS)}")
    if burner == "" and event in WITHOUT_BURNER:
        return
    if burner not in burners:
        raise RecordingError(
            f"{place}: burner {burner!r} is not in the design; {nearest(burner, burners)}"
        )
    if event == "level":
        _check_level(cells.get("value", ""), place)


def _check_level(text: str, place: str) -> None:
    try:
        level = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        level = float("nan")
    if not 0.0 <= level <= 1.0:
        raise RecordingError(
            f"{place}: level {text!r}; allowed: the share of full power, 0 to 1 (or 0 % to 100 %)"
        )
