"""A campaign: the cooks that a matrix expands to, and what so many cooks can show."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Literal

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from trivet.records.cook import CookPlan
from trivet.records.figures import Broken, Part, twice
from trivet.records.requirement import Evidence, Purpose

NAME = r"^[a-z0-9][a-z0-9-]*$"


def plain_name(value: object) -> str:
    """Return the level name of a value written alone: small letters, digits, hyphens."""
    text = str(value).lower() if not isinstance(value, bool) else ("yes" if value else "no")
    return re.sub(r"[^a-z0-9]+", "-", text).strip("-")


class Level(Part):
    """One level of a factor: what a cook at it has."""

    name: str = Field(pattern=NAME)
    """Its name, a part of the names of its cooks."""
    set: dict[str, Any] = Field(default_factory=dict)
    """Keys of `cooks[]` and `cooks[].burners[]` with their values; `beside` lists other burners."""

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Return what an editor needs: a value alone, or a name and what it sets."""
        return {"anyOf": [{"type": ["string", "number", "boolean"]}, handler(schema)]}


class Factor(Part):
    """One thing that differs between the cooks."""

    name: str = Field(pattern=r"^[a-z][a-z0-9_]*$")
    """Its name, a column of the results; small letters, digits and underscores."""
    levels: tuple[Level, ...] = Field(min_length=1)
    """Its levels; a value written alone is a level that sets the key of the factor's name."""

    def broken(self) -> Iterator[Broken]:
        """Yield levels of one name, and levels that do not differ."""
        yield from twice("levels[{}]", [one.name for one in self.levels])
        first, *others = self.levels
        if all(level.set == first.set for level in others) and (others or not first.set):
            found = f"no cook uses the factor {self.name!r}: its levels do not differ"
            yield "", found, "levels that set something else each"

    @model_validator(mode="before")
    @classmethod
    def _from_plain(cls, raw: Any) -> Any:
        if not isinstance(raw, dict) or not isinstance(raw.get("levels"), list):
            return raw
        plain = [
            {"name": plain_name(one), "set": {str(raw.get("name")): one}}
            if isinstance(one, str | int | float)
            else one
            for one in raw["levels"]
        ]
        return {**raw, "levels": plain}


class WorstCase(Part):
    """A combination that is always run, beside the others and under a name of its own."""

    name: str = Field(pattern=NAME)
    """Its name, a part of the name of its cook."""
    levels: dict[str, str]
    """Level of each factor; the first one where a factor is left out."""


class Matrix(Part):
    """Cooks made of factors: all combinations of their levels, or a balanced fraction."""

    name: str = Field(pattern=NAME)
    """Its name; its cooks are named NAME-LEVEL-LEVEL-..."""
    purpose: Literal["calibration", "proof"]
    """Fitted on, or kept for proof; never both."""
    prove: bool = False
    """Whether `trivet prove` judges its proof cooks too; `trivet sweep` runs them in any case."""
    runs: int | None = Field(default=None, ge=1)
    """Combinations to run, as evenly as can be; all when left out."""
    repeats: int = Field(default=1, ge=1)
    """How often each is simulated, with other draws; repeats count as one independent cook."""
    seeds: tuple[str, ...] = ()
    """Names of seeds: each combination is a cook of its own under each."""
    common: dict[str, Any] = Field(default_factory=dict)
    """Keys that all its cooks have, as in a level's `set`."""
    factors: tuple[Factor, ...] = Field(min_length=1)
    """What differs."""
    exclude: tuple[dict[str, str], ...] = ()
    """Rules, FACTOR = "LEVEL": a combination that holds all levels of a rule is left out."""
    worst: tuple[WorstCase, ...] = ()
    """Named worst cases."""

    def broken(self) -> Iterator[Broken]:
        """Yield factors, seeds and worst cases of one name."""
        yield from twice("factors[{}]", [one.name for one in self.factors])
        yield from twice("seeds[{}]", self.seeds)
        yield from twice("worst[{}]", [one.name for one in self.worst])


class CookPlans(Part):
    """The matrix of cooks to simulate."""

    format: Literal[1]
    """Version of the file format."""
    cooks: tuple[CookPlan, ...] = ()
    """The cooks, written one by one."""
    matrix: tuple[Matrix, ...] = ()
    """Cooks made of factors."""


@dataclass(frozen=True)
class MatrixCook:
    """One cook of a matrix and where it stands in it."""

    plan: CookPlan
    levels: dict[str, str]
    """Level of each factor."""
    combination: str
    """Name without the seed: cooks of one combination count as one independent cook."""
    seed: str = ""
    """Name of its seed, empty without one."""
    worst: str = ""
    """Name of the worst case that it is, empty otherwise."""


@dataclass(frozen=True)
class MatrixPlan:
    """One matrix, expanded."""

    name: str
    purpose: Purpose
    prove: bool
    factors: dict[str, tuple[str, ...]]
    """Levels of each factor."""
    full: int
    """Combinations of the full factorial."""
    excluded: int
    """Combinations that a rule leaves out."""
    runs: int
    """Combinations that are run, worst cases aside."""
    pairs_possible: int
    """Pairs of levels of two factors that the rules allow."""
    pairs_covered: int
    """Of these, how many some run holds."""
    pair_fewest: int
    """Runs that hold the rarest of them."""
    cooks: tuple[MatrixCook, ...]


@dataclass(frozen=True)
class CookSet:
    """All planned cooks of a project: written one by one, and made by its matrices."""

    plans: CookPlans
    matrices: tuple[MatrixPlan, ...] = ()

    @property
    def combinations(self) -> dict[str, str]:
        """Name of the combination that each plan of a matrix repeats."""
        return {
            cook.plan.name: cook.combination for matrix in self.matrices for cook in matrix.cooks
        }

    def planned(self, purpose: Purpose) -> tuple[SweepCook, ...]:
        """Every simulation of a purpose, in the order of the file."""
        found = [
            SweepCook(plan, repeat, plan.name)
            for plan in self.plans.cooks
            if plan.purpose == purpose
            for repeat in range(plan.repeats)
        ]
        found += [
            SweepCook(
                plan=cook.plan,
                repeat=repeat,
                combination=cook.combination,
                matrix=matrix.name,
                levels=cook.levels,
                seed=cook.seed,
                worst=cook.worst,
            )
            for matrix in self.matrices
            if matrix.purpose == purpose
            for cook in matrix.cooks
            for repeat in range(cook.plan.repeats)
        ]
        return tuple(found)

    @property
    def chained(self) -> tuple[CookPlan, ...]:
        """Plans that the chain runs: written ones, and matrices to calibrate on or prove by."""
        made = [
            cook.plan
            for matrix in self.matrices
            if matrix.prove or matrix.purpose == "calibration"
            for cook in matrix.cooks
        ]
        return (*self.plans.cooks, *made)


@dataclass(frozen=True)
class PlannedMatrix:
    """What one matrix, or the cooks written one by one, add to a campaign."""

    name: str
    purpose: Purpose
    factors: dict[str, tuple[str, ...]]
    full: int
    excluded: int
    runs: int
    worst: int
    pairs_possible: int
    pairs_covered: int
    pair_fewest: int
    cooks: int
    """Independent cooks: plans."""
    simulations: int
    """Cooks times repeats."""
    miss_bound_frac: float
    """Largest rate of misses that stays possible when none of the cooks misses, at 95 %."""
    bias_sd: float
    """Smallest bias found with a chance of 80 %, in spreads of the cooks; NaN for one cook."""


@dataclass(frozen=True)
class CampaignPlan:
    """How many cooks are planned, and what so many can show."""

    parts: tuple[PlannedMatrix, ...]
    total: PlannedMatrix
    """All proof cooks together."""
    names: tuple[str, ...] = field(default=())
    """Every proof cook, in the order in which a sweep runs them."""


Cell = str | int | float | bool | None
Row = dict[str, Cell]
"""One row of a table of cooks, by column."""


def column_of(prefix: str, name: str) -> str:
    """Return the column of a factor, a limit or an alert: no sign but letters, digits and _."""
    return f"{prefix}_{re.sub(r'[^A-Za-z0-9]+', '_', name)}"


@dataclass(frozen=True)
class SweepCook:
    """One simulation of a campaign: a plan, which repeat, and where it stands in its matrix."""

    plan: CookPlan
    repeat: int
    combination: str
    matrix: str = ""
    levels: dict[str, str] = field(default_factory=dict)
    seed: str = ""
    worst: str = ""


@dataclass(frozen=True)
class Rate:
    """How often something happened, with its exact bounds."""

    name: str
    of: str
    """What the denominator is."""
    failures: int
    cooks: int
    """Independent cooks that say anything; one is as bad as its worst repeat or seed."""
    value_frac: float
    low_frac: float
    high_frac: float
    """Exact two-sided 95 % bounds."""


@dataclass(frozen=True)
class Spread:
    """A figure over the cooks of a campaign."""

    name: str
    unit: str
    cooks: int
    median: float
    p95: float
    worst: float


@dataclass(frozen=True)
class FailedCook:
    """A cook that gave nothing, and why."""

    cook: str
    error: str


@dataclass(frozen=True)
class Sweep:
    """What a campaign gave so far."""

    table: str
    """File name of the table."""
    evidence: Evidence
    planned: int
    """Simulations of the whole campaign."""
    done: int
    rows: int
    failed: int
    first_failed: tuple[FailedCook, ...]
    """The first of them."""
    rates: tuple[Rate, ...]
    spreads: tuple[Spread, ...]
