"""Reads ``design.toml``."""

from __future__ import annotations

from pathlib import Path

from trivet.errors import DesignError
from trivet.files.design_faults import design_faults, used_cards
from trivet.files.production_faults import production_faults
from trivet.files.responses import with_responses
from trivet.files.tomlfile import read_toml, validate
from trivet.records.design import Design

FORMAT = 1


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
    toml = read_toml(file / "design.toml" if file.is_dir() else file, newest=FORMAT)
    toml, curves = with_responses(toml)
    design, faults = validate(Design, toml)
    faults += curves + design_faults(toml) + production_faults(toml)
    if faults or design is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    return design.model_copy(update={"sensors": (*design.sensors, *used_cards(toml))})
