"""Faults of energy, money and trade study: each with its key and what is allowed."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.errors import DesignError
from trivet.files.design import read_design

ROOT = Path(__file__).parents[2]
LARKPANE = (ROOT / "examples" / "larkpane" / "design.toml").read_text(encoding="utf-8")


def said(folder: Path, *changes: tuple[str, str]) -> str:
    text = LARKPANE
    for old, new in changes:
        assert old in text, f"the example no longer holds {old!r}"
        text = text.replace(old, new, 1)
    path = folder / "design.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_design(path)
    return str(caught.value)


def test_the_example_is_sound() -> None:
    design = read_design(ROOT / "examples" / "larkpane")
    assert sum(float(one.weight_frac) for one in design.trade.criteria) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("old", "new", "key", "words"),
    [
        ('weight = "35 %"', 'weight = "30 %"', "trade.criteria", "sum to 0.95"),
        ("to = 4999", "to = 5000", "costs.bill[1].breaks", "from 1000 and from 5000 overlap"),
        ("to = 4999", "to = 400", "costs.bill[1].breaks", "ends before it begins"),
        ("order_months = 2", "order_months = 7", "costs.order_months", "later launch_month"),
        ('channel_kind = "margin"', 'channel_kind = "amount"', "costs.channel_kind", "alone"),
        ('price = "4.35 USD"', 'price = "4.35 EUR"', "costs.bill[2].price", "4.35 EUR beside"),
        ('price = "310.00 USD"', 'price = "310 EUR"', "alternatives[1].price", "310 EUR beside"),
        ("burners = 1\n", "burners = 0\n", "alternatives[2].burners", "greater than or equal to 1"),
        ('price = "4.35 USD"\n', "", "costs.bill[2].price", "no price of 'board and parts'"),
        ("bits = 16\n", "bits = 12\n", "radio.fields[0].bits", "12 bits hold 4096"),
        ('name = "half_width"', 'name = "temperature"', "radio.fields[1].name", "stands twice"),
        ('cook = { value = "45 min"', 'cook_time = { value = "45 min"', "diary", "how much"),
        ('duty = "100 %"', 'duty = "130 %"', "battery.duty", "outside the allowed range"),
        (
            'temperature_limit = { value = "60 degC"',
            'temperature_limit = { value = "85 degC"',
            "battery.temperature_limit",
            "hard stop of lithium",
        ),
        ('chemistry = "lithium-iron-disulfide"', 'chemistry = "potato"', "battery.chemistry", ""),
        ('kind = "polling"', 'kind = "clock"', "wake.kind", "thermal-trip"),
        ('metric = "battery_days"\nworst', 'metric = "colour"\nworst', "trade.criteria[0]", ""),
        ('best = "180"', 'best = "0"', "trade.criteria[0]", "two different values"),
        (
            'sensor = "thermopile-80x64-wide"\nsensor_price',
            'sensor = "thermopile-80x64-wid"\nsensor_price',
            "trade.options[1].sensor",
            "did you mean 'thermopile-80x64-wide'",
        ),
        (
            'scores = [{ criterion = "ease of buying", value = "4" }]',
            "scores = []",
            "trade.options[2].scores",
            "one score of each: ease of buying",
        ),
    ],
)
def test_one_fault(tmp_path: Path, old: str, new: str, key: str, words: str) -> None:
    text = said(tmp_path, (old, new))
    assert f": {key}" in text, text
    assert words in text, text


def test_a_sensor_without_a_price_anywhere_is_named(tmp_path: Path) -> None:
    card = 'sensor = "thermopile-32x24-55"'
    assert card in LARKPANE
    path = tmp_path / "design.toml"
    path.write_text(LARKPANE.replace(card, 'sensor = "bolometer-160x120-57"', 1), "utf-8")
    with pytest.raises(DesignError, match="sensor card 'bolometer-160x120-57' states none"):
        read_design(path)


def test_two_ways_to_say_the_goods_are_refused(tmp_path: Path) -> None:
    text = said(tmp_path, ("[costs]\n", '[costs]\nunit_cost = "41.00 USD"\n'))
    assert "costs.unit_cost" in text
    assert "unit_cost beside a bill" in text


def test_no_message_and_no_radio_is_refused(tmp_path: Path) -> None:
    start, end = LARKPANE.index("[radio]"), LARKPANE.index("[diary]")
    line = next(one for one in LARKPANE.splitlines() if one.startswith("message = "))
    text = said(tmp_path, (LARKPANE[start:end], ""), (line + "\n", ""))
    assert "battery.message" in text
    assert "what a message costs" in text
