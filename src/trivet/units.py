"""The only place where text with a unit becomes a number in SI units, and back.

A *kind* says what a field measures.  A temperature and a temperature
difference are different kinds: ``"75 degF"`` is 297.04 K as a temperature and
41.67 K as a difference, and which of the two is meant is decided by the field,
never by the text.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache
from typing import TYPE_CHECKING

from trivet.constants import ZERO_C_K
from trivet.errors import QuantityError

if TYPE_CHECKING:
    import pint


@dataclass(frozen=True)
class Kind:
    """What a field measures: its SI unit, an example, and whether it has an offset scale."""

    name: str
    si: str
    example: str
    dimensionless: bool = False


KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind("length", "meter", "0.70 m"),
        Kind("area", "meter ** 2", "0.6 m^2"),
        Kind("volume", "meter ** 3", "5 mL"),
        Kind("angle", "radian", "12 deg"),
        Kind("temperature", "kelvin", "180 degF"),
        Kind("difference", "kelvin", "4 degF"),
        Kind("time", "second", "5 min"),
        Kind("frequency", "hertz", "4 Hz"),
        Kind("mass", "kilogram", "150 g"),
        Kind("concentration", "kilogram / meter ** 3", "1 g/m^3"),
        Kind("power", "watt", "2.6 kW"),
        Kind("energy", "joule", "13.5 Wh"),
        Kind("current", "ampere", "10 uA"),
        Kind("charge", "coulomb", "2200 mAh"),
        Kind("voltage", "volt", "3.0 V"),
        Kind("bit_rate", "bit / second", "1 Mbit/s"),
        Kind("heating_rate", "kelvin / second", "2 K/s"),
        Kind("heat_transfer", "watt / meter ** 2 / kelvin", "12 W/m^2/K"),
        Kind("fraction", "dimensionless", "0.95", dimensionless=True),
        Kind("fraction_per_year", "1 / year", "2 %/year"),
        Kind("number", "dimensionless", "12", dimensionless=True),
    )
}

_TEXT = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")
_TEMPERATURE_UNITS = {
    "degc": "C",
    "°c": "C",
    "c": "C",
    "celsius": "C",
    "degf": "F",
    "°f": "F",
    "f": "F",
    "fahrenheit": "F",
    "k": "K",
    "kelvin": "K",
}


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    registry: pint.UnitRegistry[float] = pint.UnitRegistry(cache_folder=None)
    registry.define("percent = 0.01 = %")
    return registry


def parse_quantity(text: str, kind: str) -> float:
    """Return the SI value of a text such as ``"30 in"`` for a field of a kind.

    Raises
    ------
    QuantityError
        If the text is not a finite number with a unit of that kind.  A bare
        number is accepted for fractions and numbers only.
    """
    wanted = KINDS[kind]
    match = _TEXT.match(text)
    if match is None or "," in text:
        comma = " (write a decimal point, not a comma)" if "," in text else ""
        raise QuantityError(f"{text!r} is not a number with a unit{comma}, e.g. {wanted.example!r}")
    number, unit = float(match.group(1)), match.group(2)
    if not math.isfinite(number):
        raise QuantityError(f"{text!r} is not a finite number")
    if kind in ("temperature", "difference"):
        return _kelvin(number, unit, text, wanted)
    if not unit:
        if wanted.dimensionless:
            return number
        raise QuantityError(f"{text!r} has no unit; write e.g. {wanted.example!r}")
    if unit == "%" and wanted.dimensionless:
        return number / 100
    return _convert(number, unit, text, wanted)


def _convert(number: float, unit: str, text: str, wanted: Kind) -> float:
    """Return the number in SI through the unit library, its errors translated."""
    registry = _registry()
    import pint

    try:
        value = registry.Quantity(number, unit.replace("%", "percent"))
        if wanted.name == "fraction_per_year":
            return float(value.to("1 / year").magnitude) / (365.25 * 86400)
        return float(value.to(wanted.si).magnitude)
    except (pint.errors.PintError, AttributeError, ValueError, TypeError, AssertionError) as error:
        raise QuantityError(
            f"{text!r} is not a {wanted.name.replace('_', ' ')}; write e.g. {wanted.example!r}"
        ) from error
    except Exception as error:  # the library's tokenizer raises assorted errors on odd texts
        raise QuantityError(f"{text!r} cannot be read; write e.g. {wanted.example!r}") from error


def _kelvin(number: float, unit: str, text: str, wanted: Kind) -> float:
    """Return kelvin of a temperature or of a difference; the two scales never mix."""
    scale = _TEMPERATURE_UNITS.get(unit.casefold().replace(" ", ""))
    if scale is None:
        raise QuantityError(
            f"{text!r} needs one of the units degC, degF, K; write e.g. {wanted.example!r}"
        )
    if wanted.name == "difference":
        return number * 5 / 9 if scale == "F" else number
    kelvin = {
        "C": number + ZERO_C_K,
        "F": (number - 32) * 5 / 9 + ZERO_C_K,
        "K": number,
    }[scale]
    if kelvin < 0:
        raise QuantityError(f"{text!r} lies below absolute zero")
    return kelvin


def parse_money(text: str) -> tuple[Decimal, str]:
    """Return the exact amount and currency code of a text such as ``"149.00 USD"``.

    Raises
    ------
    QuantityError
        If the text is not a decimal amount followed by a three-letter code.
    """
    parts = text.split()
    if len(parts) != 2 or not re.fullmatch(r"[A-Z]{3}", parts[1]):
        raise QuantityError(f"{text!r} is not an amount with a currency code, e.g. '149.00 USD'")
    try:
        amount = Decimal(parts[0].replace("_", ""))
    except InvalidOperation as error:
        raise QuantityError(f"{text!r} is not a decimal amount, e.g. '149.00 USD'") from error
    if not amount.is_finite():
        raise QuantityError(f"{text!r} is not a finite amount")
    return amount, parts[1]


def celsius(temperature_k: float) -> float:
    """Return degrees Celsius of a temperature in kelvin."""
    return temperature_k - ZERO_C_K


def kelvin(temperature_c: float) -> float:
    """Return kelvin of a temperature in degrees Celsius."""
    return temperature_c + ZERO_C_K


def show_temperature(temperature_k: float, unit: str = "degC", digits: int = 0) -> str:
    """Return a temperature as text in degC or degF; a NaN shows as "no reading"."""
    if not math.isfinite(temperature_k):
        return "no reading"
    value = celsius(temperature_k)
    if unit == "degF":
        return f"{value * 9 / 5 + 32:.{digits}f} °F"
    return f"{value:.{digits}f} °C"


def show_difference(difference_k: float, unit: str = "degC", digits: int = 1) -> str:
    """Return a temperature difference as text in K or in Fahrenheit degrees."""
    if not math.isfinite(difference_k):
        return "unknown"
    if unit == "degF":
        return f"{difference_k * 9 / 5:.{digits}f} °F"
    return f"{difference_k:.{digits}f} K"


def show_length(length_m: float, unit: str = "mm", digits: int = 0) -> str:
    """Return a length as text in mm or inches."""
    if unit == "in":
        return f"{length_m / 0.0254:.{max(digits, 1)}f} in"
    return f"{length_m * 1000:.{digits}f} mm"
