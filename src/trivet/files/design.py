"""Reads ``design.toml``, with the response curves beside it."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from trivet.errors import DesignError, Fault
from trivet.facts.parts import card as library_card
from trivet.files.design_rules import design_faults
from trivet.files.tomlfile import TomlFile, read_toml, validate
from trivet.records.design import Design

DESIGN_FORMAT = 1  # version of the format; raised when an older program could not read it
RESPONSE_COLUMNS = ("wavelength_um", "response")


def read_design(path: str | Path) -> Design:
    """Return the design of a file, in SI, with the sensor cards that its heads use.

    Parameters
    ----------
    path : path
        The file, or the project folder that holds ``design.toml``.

    Returns
    -------
    Design
        Cards of heads that the file does not define come from the library.

    Raises
    ------
    DesignError
        With every fault of the file at once: file, line, key as written, what
        was found, what is allowed.
    FormatError
        If the file is no TOML, or of a format that this version does not know.
    InputError
        If there is no such file.
    """
    file = Path(path)
    toml = read_toml(file / "design.toml" if file.is_dir() else file, newest=DESIGN_FORMAT)
    toml, curves = _with_responses(toml)
    design, faults = validate(Design, toml)
    faults += curves + design_faults(toml)
    if faults or design is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    own = {card.name for card in design.sensors}
    used = dict.fromkeys(head.sensor for head in design.heads if head.sensor not in own)
    cards = (*design.sensors, *(library_card(name) for name in used))
    return design.model_copy(update={"sensors": cards})


def _with_responses(toml: TomlFile) -> tuple[TomlFile, tuple[Fault, ...]]:
    """Return a design file with the response curves that its cards name put in their place.

    A card whose curve cannot be read keeps its flat band, and the fault is told.
    """
    cards, faults = list(toml.content.get("sensors", []) or []), []
    allowed = f"a CSV file beside the design with the columns {', '.join(RESPONSE_COLUMNS)}"
    for at, entry in toml.entries("sensors"):
        name = entry.get("response")
        if not isinstance(name, str):
            continue
        try:
            pairs = _read_response(Path(toml.name).parent / name)
        except (OSError, ValueError) as error:
            faults.append(toml.fault(("sensors", at, "response"), f"{name!r}: {error}", allowed))
            pairs = []
        cards[at] = {**entry, "response": pairs}
    content = {**toml.content, "sensors": cards} if cards else toml.content
    return replace(toml, content=content), tuple(faults)


def _read_response(path: Path) -> list[list[float]]:
    """Return the rows of a response curve: wavelength [m] and response [-].

    Lines that start with # are notes. Raises ValueError with the line where a column is
    missing or a cell is no number. Linear between the rows and zero outside.
    """
    lines = [
        (number, line)
        for number, line in enumerate(path.read_text(encoding="utf-8-sig").splitlines(), 1)
        if line.strip() and not line.startswith("#")
    ]
    rows = csv.DictReader(line for _, line in lines)
    if set(RESPONSE_COLUMNS) - set(rows.fieldnames or ()):
        raise ValueError(f"columns {', '.join(rows.fieldnames or ()) or 'none'}")
    pairs = []
    for (number, _), row in zip(lines[1:], rows, strict=True):
        try:
            wavelength, response = (float(row[column]) for column in RESPONSE_COLUMNS)
        except (ValueError, TypeError):
            raise ValueError(f"line {number} holds no two numbers") from None
        pairs.append([wavelength * 1e-6, response])
    return pairs
