"""Density, specific heat and conductivity of pan and hob materials."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from trivet.facts.tables import known_name, number, read_table, worst_grade


@dataclass(frozen=True)
class Material:
    """Thermal properties at room temperature, each with its range."""

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


@lru_cache(maxsize=1)
def materials() -> dict[str, Material]:
    """Return the whole library by name.

    Returns : dict: name to material
    """
    table = read_table("materials.csv")
    return {name: _material(name) for name in dict.fromkeys(row["name"] for row in table)}


def _material(name: str) -> Material:
    rows = {row["property"]: row for row in read_table("materials.csv") if row["name"] == name}
    density, heat, conductivity = (
        rows[key] for key in ("density", "specific_heat", "conductivity")
    )
    return Material(
        name=name,
        density_kg_m3=number(density, "value"),
        specific_heat_j_kgk=number(heat, "value"),
        conductivity_w_mk=number(conductivity, "value"),
        density_range_kg_m3=(number(density, "low"), number(density, "high")),
        specific_heat_range_j_kgk=(number(heat, "low"), number(heat, "high")),
        conductivity_range_w_mk=(number(conductivity, "low"), number(conductivity, "high")),
        condition=conductivity["condition"],
        source=conductivity["source"],
        locator=conductivity["locator"],
        grade=worst_grade(row["grade"] for row in rows.values()),
    )


def material(name: str) -> Material:
    """Return a material of the library.

    name : name; spaces, underscores and case do not matter
    Returns : density [kg/m3], specific heat [J/kg/K], conductivity [W/m/K], with ranges
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Constant with temperature. Aluminium conducts 240 W/m/K at 127 C and 231 at 327 C;
        steels take up to 10 % more heat per kelvin at 200 C. Clad base: its conductivity is along
        the base.
    """
    return materials()[known_name(name, names=materials(), what="material")]
