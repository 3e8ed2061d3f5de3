"""Parts of the product: kinds of cells, and sensor cards of classes of thermal arrays."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources

from trivet.constants import ZERO_C_K
from trivet.errors import InputError
from trivet.facts.tables import Library, Row, number, worst_grade
from trivet.records.sensorcard import SensorCard


@dataclass(frozen=True)
class CellKind:
    """A kind of cell: capacity against temperature, shelf loss, rated temperatures, ageing.

    ``capacity`` are pairs of temperature [K] and share of the energy at 20 C;
    ``fade_per_cycle_frac`` is None for cells that are changed, not charged. The
    curves are from memory and hold at light load: a pulse that drops the voltage below the
    converter's cut-off ends a cold alkaline cell far earlier.
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


def _cell(name: str, rows: list[Row]) -> CellKind:
    def of(kind: str) -> list[Row]:
        return [row for row in rows if row["property"] == kind]

    fade, shelf = of("fade_per_cycle"), of("self_discharge")[0]
    sources = dict.fromkeys(row["source"] for row in rows if row["source"] != "definition")
    capacity = of("capacity")
    return CellKind(
        name=name,
        capacity=tuple(
            (number(row, "temperature_c") + ZERO_C_K, number(row, "value")) for row in capacity
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


cell_kind = Library("cells.csv", what="kind of cell", make=_cell)


@lru_cache(maxsize=1)
def _cards() -> tuple[SensorCard, ...]:
    text = resources.files("trivet.facts").joinpath("sensors.toml").read_text("utf-8")
    return tuple(SensorCard.model_validate(entry) for entry in tomllib.loads(text)["sensors"])


def sensor_cards() -> dict[str, SensorCard]:
    """Return every sensor card of the library by its name.

    Notes : The names are classes of arrays. A figure that no public source gives is None, which
        means unknown; a figure without a datasheet behind it has the origin ``assumed`` and a note
        that says why.
    """
    return {card.name: card for card in _cards()}


def card(name: str) -> SensorCard:
    """Return the sensor card of a name; an unknown one is an InputError that gives the nearest."""
    cards = sensor_cards()
    if name in cards:
        return cards[name]
    close = difflib.get_close_matches(name, cards, n=3, cutoff=0.5)
    hint = f"did you mean {' or '.join(close)}?" if close else f"known: {', '.join(cards)}"
    raise InputError(f"no sensor card {name!r} in the library; {hint}")
