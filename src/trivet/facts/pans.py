"""Pans, hobs and their surfaces: heat properties, emissivities, optical constants, burners."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast

import numpy as np

from trivet.arrays import FloatArray
from trivet.facts.tables import Library, Row, known_name, number, read_table, worst_grade

SurfaceKind = Literal["finish", "contents", "food", "surrounding"]


@dataclass(frozen=True)
class Material:
    """Thermal properties of a pan's or hob's material at room temperature, each with its range.

    Density [kg/m3], specific heat [J/kg/K], conductivity [W/m/K], constant with temperature.
    Aluminium conducts 240 W/m/K at 127 C and 231 at 327 C; steels take up to 10 % more heat per
    kelvin at 200 C. Of a clad base the conductivity is along the base.
    """

    name: str
    density_kg_m3: float
    specific_heat_j_kgk: float
    conductivity_w_mk: float
    density_range_kg_m3: tuple[float, float]
    specific_heat_range_j_kgk: tuple[float, float]
    conductivity_range_w_mk: tuple[float, float]
    condition: str
    source: str
    locator: str
    grade: str


def _material(name: str, rows: list[Row]) -> Material:
    by = {row["property"]: row for row in rows}
    properties = [by[key] for key in ("density", "specific_heat", "conductivity")]
    density, heat, conductivity = (number(row, "value") for row in properties)
    spans = [(number(row, "low"), number(row, "high")) for row in properties]
    cited = by["conductivity"]
    return Material(
        name=name,
        density_kg_m3=density,
        specific_heat_j_kgk=heat,
        conductivity_w_mk=conductivity,
        density_range_kg_m3=spans[0],
        specific_heat_range_j_kgk=spans[1],
        conductivity_range_w_mk=spans[2],
        condition=cited["condition"],
        source=cited["source"],
        locator=cited["locator"],
        grade=worst_grade(row["grade"] for row in rows),
    )


material = Library("materials.csv", what="material", make=_material)


@dataclass(frozen=True)
class Surface:
    """Band emissivity of a surface in 8-14 um: a value within a range, never a point.

    At 180 C, 0.02 of emissivity costs 2.3 K at 0.95 and 10 K at 0.20: where the range is wide,
    measure the pan.
    """

    name: str
    kind: SurfaceKind
    emissivity: float
    low: float
    high: float
    condition: str
    source: str
    locator: str
    grade: str


def _surface(name: str, rows: list[Row]) -> Surface:
    row = rows[0]
    return Surface(
        name=name,
        kind=cast(SurfaceKind, row["kind"]),
        emissivity=number(row, "value"),
        low=number(row, "low"),
        high=number(row, "high"),
        condition=row["condition"],
        source=row["source"],
        locator=row["locator"],
        grade=row["grade"],
    )


surface = Library("surfaces.csv", what="surface", make=_surface)


@dataclass(frozen=True, eq=False)
class OpticalTable:
    """Refractive index n and extinction coefficient k over wavelength [m], read-only.

    Rows as published, thinned nowhere, at room temperature. Oil is oleic acid, its table ends at
    13.33 um; hot oil has not been measured.
    """

    name: str
    wavelength_m: FloatArray
    n: FloatArray
    k: FloatArray
    source: str
    grade: str


def _optical(name: str, rows: list[Row]) -> OpticalTable:
    numbers = np.array([[float(row[c]) for c in ("wavelength_um", "n", "k")] for row in rows])
    columns = (numbers[:, 0] * 1e-6, numbers[:, 1].copy(), numbers[:, 2].copy())
    for array in columns:
        array.setflags(write=False)
    source = f"{rows[0]['source']}, {rows[0]['locator']}"
    grade = worst_grade(row["grade"] for row in rows)
    return OpticalTable(name, *columns, source=source, grade=grade)


optical_table = Library(
    "optical_constants.csv", what="optical material", make=_optical, column="material"
)


@dataclass(frozen=True)
class CitedFigure:
    """One figure with its range and where it comes from."""

    value: float
    low: float
    high: float
    condition: str
    source: str
    grade: str


def burner_figure(kind: str, *, of: Literal["efficiency", "retained"]) -> CitedFigure:
    """Return a figure of a kind of burner: gas, coil, radiant or induction.

    of : ``efficiency``, as published, the share of the energy used that a covered load gains whose
        vessel is as wide as the burner; a smaller one takes less. ``retained``, the share of the
        heat into pan and hob that a covered load of water keeps, its range that of one and two
        litres at 1.5 and 2.2 kW: the simulator's own figure, not a measurement. It turns a
        published efficiency into the heat that the simulator has to be given; docs/simulator.md
        holds it to a fresh run.
    Raises : InputError if the kind is unknown
    """
    rows = {row["name"]: row for row in read_table("hobs.csv") if row["property"] == of}
    row = rows[known_name(kind, names=rows, what="burner kind")]
    value, low, high = (number(row, column) for column in ("value", "low", "high"))
    return CitedFigure(value, low, high, row["condition"], row["source"], row["grade"])
