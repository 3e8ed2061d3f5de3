"""The one reader of cited tables.

Every table is a CSV whose rows carry a ``source``, a ``locator`` (where in the source) and a
``grade``; a row without source or grade does not load. Grades:

solid    primary text seen, or independent recomputation agrees
fair     secondary source, or a model stand-in
shaky    from memory, or sources conflict: a range, never a point
assumed  no source found; common practice or our own judgement
"""

from __future__ import annotations

import csv
import difflib
from collections.abc import Callable, Iterable, Mapping
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import Generic, TypeVar

from trivet.errors import FormatError, InputError

GRADES = ("solid", "fair", "shaky", "assumed")
"""Grades of evidence, best first."""

Row = Mapping[str, str]
Thing = TypeVar("Thing")


@lru_cache(maxsize=32)
def read_table(file: str) -> tuple[Row, ...]:
    """Return the rows of a table of this package.

    file : name of the CSV beside this module
    Returns : one mapping a row, column to text; lines that start with # are
        notes
    Raises : FormatError if a row lacks its source or grade, or its value lies outside its range
    """
    text = files("trivet.facts").joinpath(file).read_text("utf-8")
    return parse_table(text, file)


def parse_table(text: str, file: str) -> tuple[Row, ...]:
    """Return the checked rows of a table's text.

    text : CSV with a header line; lines that start with # are notes
    file : name to show in errors
    Returns : one mapping a row
    Raises : FormatError if a row lacks its source or grade, or its value lies outside its range
    """
    numbered = [
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.startswith("#")
    ]
    reader = csv.DictReader(line for _, line in numbered)
    rows: list[Row] = []
    for (number, _), row in zip(numbered[1:], reader, strict=True):
        _check(row, f"{file}:{number}")
        rows.append(row)
    return tuple(rows)


def _check(row: dict[str, str], place: str) -> None:
    if None in row or None in row.values():
        raise FormatError(f"{place}: the row and the header differ in their number of cells")
    for column in ("source", "grade"):
        if not (row.get(column) or "").strip():
            raise FormatError(f"{place}: {column} is empty; no number without a source and grade")
    if row["grade"] not in GRADES:
        raise FormatError(f"{place}: grade {row['grade']!r}; allowed: {', '.join(GRADES)}")
    if "low" in row and not number(row, "low") <= number(row, "value") <= number(row, "high"):
        raise FormatError(f"{place}: value must lie from low to high")


def number(row: Row, column: str) -> float:
    """Return a cell of a row as a number; FormatError if it is none."""
    try:
        return float(row[column])
    except ValueError as fault:
        raise FormatError(f"{column}: {row[column]!r} is not a number") from fault


def worst_grade(grades: Iterable[str]) -> str:
    """Return the weakest of several grades, the one that comes last in GRADES."""
    return max(grades, key=GRADES.index)


def known_name(name: str, *, names: Iterable[str], what: str) -> str:
    """Return the table's spelling of a name; spaces, underscores and case do not matter.

    name : as written by a person
    names : iterable of str: names in the table
    what : kind of thing, for the message
    Returns : the name in the table
    Raises : InputError if there is none; the message offers the nearest
    """
    wanted = name.strip().lower().replace("_", "-").replace(" ", "-")
    known = sorted(names)
    if wanted in known:
        return wanted
    words = [entry for entry in known if wanted and wanted in entry]
    near = (difflib.get_close_matches(wanted, known, n=4, cutoff=0.5) + words)[:5]
    offer = ", ".join(dict.fromkeys(near)) or ", ".join(known)
    raise InputError(f"unknown {what} {name!r}; nearest: {offer}")


class Library(Generic[Thing]):
    """The things of a cited table by name: made once, asked for in any spelling.

    file : name of the CSV
    what : kind of thing, for messages
    make : thing from its name and its rows
    column : holds the name
    """

    def __init__(
        self,
        file: str,
        *,
        what: str,
        make: Callable[[str, list[Row]], Thing],
        column: str = "name",
    ) -> None:
        self.file, self.what, self.make, self.column = file, what, make, column

    @cached_property
    def all(self) -> dict[str, Thing]:
        """Every thing by name, in the order of the table."""
        rows: dict[str, list[Row]] = {}
        for row in read_table(self.file):
            rows.setdefault(row[self.column], []).append(row)
        return {name: self.make(name, own) for name, own in rows.items()}

    def __call__(self, name: str) -> Thing:
        """Return the thing of a name; an unknown name is an InputError that offers the nearest."""
        return self.all[known_name(name, names=self.all, what=self.what)]
