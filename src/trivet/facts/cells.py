"""Cells: energy against temperature, shelf loss, rated temperatures, ageing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from trivet.constants import ZERO_C_K
from trivet.facts.tables import Row, known_name, number, read_table, worst_grade


@dataclass(frozen=True)
class CellKind:
    """A kind of cell.

    ``capacity`` are pairs of temperature [K] and share of the energy at 20 C;
    ``fade_per_cycle_frac`` is None for cells that are changed, not charged.
    """

    name: str
    capacity: tuple[tuple[float, float], ...]
    self_discharge_per_year: tuple[float, float]
    low_k: float
    high_k: float
    fade_per_cycle_frac: tuple[float, float, float] | None
    source: str
    grade: str

    @property
    def rechargeable(self) -> bool:
        """Whether the cells are charged."""
        return self.fade_per_cycle_frac is not None


@lru_cache(maxsize=1)
def cell_kinds() -> dict[str, CellKind]:
    """Return the whole library by name.

    Returns : dict: name to kind of cell
    """
    names = dict.fromkeys(row["name"] for row in read_table("cells.csv"))
    return {name: _kind(name) for name in names}


def _kind(name: str) -> CellKind:
    rows = [row for row in read_table("cells.csv") if row["name"] == name]

    def of(kind: str) -> list[Row]:
        return [row for row in rows if row["property"] == kind]

    fade = of("fade_per_cycle")
    shelf = of("self_discharge")[0]
    sources = dict.fromkeys(row["source"] for row in rows if row["source"] != "definition")
    return CellKind(
        name=name,
        capacity=tuple(
            (number(row, "temperature_c") + ZERO_C_K, number(row, "value"))
            for row in of("capacity")
        ),
        self_discharge_per_year=(number(shelf, "low"), number(shelf, "high")),
        low_k=number(of("rated_low")[0], "value") + ZERO_C_K,
        high_k=number(of("rated_high")[0], "value") + ZERO_C_K,
        fade_per_cycle_frac=(
            (number(fade[0], "value"), number(fade[0], "low"), number(fade[0], "high"))
            if fade
            else None
        ),
        source="; ".join(sources),
        grade=worst_grade(row["grade"] for row in rows),
    )


def cell_kind(name: str) -> CellKind:
    """Return a kind of cell of the library.

    name : name; spaces, underscores and case do not matter
    Returns : capacity against temperature, shelf loss, rated temperatures [K], ageing
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : The curves are from memory and hold at light load: a pulse that drops the voltage below
        the converter's cut-off ends a cold alkaline cell far earlier.
    """
    return cell_kinds()[known_name(name, names=cell_kinds(), what="kind of cell")]
