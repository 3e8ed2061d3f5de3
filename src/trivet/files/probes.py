"""Reads the log of the reference probes, CSV or xlsx: time and one column a probe, in C."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import ProbeLogError
from trivet.files.clocks import clock_seconds, looks_like_clock
from trivet.files.texttable import TextTable, numbers, read_table
from trivet.physics.sensor.probelog import stuck_moments
from trivet.records.recording import Note

OPEN_CIRCUIT_C = 700.0  # own estimate: no pan is hotter; loggers show an open circuit as full scale
COLDEST_C = -60.0
"""Own estimate: under any freezer; loggers show a broken wire as negative full scale."""

_UNIT = re.compile(
    r"[\(\[]\s*(?:deg(?:rees?)?\s*|°\s*)?([CFK]|celsius|fahrenheit|kelvin)\s*[\)\]]"
    r"|_deg_?([cfk])$|_(celsius|fahrenheit|kelvin)$",
    re.IGNORECASE,
)
_TIME = re.compile(
    r"^(time|elapsed|timestamp|clock|date|datetime)\b|^t\s*([\(\[ ]\s*s\s*[\)\]]?)?$", re.IGNORECASE
)
_TIME_UNIT = re.compile(
    r"[\(\[_ ]\s*(ms|msec|min|minutes?|h|hours?|s|sec|seconds?)\s*[\)\]]?$", re.IGNORECASE
)


@dataclass(frozen=True)
class ProbeLog:
    """A log as read: its own clock, C, NaN in gaps and open circuits."""

    where: str
    time_s: FloatArray
    """(time,) on the logger's clock. [s]"""
    columns: tuple[str, ...]
    readings_c: FloatArray
    """(time, probe) [C]"""
    notes: tuple[Note, ...] = ()

    def column(self, name: str) -> int | None:
        """Return the index of a column by its heading, with or without its unit."""
        plain = [_bare(heading) for heading in self.columns]
        for names in (self.columns, tuple(plain)):
            if name in names:
                return names.index(name)
        return plain.index(_bare(name)) if _bare(name) in plain else None


def read_probe_log(
    path: Path,
    *,
    sheet: str | None = None,
    may_be_cold: tuple[str, ...] = (),
    must_move: tuple[str, ...] = (),
) -> ProbeLog:
    """Return the log of the reference probes.

    Parameters
    ----------
    path : Path
        CSV (comma, semicolon or tab) or xlsx, one or two header rows: a column
        ``time_s`` (or a clock time of 24 hours, or of 12 with AM and PM) and a
        column a probe, in C.
    sheet : str, optional
        Worksheet of a workbook; the first when not given.
    may_be_cold : tuple of str
        Columns that may fall under the kitchen's temperature, as those in food do.
    must_move : tuple of str
        Columns that cannot show one figure for long while others move: heated ones.

    Returns
    -------
    ProbeLog
        Readings with open circuits and stuck stretches blanked, a blank in each
        gap, and notes of all three.

    Raises
    ------
    ProbeLogError
        If there is no time column, time does not increase, a 12-hour clock
        lacks AM and PM, a cell is no number, columns are doubled, a column
        declares kelvin or Fahrenheit or reads so, a probe's polarity is
        swapped, or a probe never reads.
    FormatError
        If the file is damaged or no table.

    Notes
    -----
    Nothing is interpolated. A gap is a step of over three usual ones; a blank
    reading stands in it, so that no line can be drawn across.
    """
    table = read_table(path, sheet=sheet)
    at, headings, notes = _time_column(table)
    time, clock_notes = _times(table, at)
    probes = tuple(i for i, name in enumerate(table.header) if i != at and _filled(table, i))
    names = tuple(headings[i] for i in probes)
    _refuse_headings(table, names)
    readings, comma_notes = numbers(table, probes)
    notes += (*table.notes, *clock_notes, *comma_notes, *_tail_notes(table, names, readings))
    _refuse_turning_time(table, time)
    readings, open_notes = _open_circuits(table.where, time, names, readings)
    _refuse_wrong_unit(table.where, names, readings)
    _refuse_swapped_polarity(table.where, names, readings, may_be_cold)
    readings, stuck_notes = _stuck(table.where, time, names, readings, must_move)
    time, readings, gap_notes = _with_gaps(table.where, time, readings)
    notes += (*open_notes, *stuck_notes, *gap_notes)
    return ProbeLog(table.where, time, names, readings, notes)


def _bare(heading: str) -> str:
    return _UNIT.sub("", heading).strip(" .").casefold()


def _time_column(table: TextTable) -> tuple[int, tuple[str, ...], tuple[Note, ...]]:
    named = [at for at, name in enumerate(table.header) if _TIME.match(name.replace("_", " "))]
    if len(named) > 1:
        doubled = ", ".join(repr(table.header[at]) for at in named)
        raise ProbeLogError(f"{table.where}: several time columns: {doubled}; keep one, time_s")
    if named:
        unit = _TIME_UNIT.search(table.header[named[0]])
        word = unit.group(1).casefold() if unit else "s"
        if not word.startswith("s"):
            raise ProbeLogError(
                f"{table.where}: column {table.header[named[0]]!r} counts {word}; allowed: seconds "
                "(time_s)"
            )
        return named[0], table.header, ()
    if table.header and table.header[0] == "" and _filled(table, 0):
        note = Note(
            "the first column has no heading; read as time in seconds",
            table.where,
            "head it time_s",
        )
        return 0, table.header, (note,)
    raise ProbeLogError(
        f"{table.where}: no time axis: no column time_s among {', '.join(table.header[:6])}. Give "
        "the moment of each row in seconds."
    )


def _times(table: TextTable, at: int) -> tuple[FloatArray, tuple[Note, ...]]:
    cells = table.column(at)
    if any(looks_like_clock(cell) for cell in cells):
        return clock_seconds(cells, where=table.where, first_line=table.first_line)
    values, notes = numbers(table, (at,))
    return values[:, 0], notes


def _filled(table: TextTable, at: int) -> bool:
    """Return whether a column has a heading or a reading; wholly blank ones are no column."""
    return bool(table.header[at]) or any(cell for cell in table.column(at))


def _refuse_headings(table: TextTable, names: tuple[str, ...]) -> None:
    if not names:
        raise ProbeLogError(f"{table.where}: no probe column beside the time")
    doubled = sorted({name for name in names if names.count(name) > 1})
    if doubled or "" in names:
        raise ProbeLogError(
            f"{table.where}: columns without a heading of their own: "
            f"{', '.join(doubled) or 'blank'}"
        )
    for name in names:
        unit = _UNIT.search(name)
        word = next((part for part in unit.groups() if part), "C") if unit else "C"
        if word[0].upper() == "F" or word.casefold() == "kelvin":  # (K) may be the wire's type
            raise ProbeLogError(
                f"{table.where}: column {name!r} declares {word}; allowed: C. Convert the log."
            )


def _refuse_turning_time(table: TextTable, time: FloatArray) -> None:
    missing = np.flatnonzero(~np.isfinite(time))
    if missing.size:
        raise ProbeLogError(f"{table.line(int(missing[0]))}: no time ({missing.size} such rows)")
    wrong = np.flatnonzero(np.diff(time) <= 0.0)
    if wrong.size:
        at = int(wrong[0]) + 1
        raise ProbeLogError(
            f"{table.line(at)}: time does not rise: {time[at]:g} s after {time[at - 1]:g} s "
            f"({wrong.size} such). The clock was set or rows are doubled; split the log there."
        )


def _tail_notes(table: TextTable, names: tuple[str, ...], readings: FloatArray) -> tuple[Note, ...]:
    last = [int(np.flatnonzero(np.isfinite(column))[-1]) + 1 if np.any(np.isfinite(column)) else 0
            for column in readings.T]  # fmt: skip
    if not last or min(last) == max(last):
        return ()
    short = [f"{name} ends after {count}" for name, count in zip(names, last, strict=True)
             if count < max(last)]  # fmt: skip
    return (
        Note(
            f"columns of different lengths: {', '.join(short)} of {max(last)} rows",
            table.where,
            "they carry no reading after that",
        ),
    )


def _open_circuits(
    where: str, time: FloatArray, names: tuple[str, ...], readings: FloatArray
) -> tuple[FloatArray, tuple[Note, ...]]:
    with np.errstate(invalid="ignore"):
        wild = np.isinf(readings) | (readings > OPEN_CIRCUIT_C) | (readings < COLDEST_C)
    notes = []
    for at, name in enumerate(names):
        live = np.isfinite(readings[:, at]) & ~wild[:, at]
        if not np.any(live):
            seen = readings[np.flatnonzero(wild[:, at])[:1], at]
            what = f" but {seen[0]:g} C, an open circuit" if seen.size else ""
            raise ProbeLogError(
                f"{where}: column {name!r} has no reading{what}; mend the probe, or take the "
                "column out of the log and of cook.toml"
            )
        if np.any(wild[:, at]):
            first = int(np.flatnonzero(wild[:, at])[0])
            notes.append(
                Note(
                    f"open circuit: {np.count_nonzero(wild[:, at])} readings of {name!r} beyond "
                    f"{COLDEST_C:.0f} to {OPEN_CIRCUIT_C:.0f} C, first {readings[first, at]:g}",
                    f"{where}, {time[first]:.1f} s",
                    "they are blank; check the junction and its wires",
                )
            )
    return np.where(wild, np.nan, readings), tuple(notes)


def _stuck(
    where: str,
    time: FloatArray,
    names: tuple[str, ...],
    readings: FloatArray,
    must_move: tuple[str, ...],
) -> tuple[FloatArray, tuple[Note, ...]]:
    """Blank a channel while it repeats one reading and the others move."""
    stuck = stuck_moments(readings, time_s=time)
    judged = {_bare(name) for name in must_move}
    stuck[:, [_bare(name) not in judged for name in names]] = False
    notes = []
    for at, name in enumerate(names):
        if not np.any(stuck[:, at]):
            continue
        first = int(np.flatnonzero(stuck[:, at])[0])
        if np.all(stuck[:, at] | ~np.isfinite(readings[:, at])):
            raise ProbeLogError(
                f"{where}: column {name!r} reads {readings[first, at]:g} C throughout while the "
                "others move: stuck. Look at the logger's channel, or take the column out of the "
                "log and of cook.toml"
            )
        notes.append(
            Note(
                f"stuck: {np.count_nonzero(stuck[:, at])} readings of {name!r} repeat one figure "
                f"while the others move, first {readings[first, at]:g} C",
                f"{where}, {time[first]:.1f} s",
                "they are blank; look at the logger's channel",
            )
        )
    return np.where(stuck, np.nan, readings), tuple(notes)


def _refuse_wrong_unit(where: str, names: tuple[str, ...], readings: FloatArray) -> None:
    lowest = np.nanmin(readings, axis=0)
    for at in np.flatnonzero(lowest > 250.0):
        first = float(readings[np.isfinite(readings[:, at]), at][0])
        if 270.0 < first < 330.0:
            raise ProbeLogError(
                f"{where}: column {names[at]!r} begins at {first:.1f} and never falls below "
                f"{lowest[at]:.1f}: kelvin, not C ({first - ZERO_C_K:.1f} C would fit). Convert "
                "the log."
            )


def _refuse_swapped_polarity(
    where: str, names: tuple[str, ...], readings: FloatArray, may_be_cold: tuple[str, ...]
) -> None:
    cold = {_bare(name) for name in may_be_cold}
    for at, name in enumerate(names):
        if _bare(name) in cold:
            continue
        column = readings[:, at]
        start = float(column[np.isfinite(column)][0])
        lowest = float(np.nanmin(column))
        against = _moves_against(readings, at)
        frozen = lowest < -5.0 or (lowest < 3.0 and start - lowest > 15.0)
        if frozen or (against and lowest < start - 8.0 and lowest < 15.0):
            raise ProbeLogError(
                f"{where}: column {name!r} falls from {start:.1f} to {lowest:.1f} C"
                f"{' while the others rise' if against else ''}: polarity swapped, the wires of "
                "the thermocouple are exchanged. Exchange them and record again, or take the "
                "column out of the log and of cook.toml."
            )


def _moves_against(readings: FloatArray, at: int) -> bool:
    others = np.delete(readings, at, axis=1)
    if others.shape[1] == 0:
        return False
    full = np.isfinite(readings[:, at]) & np.all(np.isfinite(others), axis=1)
    if np.count_nonzero(full) < 5:
        return False
    middle = np.median(others[full], axis=1)
    column = readings[full, at]
    if np.ptp(middle) < 10.0 or np.ptp(column) == 0.0:
        return False
    return bool(np.corrcoef(column, middle)[0, 1] < -0.8)


def _with_gaps(
    where: str, time: FloatArray, readings: FloatArray
) -> tuple[FloatArray, FloatArray, tuple[Note, ...]]:
    """Put a blank reading into each gap, and say where the gaps are."""
    steps = np.diff(time)
    usual = float(np.median(steps)) if steps.size else 0.0
    gaps = np.flatnonzero(steps > 3.0 * usual)
    if not gaps.size:
        return time, readings, ()
    middle = 0.5 * (time[gaps] + time[gaps + 1])
    longest = int(gaps[np.argmax(steps[gaps])])
    note = Note(
        f"{gaps.size} gaps in the log, the longest {steps[longest]:.1f} s where rows are "
        f"{usual:g} s apart",
        f"{where}, {time[longest]:.1f} to {time[longest + 1]:.1f} s",
        "no reference is taken from there",
    )
    filled = np.insert(readings, gaps + 1, np.nan, axis=0)
    return np.insert(time, gaps + 1, middle), filled, (note,)
