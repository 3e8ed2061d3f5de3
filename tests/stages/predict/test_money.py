"""The monthly ledger against a ledger by hand, to the cent; sensitivity; links to the sensor."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np
import pytest
from pydantic import ValidationError

from trivet.errors import InputError, OutOfRangeError
from trivet.models.bill import bill_of, made_cost
from trivet.models.variants import with_sensor
from trivet.physics.economics.ledger import monthly_cash
from trivet.records.design import Design
from trivet.records.figures import Money
from trivet.stages.predict import predict
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.money import economics
from trivet.stages.predict.moneyfigures import drawn_figures, ledger_of, nominal_figures

COSTS = {
    "price": "100.00 USD",
    "channel": "40 %",
    "bill": [
        {
            "name": "sensor",
            "price": "12.00 USD",
            "sensor": True,
            "breaks": [{"from": 100, "price": "10.00 USD"}],
        },
        {"name": "rest", "price": "5.00 USD", "pieces": 2},
    ],
    "yield": "80 %",
    "duty": "10 %",
    "freight": "1.50 USD",
    "warranty": "5 %",
    "returns": "5 %",
    "support": "0.55 USD",
    "cloud_month": "0.10 USD",
    "cloud_months": 2,
    "tooling": "1000.00 USD",
    "certification": "500.00 USD",
    "team_month": "200.00 USD",
    "launch_month": 2,
    "units_per_month": "100",
    "ramp": ["50 %"],
    "months": 3,
    "minimum_order": 100,
    "deposit": "30 %",
    "order_months": 1,
    "receivable_months": 1,
    "discount_rate": "0 %",
}

# One unit by hand:
#   list price                                             100.00
#   channel 40 % of 100.00                                 -40.00   net 60.00
#   goods: sensor 10.00 (orders from 100) + 2 x 5.00 = 20.00; / 80 % yield   -25.00
#   duty 10 % of 25.00                                      -2.50
#   freight                                                 -1.50   landed 29.00
#   warranty 5 % of 29.00                                   -1.45
#   returns 5 % of 60.00                                    -3.00
#   support                                                 -0.55
#   cloud 2 x 0.10                                          -0.20
#   contribution 60.00 - 29.00 - 1.45 - 3.00 - 0.55 - 0.20 = 25.80
UNIT = {
    "list price": "100.00",
    "channel, margin": "-40.00",
    "net revenue": "60.00",
    "goods, yield counted": "-25.00",
    "duty": "-2.50",
    "freight": "-1.50",
    "warranty": "-1.45",
    "returns": "-3.00",
    "support": "-0.55",
    "cloud": "-0.20",
    "contribution": "25.80",
}

# The months by hand: 50 units sold in months 2, 3 and 4 (half of 100 in the first year);
# 100 shipped in months 2 and 4 (least order), each ordered a month before: 100 x 25.00 =
# 2,500.00, 30 % at order = 750.00, balance 1,750.00; duty and freight 100 x 4.00 = 400.00;
# warranty 50 x 1.45 = 72.50; returns 50 x 3.00 = 150.00; support 50 x 0.55 = 27.50;
# cloud 50 x 0.10 = 5.00 for each cohort in two months; receipts 50 x 60.00 a month later.
# month            0         1         2         3         4         5
HAND = {
    "one-off outlays": ("-1500.00", "0.00", "0.00", "0.00", "0.00", "0.00"),
    "team": ("-200.00", "-200.00", "-200.00", "-200.00", "-200.00", "0.00"),
    "deposits on goods": ("0.00", "-750.00", "0.00", "-750.00", "0.00", "0.00"),
    "balance of goods": ("0.00", "0.00", "-1750.00", "0.00", "-1750.00", "0.00"),
    "duty and freight": ("0.00", "0.00", "-400.00", "0.00", "-400.00", "0.00"),
    "warranty": ("0.00", "0.00", "-72.50", "-72.50", "-72.50", "0.00"),
    "returns": ("0.00", "0.00", "-150.00", "-150.00", "-150.00", "0.00"),
    "support": ("0.00", "0.00", "-27.50", "-27.50", "-27.50", "0.00"),
    "cloud": ("0.00", "0.00", "-5.00", "-10.00", "-10.00", "-5.00"),
    "receipts": ("0.00", "0.00", "0.00", "3000.00", "3000.00", "3000.00"),
}
# sum        -1700.00   -950.00  -2605.00   1790.00    390.00   2995.00
CUMULATIVE = ("-1700.00", "-2650.00", "-5255.00", "-3465.00", "-3075.00", "-80.00")


def _design(tables, **changed):
    tables["costs"] = {**COSTS, **changed}
    return Design.model_validate(tables)


def _money(tables, **changed):
    return economics(_design(tables, **changed))


def test_one_unit_ties_to_the_cent(design_tables):
    money = _money(design_tables)
    assert dict(money.unit) == UNIT
    assert dict(money.bill) == {"sensor": "10.00", "rest": "10.00"}
    assert money.contribution == "25.80"


def test_the_months_tie_to_the_cent(design_tables):
    money = _money(design_tables)
    assert dict(money.flows) == HAND
    assert money.monthly_cash == CUMULATIVE
    assert (money.cash_trough, money.trough_month) == ("-5255.00", 2)
    assert money.npv == "-80.00"  # rate 0: the plain sum
    # (1,000 + 500 + 2 x 200 till launch) / 25.80 = 73.6
    assert (money.fixed, money.break_even_units) == ("1900.00", 74)
    assert money.break_even_month is None
    assert money.payback_months is None


def test_discounting_by_hand(design_tables):
    # 12 % a year: the monthly factor is 1.12^(1/12) = 1.0094888.
    flows = (-1700, -950, -2605, 1790, 390, 2995)
    by_hand = sum(flow / 1.12 ** (month / 12) for month, flow in enumerate(flows))
    money = _money(design_tables, discount_rate="12 %")
    assert float(money.npv) == pytest.approx(by_hand, abs=0.005)


@pytest.mark.parametrize(
    ("kind", "terms", "net"),
    [
        ("margin", {"channel": "35 %"}, "96.85"),  # 149 x 0.65
        ("markup", {"channel": "35 %"}, "110.37"),  # 149 / 1.35
        ("amount", {"channel_amount": "52.15 USD", "channel": "0 %"}, "96.85"),  # 149 - 52.15
    ],
)
def test_margin_markup_and_amount_are_three_things(design_tables, kind, terms, net):
    money = _money(design_tables, price="149.00 USD", channel_kind=kind, **terms)
    shown = Decimal(dict(money.unit)["net revenue"])
    assert shown == Decimal(net)
    assert any(kind in note for note in money.notes)


def test_the_old_keys_are_a_bill_of_one_line(plain_design):
    money = economics(plain_design)
    assert dict(money.bill) == {"goods": "41.00"}
    assert money.contribution == "44.0595"


def test_nothing_left_is_never(design_tables):
    money = _money(design_tables, price="50.00 USD")
    assert Decimal(money.contribution) < 0
    assert money.break_even_units is None
    assert money.break_even_month is None
    assert any("never" in note for note in money.notes)


def test_a_minimum_order_deepens_the_trough_by_its_goods(design_tables):
    # 50 units a month: 500 at least instead of 100 puts 400 more units into the first order:
    # 400 x (25.00 + 4.00); the second order of 100 (2,500 + 400) is no longer needed.
    small, large = _money(design_tables), _money(design_tables, minimum_order=500)
    month_2 = Decimal(large.monthly_cash[2]) - Decimal(small.monthly_cash[2])
    assert month_2 == -400 * Decimal(29)
    end = Decimal(large.monthly_cash[-1]) - Decimal(small.monthly_cash[-1])
    assert end == -400 * Decimal(29) + 100 * Decimal(29)


# --------------------------------------------------------------- sensitivity
def test_tornado_of_the_price_by_hand(design_tables):
    # 150 units x 60 % x 95 % (returns) = 85.50 a dollar of price.
    money = _money(design_tables, price_spread="10 %")
    (bar,) = money.tornado
    assert (bar.figure, bar.low, bar.high) == ("list price", "90.00", "110.00")
    assert Decimal(bar.npv_low) == Decimal("-80") - 855
    assert Decimal(bar.npv_high) == Decimal("-80") + 855
    assert bar.swing == pytest.approx(1710)


def test_tornado_is_sorted_and_moves_only_what_has_a_range(design_tables):
    ranged = {"value": "5 %", "low": "4 %", "high": "8 %"}
    money = _money(design_tables, returns=ranged, price_spread="10 %", fixed_spread="20 %")
    assert {bar.figure for bar in money.tornado} == {"returns", "list price", "outlays and team"}
    swings = [bar.swing for bar in money.tornado]
    assert swings == sorted(swings, reverse=True)
    # Returns: 150 x 60.00 x (8 - 4) % = 360.00
    bar = next(one for one in money.tornado if one.figure == "returns")
    assert Decimal(bar.npv_low) - Decimal(bar.npv_high) == Decimal(360)


def test_p_loss_of_a_triangular_price(design_tables):
    # Nothing is lost above 100 + 80 / 85.50 = 100.936; triangular from 90 to 110 about 100:
    # P(price below) = 1 - (110 - 100.936)^2 / (20 x 10) = 0.589.
    design = _design(design_tables, price_spread="10 %", warranty="0 %")
    # Without warranty 150 x 1.45 = 217.50 more are left: 100 - 137.50 / 85.50 = 98.392.
    money = economics(design, generator=np.random.default_rng(3))
    below = (98.392 - 90) ** 2 / 200
    assert money.loss_frac == pytest.approx(below, abs=0.03)
    assert money.npv_p10 < money.npv_p50 < money.npv_p90
    assert money.npv_p50 == pytest.approx(137.5, abs=40)
    again = economics(design, generator=np.random.default_rng(3))
    assert again.loss_frac == money.loss_frac


def test_draws_and_decimals_are_one_arithmetic(design_tables):
    design = _design(design_tables, minimum_order=70, receivable_months=2)
    costs, lines = design.costs, bill_of(design)
    exact = nominal_figures(costs, returned=Decimal(0))
    drawn = drawn_figures(costs, nominal=exact, generator=np.random.default_rng(1), draws=3)
    drawn = type(drawn)(**{**vars(drawn), "warranty": np.full(3, 0.05)})  # no chance
    one = monthly_cash(ledger_of(costs, lines=lines, figures=exact).flows)
    many = monthly_cash(ledger_of(costs, lines=lines, figures=drawn).flows)
    for amount, column in zip(one, many, strict=True):
        assert column == pytest.approx([float(amount)] * 3, abs=1e-8)


def test_no_range_no_probability(design_tables):
    design = _design(design_tables, warranty="0 %")
    money = economics(design, generator=np.random.default_rng(3))
    assert math.isnan(money.loss_frac)
    assert money.tornado == ()


# -------------------------------------------------------- links, alternatives
def test_another_sensor_moves_cost_battery_and_returns_together(design_tables):
    bill = [{"name": "sensor", "sensor": True, "board_share": "50 %"}]
    tables = design_tables
    tables["sensors"] = []
    tables["battery"]["claim"] = "50 day"
    tables["heads"][0]["sensor"] = "thermopile-32x24-55"
    design = Design.model_validate(
        {**tables, "costs": {**COSTS, "bill": bill, "returns_short_life": "10 %"}}
        | {"sensors": [_card("thermopile-32x24-55")]}
    )
    price = Money(Decimal("85.00"), "USD")  # the library's card states none
    other = with_sensor(design, sensor="bolometer-160x120-57", price=price)
    lives = [battery_days(one, generator=np.random.default_rng(5)) for one in (design, other)]
    earned = [economics(one, life=life) for one, life in zip((design, other), lives, strict=True)]
    step = float(other.battery.measure_w) - float(design.battery.measure_w)
    cards = (other.card(other.heads[0]), design.card(design.heads[0]))
    assert step == pytest.approx(float(cards[0].measure_w) - float(cards[1].measure_w))
    assert step > 0.0
    assert lives[1].days_p50 < lives[0].days_p50
    assert Decimal(earned[1].landed_cost) > Decimal(earned[0].landed_cost)
    # Returns: 5 % of 60.00 and 10 % of 60.00 times the share under the claim.
    for life, money in zip(lives, earned, strict=True):
        by_hand = 60 * (0.05 + 0.10 * (1 - life.claim_met_frac))
        assert -float(dict(money.unit)["returns"]) == pytest.approx(by_hand, abs=0.006)
    assert lives[1].claim_met_frac < lives[0].claim_met_frac


def _card(name):
    from trivet.facts.parts import card

    return card(name)


def test_a_sensor_without_a_price_is_named(design_tables):
    bill = [{"name": "array", "sensor": True}]
    design_tables["sensors"][0].pop("board_price", None)
    with pytest.raises(InputError, match=r"'array' has no price.*states none"):
        _money(design_tables, bill=bill)


def test_cost_of_a_burner_by_hand(design_tables):
    design_tables["alternatives"] = [
        {"name": "switch", "price": "310.00 USD", "burners": 4, "life": "8 year",
         "yearly": "4.00 USD"},
        {"name": "probe", "price": "90.00 USD", "burners": 1, "life": "4 year"},
    ]  # fmt: skip
    money = _money(design_tables, life="5 year", yearly="6.00 USD")
    got = {one.name: one.per_burner_year for one in money.per_burner}
    own = (100 + 6 * 5) / (4 * 5)  # four burners
    assert got.pop(design_tables["project"]["name"]) == f"{own:.2f}"
    # (310 + 8 x 4) / (4 x 8) = 10.6875; 90 / 4 = 22.50
    assert got == {"switch": "10.69", "probe": "22.50"}


def test_scrap_at_the_end_of_the_line_lowers_the_yield_and_raises_the_landed_cost(design_tables):
    design_tables["end_of_line"] = {
        "points": ["60 degC"], "time": "4 min", "cost": "1.50 USD", "reject_limit": "10 K"
    }  # fmt: skip
    design = _design(design_tables)
    # [own calculation] (20.00 + 1.50) / (80 % x 75 %) = 35.833333; duty 10 %; freight 1.50
    money = economics(design, passed_frac=0.75)
    assert dict(money.unit)["goods, yield counted"] == "-35.83"
    assert float(money.landed_cost) == pytest.approx(21.5 / 0.6 * 1.1 + 1.5, abs=1e-6)
    assert any("75.00%" in note for note in money.notes)
    # What a unit has cost before it is thrown away: 20.00 / 80 %
    assert Decimal(made_cost(design)) == 25
    with pytest.raises(InputError, match="no unit passes"):
        economics(design, passed_frac=0.0)


def test_the_prediction_carries_its_own_scrap_into_the_ledger(design_tables):
    design_tables["end_of_line"] = {
        "points": ["60 degC", "250 degC"], "time": "4 min", "cost": "0.00 USD",
        "reject_limit": "5 K",
    }  # fmt: skip
    one = predict(_design(design_tables))
    assert 0.0 < one.population.yield_frac < 1.0
    by_hand = 25.0 / one.population.yield_frac * 1.1 + 1.5
    assert float(one.economics.landed_cost) == pytest.approx(by_hand, abs=1e-5)


def test_zero_burners_are_refused(design_tables):
    design_tables["alternatives"] = [{"name": "none", "price": "1.00 USD", "burners": 0}]
    with pytest.raises(ValidationError, match="burners"):
        _design(design_tables)


@pytest.mark.parametrize(
    ("changed", "fault"),
    [
        ({"yield": "0 %"}, "yield"),
        ({"deposit": "130 %"}, "deposit"),
        ({"duty": "-1 %"}, "duty"),
        ({"returns": {"value": "4 %", "low": "8 %", "high": "2 %"}}, "does not hold"),
        ({"warranty": "105 %"}, "warranty"),
    ],
)
def test_impossible_shares_are_refused(design_tables, changed, fault):
    with pytest.raises(ValidationError, match=fault):
        _design(design_tables, **changed)


def test_goods_ordered_before_month_0_are_refused(design_tables):
    with pytest.raises(OutOfRangeError, match="before month 0"):
        _money(design_tables, order_months=4)


def test_two_currencies_in_the_bill_are_refused(design_tables):
    bill = [{"name": "chip", "price": "3.00 EUR"}]
    with pytest.raises(InputError, match="EUR"):
        _money(design_tables, bill=bill)
