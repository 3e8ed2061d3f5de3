"""What is cooked: oils and fats with their limits, foods, and hold times that make them safe."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from trivet.constants import ZERO_C_K
from trivet.facts.tables import Library, Row, known_name, number, read_table, worst_grade

Range = tuple[float, float]
MAX_USES = 15  # own estimate: the fall of the smoke point with reuse is not carried on beyond


@dataclass(frozen=True)
class Oil:
    """An oil; every temperature is a (low, high) pair in kelvin.

    ``autoignition_k`` is None where no test was found; butter did not ignite by itself in the tests
    cited. Flash and fire points are those of a typical fat, whose name is ``fat``. The heat
    properties belong to ``temperature_k`` and hold within 5 % from 20 to 200 C. Tables of smoke
    points differ by 20 K; reuse and free fatty acid lower them.
    """

    name: str
    smoke_k: Range
    flash_k: Range
    fire_k: Range
    autoignition_k: Range | None
    temperature_k: tuple[float, ...]
    density_kg_m3: tuple[float, ...]
    specific_heat_j_kgk: tuple[float, ...]
    conductivity_w_mk: tuple[float, ...]
    source: str
    grade: str


@dataclass(frozen=True)
class TemperatureSpread:
    """A temperature as a rectangular distribution; ``per_use_k`` lowers it with each use."""

    low_k: float
    high_k: float
    source: str
    grade: str
    per_use_k: float = 0.0

    @property
    def mean_k(self) -> float:
        """Mean of fresh oil."""
        return 0.5 * (self.low_k + self.high_k)

    @property
    def sd_k(self) -> float:
        """Standard deviation."""
        return (self.high_k - self.low_k) / math.sqrt(12.0)

    def after(self, uses: int) -> TemperatureSpread:
        """Return the distribution of an oil that was used before."""
        fall = self.per_use_k * min(uses, MAX_USES)
        return replace(self, low_k=self.low_k - fall, high_k=self.high_k - fall)


@dataclass(frozen=True)
class OilLimits:
    """Smoke, flash, fire and ignition of an oil as distributions.

    ``autoignition`` is None where no test was found.
    """

    smoke: TemperatureSpread
    flash: TemperatureSpread
    fire: TemperatureSpread
    autoignition: TemperatureSpread | None


def _oil_rows(name: str, kind: str) -> list[Row]:
    """Return an oil's rows of one property, or those of a typical fat."""
    table = [row for row in read_table("oils.csv") if row["property"] == kind]
    return [row for row in table if row["name"] == name] or [
        row for row in table if row["name"] == "fat"
    ]


def _range_k(row: Row) -> Range:
    return number(row, "low") + ZERO_C_K, number(row, "high") + ZERO_C_K


def _oil(name: str, _: list[Row]) -> Oil:
    smoke, flash, fire = (
        _oil_rows(name, kind)[0] for kind in ("smoke_point", "flash_point", "fire_point")
    )
    ignition = _oil_rows(name, "autoignition")
    density, heat, conductivity = (
        _oil_rows(name, kind) for kind in ("density", "specific_heat", "conductivity")
    )
    used = [smoke, flash, fire, *ignition, *density]
    return Oil(
        name=name,
        smoke_k=_range_k(smoke),
        flash_k=_range_k(flash),
        fire_k=_range_k(fire),
        autoignition_k=_range_k(ignition[0]) if ignition else None,
        temperature_k=tuple(number(row, "temperature_c") + ZERO_C_K for row in density),
        density_kg_m3=tuple(number(row, "value") for row in density),
        specific_heat_j_kgk=tuple(number(row, "value") for row in heat),
        conductivity_w_mk=tuple(number(row, "value") for row in conductivity),
        source="; ".join(dict.fromkeys(row["source"] for row in used)),
        grade=worst_grade(row["grade"] for row in used),
    )


oil = Library("oils.csv", what="oil", make=_oil)


def oil_limits(name: str) -> OilLimits:
    """Return at what temperatures an oil smokes, flashes, burns and ignites, as distributions.

    name : name; spaces, underscores and case do not matter
    Returns : rectangular distributions; the ranges of the table are their ends
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Tables of smoke points differ by 20 K (standard deviation 6 to 15 K here); each use
        takes 3 K (1 to 8, from memory) off the smoke point. Ignition tests repeat within 15 K
        (standard deviation 9 K).
    """
    known = known_name(name, names=oil.all, what="oil")
    fall = number(_oil_rows(known, "smoke_drop_per_use")[0], "value")
    smoke, flash, fire = (
        _spread(_oil_rows(known, kind)[0]) for kind in ("smoke_point", "flash_point", "fire_point")
    )
    ignition = _oil_rows(known, "autoignition")
    return OilLimits(
        smoke=replace(smoke, per_use_k=fall),
        flash=flash,
        fire=fire,
        autoignition=_spread(ignition[0]) if ignition else None,
    )


def _spread(row: Row) -> TemperatureSpread:
    low, high = _range_k(row)
    return TemperatureSpread(low, high, row["source"], row["grade"])


@dataclass(frozen=True)
class Food:
    """A food; shares are of mass, ``porosity_frac`` of volume.

    ``surface`` is a name in the surface library; ``composition`` is water, protein, fat,
    carbohydrate, ash. Compositions of one sort of food vary by some per cent of the mass; contact
    coefficients by a factor of two between pieces.
    """

    name: str
    surface: str
    composition: tuple[float, float, float, float, float]
    porosity_frac: float
    contact_start_w_m2k: float
    contact_peak_w_m2k: float
    contact_peak_s: float
    contact_decay_s: float
    source: str
    grade: str


def _food(name: str, rows: list[Row]) -> Food:
    row = rows[0]
    water, protein, fat, carbohydrate, ash = (
        number(row, part) for part in ("water", "protein", "fat", "carbohydrate", "ash")
    )
    return Food(
        name=name,
        surface=row["surface"],
        composition=(water, protein, fat, carbohydrate, ash),
        porosity_frac=number(row, "porosity"),
        contact_start_w_m2k=number(row, "contact_start_w_m2k"),
        contact_peak_w_m2k=number(row, "contact_peak_w_m2k"),
        contact_peak_s=number(row, "contact_peak_s"),
        contact_decay_s=number(row, "contact_decay_s"),
        source=row["source"],
        grade=row["grade"],
    )


food = Library("foods.csv", what="food", make=_food)


def _hold_table(_: str, rows: list[Row]) -> tuple[tuple[float, float], ...]:
    """Pairs of core temperature [K] and the time [s] for which it makes food safe."""
    return tuple(
        ((number(row, "temperature_f") - 32.0) / 1.8 + ZERO_C_K, number(row, "value"))
        for row in rows
    )


hold_table = Library("holdtimes.csv", what="hold-time table", make=_hold_table)
"""Rows from cold to hot. Rules differ by country, food and edition: a table is one of them and no
advice."""
