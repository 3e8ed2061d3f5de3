"""Clock times in a log's time column, as seconds since midnight."""

from __future__ import annotations

import re

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import DAY_S
from trivet.errors import ProbeLogError
from trivet.records.recording import Note

_CLOCK = re.compile(
    r"^(?:(?P<date>\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})[ T])?\s*"
    r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}(?:[.,]\d+)?))?\s*(?P<half>[AaPp]\.?[Mm]\.?)?Z?$"
)
HALF_DAY_S = DAY_S / 2


def looks_like_clock(text: str) -> bool:
    """Return whether a cell is a time of day, such as ``12:01:05`` or ``1:05 PM``."""
    return _CLOCK.match(text) is not None


def clock_seconds(
    cells: tuple[str, ...], *, where: str, first_line: int
) -> tuple[FloatArray, tuple[Note, ...]]:
    """Return seconds since the first row's midnight of a column of clock times.

    Parameters
    ----------
    cells : (row,)
        Clock times; a date before them is used only to tell midnight.
    where : str
        File, for messages.
    first_line : int
        Line of the first row.

    Returns
    -------
    (row,), notes
        Seconds since midnight before the first row, past midnight going on.

    Raises
    ------
    ProbeLogError
        If a cell is no clock time, AM and PM stand at some rows only, or a
        12-hour clock without them starts again at 1.

    Notes
    -----
    A fall of about 24 h is midnight. A fall of about 12 h is a 12-hour clock:
    with AM and PM it is read as such, without them it is refused, since the
    hour cannot be known.
    """
    matches = [_CLOCK.match(cell) for cell in cells]
    for at, match in enumerate(matches):
        if match is None:
            raise ProbeLogError(
                f"{where}:{first_line + at}: {cells[at]!r} is not a clock time like the others"
            )
    found = [match for match in matches if match is not None]
    halves = [match["half"] for match in found]
    if any(halves) and not all(halves):
        at = halves.index(None)
        raise ProbeLogError(
            f"{where}:{first_line + at}: {cells[at]!r} lacks the AM or PM that other rows have"
        )
    seconds = np.array([_seconds(match) for match in found])
    return _unwrapped(seconds, cells, where, first_line, twelve=bool(halves and halves[0]))


def _seconds(match: re.Match[str]) -> float:
    hours = int(match["h"])
    if match["half"]:
        hours = hours % 12 + (12 if match["half"][0] in "Pp" else 0)
    return 3600.0 * hours + 60.0 * int(match["m"]) + float((match["s"] or "0").replace(",", "."))


def _unwrapped(
    seconds: FloatArray,
    cells: tuple[str, ...],
    where: str,
    first_line: int,
    *,
    twelve: bool,
) -> tuple[FloatArray, tuple[Note, ...]]:
    falls = np.flatnonzero(np.diff(seconds) < 0.0)
    for fall in falls:
        size = seconds[fall] - seconds[fall + 1]
        if not twelve and 0.9 * HALF_DAY_S < size < 1.02 * HALF_DAY_S:
            raise ProbeLogError(
                f"{where}:{first_line + int(fall) + 1}: {cells[fall + 1]!r} follows "
                f"{cells[fall]!r}: a 12-hour clock without AM or PM. Set the logger to 24 hours, "
                "or give time_s in seconds."
            )
    midnight = np.zeros(seconds.size)
    over = falls[(seconds[falls] - seconds[falls + 1]) > 0.9 * DAY_S]
    for fall in over:
        midnight[fall + 1 :] += DAY_S
    kind = "12-hour clock with AM and PM" if twelve else "24-hour clock"
    notes = [
        Note(
            f"time column is a {kind}, read as seconds since midnight"
            + (f"; midnight passed {over.size} times" if over.size else ""),
            where,
            "state clock_offset in cook.toml against the frames' clock; time_s is safer",
        )
    ]
    return seconds + midnight, tuple(notes)
