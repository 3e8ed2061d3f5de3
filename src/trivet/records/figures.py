"""Quantities that a file states as text with a unit, money, and the base of every record that
is read from a file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Any, Literal, Self, cast

from pydantic import BaseModel, ConfigDict, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from trivet.errors import QuantityError
from trivet.units import KINDS, parse_money, parse_quantity

Origin = Literal["datasheet", "measured", "assumed", "standard"]
ORIGINS: tuple[Origin, ...] = ("datasheet", "measured", "assumed", "standard")


class Figure(float):
    """A number in SI with an optional range, an origin and a note."""

    low: float | None
    high: float | None
    origin: Origin
    note: str
    text: str

    def __new__(
        cls,
        value: float,
        *,
        low: float | None = None,
        high: float | None = None,
        origin: Origin = "assumed",
        note: str = "",
        text: str = "",
    ) -> Self:
        """Return the figure; ``text`` keeps the wording of the file."""
        self = super().__new__(cls, value)
        self.low, self.high, self.origin, self.note, self.text = low, high, origin, note, text
        return self

    def __reduce__(self) -> tuple[Any, ...]:
        """Keep range and origin when a worker process receives the figure."""
        return _unpickled, (float(self), figure_as_table(self))

    @property
    def half_width(self) -> float:
        """Half of the range, 0 when no range was given."""
        if self.low is None or self.high is None:
            return 0.0
        return (self.high - self.low) / 2

    @property
    def middle(self) -> float:
        """Mean of the range read as rectangular; the value itself when no range was given."""
        if self.low is None or self.high is None:
            return float(self)
        return (self.low + self.high) / 2

    @property
    def standard_uncertainty(self) -> float:
        """Standard deviation of the range read as rectangular (JCGM 100:2008, 4.3.7)."""
        return self.half_width / 3**0.5


def _unpickled(value: float, table: dict[str, Any]) -> Figure:
    return Figure(value, **{key: table[key] for key in ("low", "high", "origin", "note", "text")})


@dataclass(frozen=True)
class Quantity:
    """Annotation that makes a pydantic field read text with a unit of one kind."""

    kind: str
    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the validator from text, table or figure to :class:`Figure`."""
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(figure_as_table),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Return what an editor needs to check and complete the field."""
        kind = KINDS[self.kind]
        text = {
            "type": "string",
            "description": f"{self.allowed_text()}",
            "examples": [kind.example],
        }
        table = {
            "type": "object",
            "properties": {
                "value": text,
                "low": text,
                "high": text,
                "origin": {"enum": list(ORIGINS)},
                "note": {"type": "string"},
            },
            "required": ["value"],
            "additionalProperties": False,
        }
        return {"anyOf": [text, table]}

    def allowed_text(self) -> str:
        """Return what the field takes, for messages and tables of keys."""
        kind = KINDS[self.kind]
        bounds = [
            f"{sign} {bound:g}"
            for sign, bound in ((">", self.gt), (">=", self.ge), ("<", self.lt), ("<=", self.le))
            if bound is not None
        ]
        unit = "" if kind.dimensionless else f" {kind.si}".replace(" ** ", "^")
        limits = f", {' and '.join(bounds)}{unit}" if bounds else ""
        return f"{kind.name.replace('_', ' ')} as text, e.g. {kind.example!r}{limits}"

    def _fail(self, found: str) -> PydanticCustomError:
        return PydanticCustomError(
            "quantity", "{found}", {"found": found, "allowed": self.allowed_text()}
        )

    def _validate(self, raw: Any) -> Figure:
        if isinstance(raw, Figure):
            return raw
        if isinstance(raw, dict) and "si" in raw:  # a stored record, already in SI
            stored = {key: raw.get(key) for key in ("low", "high")}
            return Figure(
                raw["si"], **stored, origin=raw["origin"], note=raw["note"], text=raw["text"]
            )
        table = raw if isinstance(raw, dict) else {"value": raw}
        unknown = sorted(set(table) - {"value", "low", "high", "origin", "note"})
        if unknown:
            raise self._fail(f"unknown key {unknown[0]!r} in a figure")
        if "value" not in table:
            raise self._fail("a figure without 'value'")
        origin = table.get("origin", "assumed")
        if origin not in ORIGINS:
            raise self._fail(f"origin {origin!r} is none of {', '.join(ORIGINS)}")
        value = self._number(table["value"])
        low = self._number(table["low"]) if "low" in table else None
        high = self._number(table["high"]) if "high" in table else None
        if (low is None) != (high is None):
            raise self._fail("a range needs both 'low' and 'high'")
        if low is not None and high is not None and not low <= value <= high:
            raise self._fail(
                f"range {table['low']} to {table['high']} does not hold {table['value']}"
            )
        return Figure(
            value,
            low=low,
            high=high,
            origin=cast(Origin, origin),
            note=str(table.get("note", "")),
            text=str(table["value"]),
        )

    def _number(self, raw: Any) -> float:
        if isinstance(raw, bool) or not isinstance(raw, str | int | float):
            raise self._fail(f"{raw!r} is not text with a unit")
        if not isinstance(raw, str):
            raise self._fail(f"the bare number {raw!r}; quantities are text with their unit")
        try:
            value = parse_quantity(raw, self.kind)
        except QuantityError as error:
            raise self._fail(str(error)) from None
        outside = (
            (self.gt is not None and not value > self.gt)
            or (self.ge is not None and not value >= self.ge)
            or (self.lt is not None and not value < self.lt)
            or (self.le is not None and not value <= self.le)
        )
        if outside:
            raise self._fail(f"{raw!r} is outside the allowed range")
        return value


def figure_as_table(value: Figure) -> dict[str, Any]:
    """Return the stored form of a figure: SI value, range, origin, note, wording."""
    if not isinstance(value, Figure):
        value = Figure(value)
    return {
        "si": float(value),
        "low": value.low,
        "high": value.high,
        "origin": value.origin,
        "note": value.note,
        "text": value.text,
    }


def figure(text: str, kind: str, *, origin: Origin = "assumed", note: str = "") -> Figure:
    """Return the figure of a default, read as a design file would read it."""
    return Figure(parse_quantity(text, kind), origin=origin, note=note, text=text)


@dataclass(frozen=True)
class MoneyText:
    """Annotation that makes a pydantic field read ``"149.00 USD"`` as an exact decimal."""

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Return the validator from text to :class:`Money`."""
        return core_schema.no_info_plain_validator_function(
            self._validate,
            serialization=core_schema.plain_serializer_function_ser_schema(str),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Return what an editor needs to check and complete the field."""
        return {"type": "string", "examples": ["149.00 USD"]}

    def _validate(self, raw: Any) -> Money:
        if isinstance(raw, Money):
            return raw
        allowed = "an amount with a currency code, e.g. '149.00 USD'"
        if not isinstance(raw, str):
            raise PydanticCustomError(
                "money", "{found}", {"found": f"{raw!r} is not text", "allowed": allowed}
            )
        try:
            amount, currency = parse_money(raw)
        except QuantityError as error:
            raise PydanticCustomError(
                "money", "{found}", {"found": str(error), "allowed": allowed}
            ) from None
        return Money(amount, currency)


@dataclass(frozen=True)
class Money:
    """An exact amount in one currency."""

    amount: Decimal
    currency: str

    def __str__(self) -> str:
        """Return the amount as a design file writes it."""
        return f"{self.amount} {self.currency}"


def twice(key: str, names: Sequence[object]) -> Iterator[Broken]:
    """Yield each name that stands before in a list; ``{}`` in the key is its place."""
    for at, name in enumerate(names):
        if name is not None and name in names[:at]:
            first = key.format(names.index(name))
            yield key.format(at), f"{name!r} stands twice: {first} has it already", "another one"


Length = Annotated[Figure, Quantity("length")]
PositiveLength = Annotated[Figure, Quantity("length", gt=0)]
LengthOrZero = Annotated[Figure, Quantity("length", ge=0)]
Volume = Annotated[Figure, Quantity("volume", ge=0)]
Angle = Annotated[Figure, Quantity("angle")]
AngleOrZero = Annotated[Figure, Quantity("angle", ge=0)]
FieldAngle = Annotated[Figure, Quantity("angle", gt=0, lt=6.2831853)]
Temperature = Annotated[Figure, Quantity("temperature")]
Difference = Annotated[Figure, Quantity("difference")]
DifferenceOrZero = Annotated[Figure, Quantity("difference", ge=0)]
Duration = Annotated[Figure, Quantity("time", ge=0)]
PositiveDuration = Annotated[Figure, Quantity("time", gt=0)]
SignedDuration = Annotated[Figure, Quantity("time")]
Frequency = Annotated[Figure, Quantity("frequency", gt=0)]
Power = Annotated[Figure, Quantity("power", ge=0)]
Energy = Annotated[Figure, Quantity("energy", ge=0)]
Concentration = Annotated[Figure, Quantity("concentration", ge=0)]
Mass = Annotated[Figure, Quantity("mass", ge=0)]
Fraction = Annotated[Figure, Quantity("fraction", ge=0, le=1)]
PositiveFraction = Annotated[Figure, Quantity("fraction", gt=0, le=1)]
YearlyFraction = Annotated[Figure, Quantity("fraction_per_year", ge=0)]
Number = Annotated[Figure, Quantity("number")]
NumberOrZero = Annotated[Figure, Quantity("number", ge=0)]
BitRate = Annotated[Figure, Quantity("bit_rate", gt=0)]
HeatingRate = Annotated[Figure, Quantity("heating_rate", gt=0)]
HeatTransfer = Annotated[Figure, Quantity("heat_transfer", ge=0)]
Amount = Annotated[Money, MoneyText()]


# A field's name carries its SI unit; the key in the file does not, since there
# the text itself carries the unit ("height = '30 in'" fills height_m).
SUFFIXES = (
    "_delta_k",
    "_frac",
    "_per_s",
    "_w_m2k",
    "_kps",
    "_bps",
    "_kg_m3",
    "_m3",
    "_rad",
    "_kg",
    "_hz",
    "_k",
    "_m",
    "_s",
    "_w",
    "_j",
)


def file_key(name: str) -> str:
    """Return the key that a field has in a file."""
    for suffix in SUFFIXES:
        if name.endswith(suffix) and len(name) > len(suffix):
            return name[: -len(suffix)]
    return name


Broken = tuple[str, str, str]
"""Where a rule is broken, as a key within the record ("" is the record itself, else for
instance ``schedule[1].at``), what was found and what is allowed."""


class Part(BaseModel):
    """A frozen part of a design or cook file; unknown keys are errors.

    ``broken`` yields each rule of its own that it breaks beyond the shape of its fields.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        alias_generator=file_key,
        serialize_by_alias=False,
        use_attribute_docstrings=True,
    )

    def broken(self) -> Iterator[Broken]:
        """Yield each rule of its own that the record breaks."""
        yield from ()
