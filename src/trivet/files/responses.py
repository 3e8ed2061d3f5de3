"""Spectral response curves beside a design file, read into its sensor cards."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from trivet.errors import Fault
from trivet.files.tomlfile import TomlFile

COLUMNS = ("wavelength_um", "response")
ALLOWED = f"a CSV file beside the design with the columns {', '.join(COLUMNS)}"


def with_responses(toml: TomlFile) -> tuple[TomlFile, tuple[Fault, ...]]:
    """Return a design file with the curves that its cards name put in their place.

    Parameters
    ----------
    toml : TomlFile
        The design as read.

    Returns
    -------
    tuple
        The file with pairs of metres and response, and a fault for each curve that
        cannot be read; such a card keeps its flat band meanwhile.
    """
    cards, faults = list(toml.content.get("sensors", []) or []), []
    for at, entry in toml.entries("sensors"):
        name = entry.get("response")
        if not isinstance(name, str):
            continue
        try:
            pairs = read_response(Path(toml.name).parent / name)
        except (OSError, ValueError) as error:
            faults.append(toml.fault(("sensors", at, "response"), f"{name!r}: {error}", ALLOWED))
            pairs = []
        cards[at] = {**entry, "response": pairs}
    content = {**toml.content, "sensors": cards} if cards else toml.content
    return replace(toml, content=content), tuple(faults)


def read_response(path: Path) -> list[list[float]]:
    """Return the rows of a response curve: wavelength [m] and response [-].

    Parameters
    ----------
    path : Path
        CSV file; lines that start with # are notes.

    Raises
    ------
    ValueError
        If a column is missing or a cell is no number; the line is named.
    OSError
        If the file cannot be read.

    Notes
    -----
    Linear between the rows and zero outside: give the whole band with its feet.
    """
    text = path.read_text(encoding="utf-8-sig")
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    rows = list(csv.reader(line for _, line in lines))
    if not rows or any(column not in rows[0] for column in COLUMNS):
        raise ValueError(f"columns {', '.join(rows[0]) if rows else 'none'}")
    places = [rows[0].index(column) for column in COLUMNS]
    pairs = []
    for (number, _), row in zip(lines[1:], rows[1:], strict=True):
        try:
            wavelength, response = (float(row[place]) for place in places)
        except (ValueError, IndexError):
            raise ValueError(f"line {number} holds no two numbers") from None
        pairs.append([wavelength * 1e-6, response])
    return pairs
