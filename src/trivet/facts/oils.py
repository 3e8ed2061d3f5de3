"""Cooking oils and fats: smoke, flash, fire and ignition as ranges, and heat properties."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

from trivet.constants import ZERO_C_K
from trivet.facts.tables import Row, known_name, number, read_table, worst_grade

Range = tuple[float, float]
MAX_USES = 15
"""The fall of the smoke point with reuse is not carried on beyond this."""


@dataclass(frozen=True)
class Oil:
    """An oil; every temperature is a (low, high) pair in kelvin.

    ``autoignition_k`` is None where no test was found. Flash and fire points are those of a typical
    fat. The heat properties belong to ``temperature_k``.
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
class Spread:
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

    def after(self, uses: int) -> Spread:
        """Return the distribution of an oil that was used before."""
        fall = self.per_use_k * min(uses, MAX_USES)
        return replace(self, low_k=self.low_k - fall, high_k=self.high_k - fall)


@dataclass(frozen=True)
class OilLimits:
    """Smoke, flash, fire and ignition of an oil as distributions.

    ``autoignition`` is None where no test was found, as for butter, which did not ignite by itself
    in the tests cited.
    """

    smoke: Spread
    flash: Spread
    fire: Spread
    autoignition: Spread | None


@lru_cache(maxsize=1)
def oils() -> dict[str, Oil]:
    """Return the whole library by name.

    Returns : dict: name to oil
    """
    names = dict.fromkeys(row["name"] for row in read_table("oils.csv"))
    return {name: _oil(name) for name in names}


def _rows(name: str, kind: str) -> list[Row]:
    """Return an oil's rows of one property, or those of a typical fat."""
    table = [row for row in read_table("oils.csv") if row["property"] == kind]
    own = [row for row in table if row["name"] == name]
    return own or [row for row in table if row["name"] == "fat"]


def _range_k(row: Row) -> Range:
    return number(row, "low") + ZERO_C_K, number(row, "high") + ZERO_C_K


def _oil(name: str) -> Oil:
    smoke, flash, fire = (
        _rows(name, kind)[0] for kind in ("smoke_point", "flash_point", "fire_point")
    )
    ignition = _rows(name, "autoignition")
    columns = {kind: _rows(name, kind) for kind in ("density", "specific_heat", "conductivity")}
    used = [smoke, flash, fire, *ignition, *columns["density"]]
    return Oil(
        name=name,
        smoke_k=_range_k(smoke),
        flash_k=_range_k(flash),
        fire_k=_range_k(fire),
        autoignition_k=_range_k(ignition[0]) if ignition else None,
        temperature_k=tuple(number(r, "temperature_c") + ZERO_C_K for r in columns["density"]),
        density_kg_m3=tuple(number(r, "value") for r in columns["density"]),
        specific_heat_j_kgk=tuple(number(r, "value") for r in columns["specific_heat"]),
        conductivity_w_mk=tuple(number(r, "value") for r in columns["conductivity"]),
        source="; ".join(dict.fromkeys(row["source"] for row in used)),
        grade=worst_grade(row["grade"] for row in used),
    )


def oil(name: str) -> Oil:
    """Return an oil of the library.

    name : name; spaces, underscores and case do not matter. ``fat`` is a typical one
    Returns : ranges of smoke, flash, fire and ignition temperature [K], heat properties
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Tables of smoke points differ by 20 K; reuse and free fatty acid lower them. Butter did
        not ignite by itself in the tests cited. Heat properties within 5 % from 20 to 200 C.
    """
    return oils()[known_name(name, names=oils(), what="oil")]


def oil_limits(name: str) -> OilLimits:
    """Return at what temperatures an oil smokes, flashes, burns and ignites, as distributions.

    name : name; spaces, underscores and case do not matter
    Returns : rectangular distributions; the ranges of the table are their ends
    Raises : InputError if the name is unknown; the message offers the nearest
    Notes : Tables of smoke points differ by 20 K (standard deviation 6 to 15 K here); each use
        takes 3 K (1 to 8, from memory) off the smoke point. Ignition tests repeat within 15 K
        (standard deviation 9 K).
    """
    known = known_name(name, names=oils(), what="oil")
    fall = number(_rows(known, "smoke_drop_per_use")[0], "value")
    smoke, flash, fire = (
        _spread(_rows(known, kind)[0]) for kind in ("smoke_point", "flash_point", "fire_point")
    )
    ignition = _rows(known, "autoignition")
    return OilLimits(
        smoke=replace(smoke, per_use_k=fall),
        flash=flash,
        fire=fire,
        autoignition=_spread(ignition[0]) if ignition else None,
    )


def _spread(row: Row) -> Spread:
    low, high = _range_k(row)
    return Spread(low, high, row["source"], row["grade"])
