"""Money and battery against published examples and arithmetic by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from decimal import Decimal

import numpy as np
import pytest

from trivet.constants import DAY_S
from trivet.errors import InputError, NotEnoughDataError, OutOfRangeError
from trivet.facts.parts import cell_kind
from trivet.physics.economics import cashflow, cost, energy, ledger

VOLT = 3.0  # cancels in every check of charge against current


def _numbers(text):
    return [float(part) for part in text.split()]


def _unit(text):
    p, m, g, duty, freight, warranty, returns, support = map(Decimal, text.split())
    return cost.UnitCosts(
        price=p,
        goods=g,
        channel=cost.Channel("margin", m),
        duty_frac=duty,
        freight=freight,
        warranty_frac=warranty,
        returns_frac=returns,
        support=support,
    )


def _value(case, inputs, quantity):
    if case == "irr":
        return cashflow.internal_rates(_numbers(inputs)).rates
    if case == "pmt":
        present, rate, n = _numbers(inputs)
        return cashflow.annuity_payment(present, rate=rate, periods=int(n))
    if case == "fv":
        payment, rate, n, present = _numbers(inputs)
        return cashflow.annuity_future(payment, rate=rate, periods=int(n), present=present)
    if case == "break_even":
        fixed, contribution = map(Decimal, inputs.split())
        return cost.break_even_units(fixed, contribution=contribution)
    if case == "unit":
        return cost.to_cents(getattr(cost.unit_ledger(_unit(inputs)), quantity))
    rates, flows = inputs.split(";")
    if case == "npv":
        return cashflow.net_present_value(_numbers(flows), rate=Decimal(rates))
    if case == "payback":
        return cashflow.payback_periods(_numbers(flows), rate=Decimal(rates))
    finance, reinvest = _numbers(rates)
    return cashflow.modified_rate(_numbers(flows), finance_rate=finance, reinvest_rate=reinvest)


def test_money(published):
    for row in published("economics"):
        got = _value(row["case"], str(row["inputs"]), row["quantity"])
        if row["case"] == "unit":
            # To the cent, exactly: the printed digits are the expectation.
            assert got == Decimal(row["printed_digits"]), row["id"]
        elif row["expected"] == "never":
            assert got == "never", row["id"]
        elif row["quantity"] == "contains":
            assert min(abs(r - row["expected"]) for r in got) <= row["tolerance"], row["id"]
        else:
            assert float(got) == pytest.approx(row["expected"], abs=row["tolerance"], rel=0), row[
                "id"
            ]


def test_every_rate_is_a_root_and_ambiguity_is_told():
    flows = [-100, 230, -132]  # hand-made: rates 10 % and 20 %
    found = cashflow.internal_rates(flows)
    assert found.rates == pytest.approx((0.10, 0.20), abs=1e-12)
    assert found.ambiguous
    plain = cashflow.internal_rates([-100, 39, 59, 55, 20])
    assert len(plain.rates) == 1
    assert not plain.ambiguous
    for flows in ([-100, 100, 0, -7], [-5, 10.5, 1, -8, 1]):
        rates = cashflow.internal_rates(flows).rates
        assert len(rates) >= 2
        for rate in rates:
            scale = sum(abs(f) / (1 + rate) ** k for k, f in enumerate(flows))
            assert abs(sum(f / (1 + rate) ** k for k, f in enumerate(flows))) < 1e-9 * scale


def test_no_rate_and_no_payback():
    assert cashflow.internal_rates([-100, 10, -100]).rates == ()
    assert cashflow.payback_periods([-100, 50]) is None
    # An early surplus eaten again does not count.
    assert cashflow.payback_periods([-100, 150, -100, 100]) == pytest.approx(2.5)
    with pytest.raises(NotEnoughDataError):
        cashflow.internal_rates([0, 5])


def test_margin_markup_and_amount_are_three_things():
    base = _unit("149 0.35 41 0 0 0 0 0")
    markup = replace(base, channel=cost.Channel("markup", Decimal("0.35")))
    amount = replace(base, channel=cost.Channel("amount", Decimal("52.15")))
    nets = [cost.to_cents(cost.unit_ledger(c).net) for c in (base, markup, amount)]
    assert nets == [Decimal("96.85"), Decimal("110.37"), Decimal("96.85")]
    with pytest.raises(OutOfRangeError, match="fraction"):
        cost.unit_ledger(replace(base, channel=cost.Channel("margin", Decimal(35))))


def _closed(unit, plan, rate=Decimal(0)):
    flows = ledger.monthly_flows(cost.unit_ledger(unit), plan=plan)
    return cost.closed_ledger(ledger.monthly_cash(flows), annual_rate=rate)


def test_cash_trough_by_hand():
    # 10 units a month for 3 months, goods 40 with half paid 1 month ahead, net
    # 100 received 1 month after sale, tooling 500 at once:
    #   month 0: -500 tooling -200 deposit            = -700   cumulative  -700
    #   month 1: -200 deposit -200 balance            = -400   cumulative -1100
    #   month 2: -200 -200 +1000                      =  600   cumulative  -500
    #   month 3: -200 +1000                           =  800   cumulative   300
    #   month 4: +1000                                = 1000   cumulative  1300
    unit = cost.UnitCosts(price=Decimal(100), goods=Decimal(40))
    plan = ledger.MonthPlan(
        sold=(0, 10, 10, 10),
        shipped=(0, 10, 10, 10),
        goods=(unit.goods,) * 4,
        one_off=((0, Decimal(500)),),
        deposit=Decimal("0.5"),
        order_months=1,
        receivable_months=1,
    )
    found = _closed(unit, plan)
    assert found.cash == (-700, -400, 600, 800, 1000)
    assert found.cumulative == (-700, -1100, -500, 300, 1300)
    assert (found.trough, found.trough_month) == (-1100, 1)
    assert found.npv == 1300  # rate 0: the plain sum, to the cent
    assert found.payback_months == pytest.approx(2 + 500 / 800)


def test_cash_that_never_returns():
    unit = cost.UnitCosts(price=Decimal(30), goods=Decimal(40))
    goods = (unit.goods,) * 2
    found = _closed(unit, ledger.MonthPlan(sold=(10, 10), shipped=(10, 10), goods=goods))
    assert found.payback_months == "never"
    assert found.internal is None
    assert cost.break_even_units(Decimal(1), contribution=Decimal(-10)) == "never"
    with pytest.raises(InputError, match="no month"):
        _closed(unit, ledger.MonthPlan(sold=(), shipped=(), goods=()))


def test_cents_add_up():
    # A sum that binary floats miss: 0.10 + 0.20 thirty times is 9.00 exactly.
    unit = cost.UnitCosts(price=Decimal("0.30"), goods=Decimal("0.10"), support=Decimal("0.20"))
    assert cost.unit_ledger(unit).contribution == 0
    assert cost.break_even_units(Decimal(10), contribution=Decimal(0)) == "never"


def _life_d(charge_ah, load_j_per_day, *, shelf=0.0, law="linear"):
    return float(
        energy.days_left(
            charge_ah * 3600.0 * VOLT,
            load_j_per_day=load_j_per_day,
            shelf_per_year=shelf,
            law=law,
        )
    )


def _published_life(row):
    """Return the value of a row: mean current, rated temperature, or a life."""
    node = energy.DayFigures(0.010 * DAY_S / 1200, 0.0, 4e-6 * VOLT, 10e-3 * VOLT)
    load = float(energy.load_j_per_day(energy.state_days(node)))
    if row["case"] == "life":
        watts, duty = map(float, str(row["locator"]).split(":")[0].split(";"))
        day = energy.DayFigures(5400.0, 2.0, 190e-6, watts, duty_frac=duty)
        return float(13.5 * 3600.0 * 0.85 / energy.load_j_per_day(energy.state_days(day)))
    if row["case"] == "rating":
        return cell_kind("lithium-iron-disulfide").high_k - 273.15
    if row["case"] == "derated":
        return 24 * _life_d(0.7 * 1.2, 20e-6 * VOLT * DAY_S)
    if row["quantity"] == "average_ua":
        return load / VOLT / DAY_S * 1e6
    return _life_d(2.2, load, shelf=0.03 if "linear" in row["case"] else 0.0) / 365.25


def test_battery(published):
    for row in published("battery"):
        got = _published_life(row)
        assert got == pytest.approx(row["expected"], abs=row["tolerance"]), row["id"]


def test_exponential_self_discharge_limits():
    # No load: never empty. Little self-discharge: the same as none.
    law = {"law": "exponential"}
    assert math.isinf(energy.days_left(1e4, load_j_per_day=0.0, shelf_per_year=0.10, **law))
    tiny = energy.days_left(1e4, load_j_per_day=864.0, shelf_per_year=1e-9, **law)
    assert tiny == pytest.approx(1e4 / 864, rel=1e-6)
    # Closed form of dE/dt = -P - kE over a year: E(t) = 0.
    days = float(energy.days_left(1e4, load_j_per_day=8.64, shelf_per_year=0.10, **law))
    k = -math.log(0.9) / 365.25
    left = (1e4 + 8.64 / k) * math.exp(-k * days) - 8.64 / k
    assert left == pytest.approx(0.0, abs=1e-6)
    with pytest.raises(InputError, match="linear or exponential"):
        energy.days_left(1e4, load_j_per_day=8.64, shelf_per_year=0.1, law="log")


def test_ten_kelvin_double_the_shelf_loss():
    factor = energy.shelf_factor(np.array([293.15, 303.15, 323.15]), doubling_k=10.0)
    assert factor == pytest.approx([1.0, 2.0, 8.0])


def test_states_fill_the_day_and_a_cycle_never_settles():
    # By hand: 2 cooks of 45 min; 0.3 s to boot and 240 s to settle each time.
    day = energy.DayFigures(5400.0, 2.0, 1e-4, 0.13, boot_s=0.3, boot_w=0.13, settle_s=240.0)
    times = {one.name: float(one.time_s) for one in energy.state_days(day)}
    assert times["wake"] == pytest.approx(0.6)
    assert times["settle"] == pytest.approx(480.0)
    assert times["measure"] == pytest.approx(5400.0 - 480.6)
    assert sum(times.values()) == pytest.approx(86_400.0)
    # 15 s of each minute: 90 wakes, all of the rest of the time settling.
    cycled = {
        one.name: float(one.time_s) for one in energy.state_days(replace(day, duty_frac=0.25))
    }
    assert cycled["wake"] == pytest.approx(27.0)
    assert cycled["settle"] == pytest.approx(1350.0 - 27.0)
    assert cycled["measure"] == 0.0
    assert sum(cycled.values()) == pytest.approx(86_400.0)


def test_polls_messages_false_alarms_and_standby_by_hand():
    day = energy.DayFigures(
        3600.0, 1.0, 0.0, 0.1, standby_w=1e-4, poll_j=1e-4, poll_s=10.0, message_j=3e-5,
        message_s=1.0, false_wakes=3.0, false_s=20.0, boot_s=1.0, boot_w=0.1, sound_j=2.0,
    )  # fmt: skip
    joule = {one.name: float(one.energy_j) for one in energy.state_days(day)}
    assert joule["poll"] == pytest.approx(1e-4 * (86_400 - 3600 - 63) / 10)
    assert joule["send"] == pytest.approx(3600 * 3e-5)
    assert joule["wake"] == pytest.approx(0.1 * 4)
    assert joule["measure"] == pytest.approx(0.1 * (3600 - 1 + 60))
    assert joule["standby"] == pytest.approx(8.64)
    assert joule["sound"] == 2.0
    with pytest.raises(OutOfRangeError, match="fraction, not percent"):
        energy.state_days(replace(day, duty_frac=25.0))
    with pytest.raises(OutOfRangeError, match="sleep_w"):
        energy.state_days(replace(day, sleep_w=-1.0))
