"""A matrix of cooks: factors with levels, what is excluded, and what is always run."""

from __future__ import annotations

import re
from typing import Any, Literal

from pydantic import Field, GetJsonSchemaHandler, model_validator
from pydantic_core import CoreSchema

from trivet.records.part import Part

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
