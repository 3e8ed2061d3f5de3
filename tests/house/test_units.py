"""Temperatures and differences never mix, and texts survive the way there and back."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trivet.errors import QuantityError
from trivet.records.figures import Difference, Temperature
from trivet.units import (
    KINDS,
    celsius,
    kelvin,
    parse_money,
    parse_quantity,
    show_difference,
    show_length,
    show_temperature,
)


def test_difference_of_two_temperatures_is_seven_kelvin_and_a_bit() -> None:
    # A general unit library makes -266.05 of this: hand arithmetic says 7.1.
    warm = parse_quantity("38.1 degC", "temperature")
    cold = parse_quantity("31 degC", "temperature")
    assert warm - cold == pytest.approx(7.1, abs=1e-9)
    assert show_difference(warm - cold) == "7.1 K"


def test_the_field_decides_what_75_degf_is() -> None:
    # Definition of the Fahrenheit scale: T/degC = (T/degF - 32) / 1.8.
    assert parse_quantity("75 degF", "temperature") == pytest.approx(297.0388889, abs=1e-6)
    assert parse_quantity("75 degF", "difference") == pytest.approx(41.6666667, abs=1e-6)
    assert parse_quantity("-3 degC", "difference") == -3.0


@given(st.floats(min_value=-459.0, max_value=5000.0))
def test_fahrenheit_there_and_back(degrees: float) -> None:
    read = parse_quantity(f"{degrees!r} degF", "temperature")
    assert celsius(read) * 9 / 5 + 32 == pytest.approx(degrees, abs=1e-9, rel=1e-12)
    assert kelvin(celsius(read)) == pytest.approx(read, abs=1e-9)


@given(st.floats(min_value=-1e4, max_value=1e4))
def test_a_difference_has_no_offset(degrees: float) -> None:
    read = parse_quantity(f"{degrees!r} degF", "difference")
    assert read * 9 / 5 == pytest.approx(degrees, abs=1e-9, rel=1e-12)
    assert parse_quantity(f"{degrees!r} degC", "difference") == degrees


@pytest.mark.parametrize(
    ("text", "kind", "expected"),
    [
        ("30 in", "length", 0.762),  # the inch is 25.4 mm by definition
        ("5 mL", "volume", 5e-6),
        ("90 deg", "angle", math.pi / 2),
        ("13.5 Wh", "energy", 48600.0),
        ("2 %/year", "fraction_per_year", 0.02 / (365.25 * 86400)),
        ("95 %", "fraction", 0.95),
        ("0.95", "fraction", 0.95),
        ("12 W/m^2/K", "heat_transfer", 12.0),
        ("150 g", "mass", 0.15),
        ("1e-3 km", "length", 1.0),
    ],
)
def test_units_by_definition(text: str, kind: str, expected: float) -> None:
    assert parse_quantity(text, kind) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("kind", KINDS.values(), ids=lambda kind: kind.name)
def test_every_kind_reads_its_own_example(kind: object) -> None:
    assert math.isfinite(parse_quantity(kind.example, kind.name))  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    ("text", "kind", "says"),
    [
        ("1,5 m", "length", "decimal point"),
        ("0.7", "length", "no unit"),
        ("0.7 kg", "length", "not a length"),
        ("nan m", "length", "not a number"),
        ("1e999 m", "length", "finite"),
        ("12 K/s", "temperature", "degC, degF, K"),
        ("-300 degC", "temperature", "absolute zero"),
        ("5", "difference", "degC, degF, K"),
        ("30 3 m", "length", "e.g."),
        ("5 (m", "length", "e.g."),
        ("__import__('os') m", "length", "not a number"),
    ],
)
def test_bad_text_is_named(text: str, kind: str, says: str) -> None:
    with pytest.raises(QuantityError, match=says):
        parse_quantity(text, kind)


def test_money_is_exact() -> None:
    amount, currency = parse_money("0.10 USD")
    assert str(amount + amount + amount) == "0.30"
    assert currency == "USD"
    for bad in ("149", "149,00 USD", "NaN USD", "12 usd"):
        with pytest.raises(QuantityError):
            parse_money(bad)


def test_what_is_missing_is_shown_as_missing() -> None:
    assert show_temperature(math.nan) == "no reading"
    assert show_difference(math.inf) == "unknown"
    assert show_temperature(kelvin(100.0), "degF") == "212 °F"
    assert show_length(0.762, "in") == "30.0 in"


def test_a_field_of_one_kind_refuses_the_other() -> None:
    from pydantic import TypeAdapter, ValidationError

    assert TypeAdapter(Temperature).validate_python("100 degC") == pytest.approx(373.15)
    assert TypeAdapter(Difference).validate_python("100 degC") == 100.0
    with pytest.raises(ValidationError):
        TypeAdapter(Temperature).validate_python(100)
