"""Unit economics: one unit's ledger, break-even, and the monthly cash ledger.

Money is exact: ``Decimal`` throughout, rounded to the cent only when shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Literal

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.economics.cashflow import (
    InternalRates,
    internal_rates,
    net_present_value,
    payback_periods,
)

Never = Literal["never"]
ChannelKind = Literal["margin", "markup", "amount"]
ZERO, ONE, CENT = Decimal(0), Decimal(1), Decimal("0.01")  # a cent: the least amount that is shown


def to_cents(amount: Decimal) -> Decimal:
    """Return an amount rounded to the cent, halves away from zero.

    Parameters
    ----------
    amount : Decimal
        Exact amount. [money]

    Returns
    -------
    Decimal
        Rounded amount, for showing only. [money]

    Raises
    ------
    decimal.InvalidOperation
        If the amount is not finite.

    Notes
    -----
    Rounding before summing 1,000 lines can be off by 5.00: sum first.

    References
    ----------
    Commercial rounding, common practice.
    """
    return amount.quantize(CENT, rounding=ROUND_HALF_UP)


@dataclass(frozen=True)
class Channel:
    """What the channel keeps: a margin of the price, a markup on what we get, or an amount."""

    kind: ChannelKind = "margin"
    value: Decimal = ZERO


@dataclass(frozen=True)
class UnitCosts:
    """Price and costs of one unit; shares as fractions, money in one currency.

    ``warranty_frac`` of units are replaced at landed cost; ``returns_frac`` of
    the net revenue is refunded; ``support`` is money a unit.
    """

    price: Decimal
    goods: Decimal
    channel: Channel = field(default_factory=Channel)
    duty_frac: Decimal = ZERO
    freight: Decimal = ZERO
    warranty_frac: Decimal = ZERO
    returns_frac: Decimal = ZERO
    support: Decimal = ZERO


@dataclass(frozen=True)
class UnitLedger:
    """One unit, line by line, exact. [money]"""

    price: Decimal
    channel: Decimal
    net: Decimal
    goods: Decimal
    duty: Decimal
    landed: Decimal
    warranty: Decimal
    returns: Decimal
    support: Decimal
    contribution: Decimal


@dataclass(frozen=True)
class CashLedger:
    """Monthly cash, its trough, and what it is worth; month 0 is the first of cash."""

    cash: tuple[Decimal, ...]
    cumulative: tuple[Decimal, ...]
    trough: Decimal
    trough_month: int
    npv: Decimal
    internal: InternalRates | None
    payback_months: float | Never


def unit_ledger(costs: UnitCosts) -> UnitLedger:
    """Return what one unit earns, line by line.

    Parameters
    ----------
    costs : UnitCosts
        Price, goods, channel and shares.

    Returns
    -------
    UnitLedger
        Net, landed, warranty, returns, support and contribution. [money]

    Raises
    ------
    OutOfRangeError
        If a share is outside 0 to 1 or an amount negative.

    Notes
    -----
    A margin of 35 % and a markup of 35 % differ by 9 % of the price: 149.00
    leaves 96.85 or 110.37. Duty is on the goods, not on the freight.

    References
    ----------
    Contribution = net - landed - landed x warranty - net x returns - support,
    common practice.
    """
    _checked_costs(costs)
    ledger: UnitLedger = unit_lines(costs)
    return ledger


def unit_lines(costs: Any) -> Any:
    """Return a unit's ledger without checks, for decimals or arrays of draws alike.

    Parameters
    ----------
    costs : UnitCosts
        Decimals, or (draw,) floats in every field that is drawn.

    Returns
    -------
    UnitLedger
        Of the same kind of numbers. [money]

    Notes
    -----
    One arithmetic for both, so that draws and the exact ledger cannot drift apart;
    mixing decimals and floats is refused by Python itself.
    """
    channel, value = costs.channel, costs.channel.value
    if channel.kind == "margin":
        net = costs.price * (1 - value)
    elif channel.kind == "markup":
        net = costs.price / (1 + value)
    else:
        net = costs.price - value
    duty = costs.goods * costs.duty_frac
    landed = costs.goods + duty + costs.freight
    warranty, returns = landed * costs.warranty_frac, net * costs.returns_frac
    return UnitLedger(
        price=costs.price,
        channel=costs.price - net,
        net=net,
        goods=costs.goods,
        duty=duty,
        landed=landed,
        warranty=warranty,
        returns=returns,
        support=costs.support,
        contribution=net - landed - warranty - returns - costs.support,
    )


def _checked_costs(costs: UnitCosts) -> None:
    if costs.channel.kind not in ("margin", "markup", "amount"):
        raise InputError(f"channel kind {costs.channel.kind!r}: allowed margin, markup, amount")
    shares = {
        "duty_frac": costs.duty_frac,
        "warranty_frac": costs.warranty_frac,
        "returns_frac": costs.returns_frac,
    }
    if costs.channel.kind == "margin":
        shares["channel margin"] = costs.channel.value
    for name, share in shares.items():
        if not ZERO <= share <= ONE:
            raise OutOfRangeError(f"{name} is {share}: allowed 0 to 1 (a fraction, not percent)")
    for name in ("price", "goods", "freight", "support"):
        if getattr(costs, name) < ZERO:
            raise OutOfRangeError(f"{name} is {getattr(costs, name)}: allowed 0 or more")
    if costs.channel.value < ZERO:
        raise OutOfRangeError(f"channel {costs.channel.kind} is {costs.channel.value}: negative")


def break_even_units(fixed: Decimal, *, contribution: Decimal) -> int | Never:
    """Return the units whose contribution repays the fixed cost, or "never".

    Parameters
    ----------
    fixed : Decimal
        Tooling, certification, rigs, team. [money]
    contribution : Decimal
        What one unit leaves. [money]

    Returns
    -------
    int or "never"
        Whole units, rounded up; "never" when a unit leaves nothing.

    Raises
    ------
    OutOfRangeError
        If the fixed cost is negative.

    Notes
    -----
    Ignores timing: the cash trough of :func:`closed_ledger` may be deeper than
    the fixed cost. 310,000 at 43.80 a unit is 7,078 units, at 43.00 7,210.

    References
    ----------
    F / (p - v), textbook form.
    """
    if fixed < ZERO:
        raise OutOfRangeError(f"fixed is {fixed}: allowed 0 or more")
    if contribution <= ZERO:
        return "never"
    return math.ceil(fixed / contribution)


def closed_ledger(cash: tuple[Decimal, ...], *, annual_rate: Decimal) -> CashLedger:
    """Return what monthly cash adds up to and what it is worth.

    Parameters
    ----------
    cash : (month,)
        In and out in each month. [money]
    annual_rate : Decimal
        Discount rate a year, above -1.

    Returns
    -------
    CashLedger
        Sums, trough, present value, rates, payback.

    Notes
    -----
    The trough is that of the cash at the ends of months; within a month it may lie
    deeper by a month's goods.

    References
    ----------
    Discounting by (1 + rate)^(month/12).
    """
    total, cumulative = ZERO, []
    for amount in cash:
        total += amount
        cumulative.append(total)
    trough = min(cumulative)
    monthly = (ONE + annual_rate) ** (ONE / 12) - ONE
    mixed = any(a > ZERO for a in cash) and any(a < ZERO for a in cash)
    payback = payback_periods(cash)
    return CashLedger(
        cash=cash,
        cumulative=tuple(cumulative),
        trough=min(trough, ZERO),
        trough_month=cumulative.index(trough),
        npv=net_present_value(cash, rate=monthly),
        internal=internal_rates(cash) if mixed else None,
        payback_months="never" if payback is None else payback,
    )
