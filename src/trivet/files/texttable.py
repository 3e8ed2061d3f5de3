"""Tables of text cells from CSV and xlsx files, and numbers out of the cells.

Loggers write semicolons, tabs, decimal commas, two header rows, empty tails and
words for "no reading".  All of that is read here, and what could be read in
two ways is refused with its line.
"""

from __future__ import annotations

import csv
import datetime as dt
import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import FormatError, InputError, ProbeLogError, RecordingError
from trivet.records.recording import Note

MAX_BYTES = 400_000_000  # own estimate: a day of ten channels at 50 Hz; more would fill the memory
MISSING_WORDS = frozenset(
    ("", "nan", "-", "--", "---", "null", "none", "#n/a", "na", "n/a", "open", "ol", "o.l.", "err",
     "error", "overload", "burnout")
)  # fmt: skip
_DECIMAL_COMMA = re.compile(r"^[+-]?\d+,(\d+)$")


@dataclass(frozen=True)
class TextTable:
    """Cells as text, with the place of each row for messages."""

    where: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    first_line: int
    """Line of the first data row, counted from 1."""
    notes: tuple[Note, ...] = ()

    def column(self, at: int) -> tuple[str, ...]:
        """Return one column's cells."""
        return tuple(row[at] for row in self.rows)

    def line(self, row: int) -> str:
        """Return file and line of a data row, for messages."""
        return f"{self.where}:{self.first_line + row}"


def read_table(path: Path, *, sheet: str | None = None) -> TextTable:
    """Return the cells of a CSV or xlsx file, one or two header rows joined.

    Parameters
    ----------
    path : Path
        The file; ``.xlsx`` is read as a workbook, anything else as CSV.
    sheet : str, optional
        Worksheet; the first when not given.

    Returns
    -------
    TextTable
        Cells as text, blank rows at the end dropped.

    Raises
    ------
    InputError
        If there is no such file.
    FormatError
        If it is neither text nor a workbook, too large, or damaged.
    RecordingError
        If a row has more cells than the header, as decimal commas make.

    Notes
    -----
    A second header row is recognised where the second row holds words but no
    number; its words are joined to those over them ("50 W" + "a" -> "50 W a").
    """
    if not path.is_file():
        raise InputError(f"{path}: there is no such file")
    if path.stat().st_size > MAX_BYTES:
        raise FormatError(f"{path}: over {MAX_BYTES // 10**6} MB; split the recording")
    if path.suffix.casefold() == ".xlsx":
        rows, notes = _workbook_rows(path, sheet)
        skipped = 0
    else:
        (rows, skipped), notes = _csv_rows(path), ()
    while rows and not any(rows[-1]):
        rows.pop()
    if len(rows) < 2:
        raise FormatError(f"{path.name}: a header and at least one row of readings are needed")
    header, data = _header(rows)
    first = skipped + len(rows) - len(data) + 1
    return TextTable(path.name, header, _even(data, len(header), path.name, first), first, notes)


def numbers(table: TextTable, columns: tuple[int, ...]) -> tuple[FloatArray, tuple[Note, ...]]:
    """Return columns of a table as numbers; words for "no reading" become NaN.

    Parameters
    ----------
    table : TextTable
        From :func:`read_table`.
    columns : tuple of int
        Which columns.

    Returns
    -------
    (row, column), notes
        Numbers [as written]; notes of decimal commas.

    Raises
    ------
    ProbeLogError
        If a cell is neither a number nor a word for a missing one, or commas
        could be decimal or thousands separators.
    """
    picked = [[row[at] for at in columns] for row in table.rows]
    try:
        return np.array(picked, dtype=np.float64).reshape(len(picked), len(columns)), ()
    except ValueError:
        pass
    commas = _decimal_commas(table, picked)
    values = np.empty((len(picked), len(columns)))
    for at, row in enumerate(picked):
        for place, text in enumerate(row):
            values[at, place] = _number(text, commas, table, (at, columns[place]))
    if not commas:
        return values, ()
    note = Note(
        "decimal commas, read as decimal points", table.where, "write decimal points in future logs"
    )
    return values, (note,)


def _number(text: str, commas: bool, table: TextTable, at: tuple[int, int]) -> float:
    plain = text.replace(",", ".") if commas and _DECIMAL_COMMA.match(text) else text
    if plain.casefold() in MISSING_WORDS:
        return float("nan")
    try:
        if "_" in plain:
            raise ValueError
        return float(plain)
    except ValueError:
        raise ProbeLogError(
            f"{table.line(at[0])}: column {table.header[at[1]]!r}: {text!r} is not a number; "
            "allowed: a number with a decimal point, or an empty cell for no reading"
        ) from None


def _decimal_commas(table: TextTable, picked: list[list[str]]) -> bool:
    """Return whether commas are decimal; refuse where they may be thousands separators."""
    found = [
        (at, text, match.group(1))
        for at, row in enumerate(picked)
        for text in row
        if (match := _DECIMAL_COMMA.match(text))
    ]
    if not found:
        return False
    if all(len(decimals) == 3 for _, _, decimals in found):
        at, text, _ = found[0]
        raise ProbeLogError(
            f"{table.line(at)}: {text!r} may be a decimal comma or a thousands separator; write "
            "numbers with a decimal point"
        )
    return True


def _csv_rows(path: Path) -> tuple[list[list[str]], int]:
    """Return the rows of a text file and how many lines stand before the header."""
    raw = path.read_bytes()
    try:
        text = raw.decode("utf-16" if raw[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(
            f"{path.name}: not text in UTF-8 (byte {error.start}); save it as UTF-8"
        ) from error
    if "\0" in text:
        raise FormatError(f"{path.name}: holds binary zeros; it is not a table of text")
    lines = text.splitlines()
    blank = [not line.strip(" ;,\t") or line.startswith("#") for line in lines]
    skipped = blank.index(False) if False in blank else len(lines)
    lines = lines[skipped:]
    head = lines[0] if lines else ""
    delimiter = max(";\t,", key=head.count) if head else ","
    try:
        reader = csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter)
        rows = [[cell.strip() for cell in row] for row in reader]
    except csv.Error as error:
        raise FormatError(f"{path.name}: not a readable table: {error}") from error
    return rows, skipped


def _workbook_rows(path: Path, sheet: str | None) -> tuple[list[list[str]], tuple[Note, ...]]:
    import openpyxl

    try:
        with zipfile.ZipFile(path) as archive:
            size = sum(item.file_size for item in archive.infolist())
    except (zipfile.BadZipFile, OSError) as error:
        raise FormatError(f"{path.name}: not a workbook, or damaged ({error})") from error
    if size > MAX_BYTES:
        raise RecordingError(
            f"{path.name}: swells to {size:,} bytes from {path.stat().st_size:,} in the file; "
            "it was not unpacked. Save the readings as CSV."
        )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the library comments on styles that do not matter
        try:
            book = openpyxl.load_workbook(path, read_only=True, data_only=True)
        except Exception as error:  # assorted errors of a damaged archive
            raise FormatError(f"{path.name}: not a workbook, or damaged ({error})") from error
        names = list(book.sheetnames)
        if sheet is not None and sheet not in names:
            raise FormatError(f"{path.name}: no sheet {sheet!r}; there are {', '.join(names)}")
        chosen = sheet or names[0]
        rows = [[_cell(cell) for cell in row] for row in book[chosen].iter_rows(values_only=True)]
        book.close()
    width = max((at + 1 for row in rows for at, cell in enumerate(row) if cell), default=0)
    notes: tuple[Note, ...] = ()
    if len(names) > 1 and sheet is None:
        found = f"sheets that are not read: {', '.join(names[1:])}"
        notes = (Note(found, f"{path.name}, {chosen}", "one log a file"),)
    return [row[:width] for row in rows], notes


def _cell(value: object) -> str:
    match value:
        case None:
            return ""
        case dt.datetime():
            return value.strftime("%Y-%m-%d %H:%M:%S.%f")
        case dt.time():
            return value.strftime("%H:%M:%S.%f")
        case float():
            return repr(value)
    return str(value).strip()


def _header(rows: list[list[str]]) -> tuple[tuple[str, ...], list[list[str]]]:
    first, second = rows[0], rows[1]
    words = [cell for cell in second if cell and not _is_number(cell)]
    numbers_in_second = any(_is_number(cell) for cell in second)
    clock = any(re.search(r"\d:\d\d", cell) for cell in second)
    missing_only = all(cell.casefold() in MISSING_WORDS for cell in second)
    if not words or numbers_in_second or clock or missing_only or len(rows) < 3:
        return tuple(first), rows[1:]
    width = max(len(first), len(second))
    above = first + [""] * (width - len(first))
    below = second + [""] * (width - len(second))
    joined, group = [], ""
    for over, under in zip(above, below, strict=True):
        group = over or group
        timed = "time" in under.casefold()
        joined.append(under if timed or not group else f"{group} {under}".strip())
    return tuple(joined), rows[2:]


def _is_number(text: str) -> bool:
    try:
        float(text.replace(",", "."))
    except ValueError:
        return False
    return text.casefold() not in MISSING_WORDS


def _even(
    data: list[list[str]], width: int, where: str, first_line: int
) -> tuple[tuple[str, ...], ...]:
    """Return rows of equal length; a row longer than the header is refused."""
    even = []
    for at, row in enumerate(data):
        filled = row if len(row) <= width else row[:width]
        if any(row[width:]):
            raise RecordingError(
                f"{where}:{first_line + at}: {len(row)} cells under {width} headings. Decimal "
                "commas split numbers in a comma-separated table; write decimal points, or "
                "separate cells by semicolons."
            )
        even.append(tuple(filled) + ("",) * (width - len(filled)))
    return tuple(even)
