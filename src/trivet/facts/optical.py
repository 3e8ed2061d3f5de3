"""Optical constants of water, oil and metals in the thermal infrared."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.tables import known_name, read_table, worst_grade


@dataclass(frozen=True, eq=False)
class OpticalTable:
    """Refractive index n and extinction coefficient k over wavelength [m], read-only."""

    name: str
    wavelength_m: FloatArray
    n: FloatArray
    k: FloatArray
    source: str
    grade: str


def optical_names() -> tuple[str, ...]:
    """Return the materials of the table.

    Returns : tuple of str: names for :func:`optical_table`
    """
    return tuple(dict.fromkeys(row["material"] for row in read_table("optical_constants.csv")))


@lru_cache(maxsize=16)
def optical_table(name: str) -> OpticalTable:
    """Return the optical constants of a material.

    name : one of :func:`optical_names`
    Returns : rows as published, thinned nowhere
    Raises : InputError if the material is unknown
    Notes : Room temperature. Oil is oleic acid, its table ends at 13.33 um. Hot oil has not been
        measured.
    Source : In the rows of ``optical_constants.csv``
    """
    found = known_name(name, names=optical_names(), what="optical material")
    rows = [row for row in read_table("optical_constants.csv") if row["material"] == found]
    numbers = np.array([[float(row[c]) for c in ("wavelength_um", "n", "k")] for row in rows])
    wavelength, n, k = numbers[:, 0] * 1e-6, numbers[:, 1].copy(), numbers[:, 2].copy()
    for array in (wavelength, n, k):
        array.setflags(write=False)
    source = f"{rows[0]['source']}, {rows[0]['locator']}"
    grade = worst_grade(row["grade"] for row in rows)
    return OpticalTable(found, wavelength, n, k, source=source, grade=grade)
