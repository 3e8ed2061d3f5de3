"""Questions of life and money of the sensor comparison: cost, battery and returns move together."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal

from trivet.errors import InputError
from trivet.records.business_result import BatteryLife
from trivet.records.comparison import UNKNOWN, Cell, Kind
from trivet.stages.predict.moneyfigures import exact, extra_returns, full_order, sensor_cost
from trivet.stages.predict.sensortrial import Trial, spec_words

MoneyQuestion = tuple[str, Kind, Callable[[Trial], Cell]]


def money_questions() -> tuple[MoneyQuestion, ...]:
    """Return the questions of life and money with their kinds and what answers them."""
    return (
        ("days of a charge, P50", "days", _life),
        ("board price", "money", _board),
        ("sensor in the bill of a unit", "money", _in_bill),
        ("landed cost of a unit", "money", _amount("landed_cost")),
        ("returns", "fraction", _returns),
        ("contribution of a unit", "money", _amount("contribution")),
        ("break-even units", "number", _even),
    )


def _life(trial: Trial) -> Cell:
    """Return the days with the card's draw in place of the own card's share of the power."""
    card, own, battery = trial.card, trial.own, trial.design.battery
    source = f"battery.days_p50; battery.measure = {battery.measure_w.text}"
    if card.name != own.name:
        source = (
            f"{source}, moved from {spec_words(f'{own.name}.measure', own.measure_w)} to"
            f" {spec_words(f'{card.name}.measure', card.measure_w)}"
        )
    life = trial.life
    if isinstance(life, str):
        return Cell(math.nan, UNKNOWN, f"{source}: {life}")
    return Cell(life.days_p50, "", source)


def _board(trial: Trial) -> Cell:
    price = trial.card.board_price
    source = f"sensors.{trial.card.name}.board_price"
    if price is None:
        return Cell(math.nan, UNKNOWN, f"{source}: the card does not say")
    return Cell(float(price.amount), str(price), f"{source} = {price}; {trial.card.source}")


def _in_bill(trial: Trial) -> Cell:
    """Return what the sensors of all heads cost in one unit at a full order."""
    source = f"costs.bill; {trial.price_source}"
    try:
        cost = sensor_cost(trial.design)
    except InputError as error:
        return Cell(math.nan, UNKNOWN, f"{source}: {error}")
    if cost is None:
        return Cell(math.nan, UNKNOWN, f"{source}: no line is marked as the sensor")
    currency = trial.design.costs.price.currency
    order = full_order(trial.design.costs)
    return Cell(float(cost), f"{cost:.2f} {currency}", f"{source}; orders of {order} units")


def _amount(field: str) -> Callable[[Trial], Cell]:
    def ask(trial: Trial) -> Cell:
        source = f"economics.{field}; {trial.price_source}"
        money = trial.money
        if isinstance(money, str):
            return Cell(math.nan, UNKNOWN, f"{source}: {money}")
        amount = Decimal(getattr(money, field))
        return Cell(float(amount), f"{amount:.2f} {money.currency}", source)

    return ask


def _returns(trial: Trial) -> Cell:
    """Return the share of units returned: declared, for short life, for blind readings."""
    costs, life = trial.design.costs, trial.life
    source = (
        f"costs.returns = {costs.returns_frac.text}, returns_short_life ="
        f" {costs.returns_short_life_frac.text} of users under the claim, returns_blind ="
        f" {costs.returns_blind_frac.text} of budgets not measurable"
    )
    if isinstance(trial.money, str):
        return Cell(math.nan, UNKNOWN, f"{source}: {trial.money}")
    known: BatteryLife | None = None if isinstance(life, str) else life
    extra = extra_returns(costs, life=known, budgets=trial.budgets)
    return Cell(float(min(exact(costs.returns_frac) + extra, Decimal(1))), "", source)


def _even(trial: Trial) -> Cell:
    source = f"economics.break_even_units; {trial.price_source}"
    money = trial.money
    if isinstance(money, str):
        return Cell(math.nan, UNKNOWN, f"{source}: {money}")
    units = money.break_even_units
    return Cell(math.nan, "never", source) if units is None else Cell(float(units), "", source)
