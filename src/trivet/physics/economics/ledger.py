"""The bill of materials by size of an order, and what is paid and received month by month.

The arithmetic of the ledger is written once, for exact decimals and for arrays of draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Any

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.errors import InputError, OutOfRangeError


@dataclass(frozen=True)
class PriceBreak:
    """A price of one piece for orders from ``at_least`` to ``at_most`` units (None: no end)."""

    at_least: int
    at_most: int | None
    price: Decimal

    def holds(self, units: int) -> bool:
        """Return whether an order of that size gets the price."""
        return units >= self.at_least and (self.at_most is None or units <= self.at_most)


@dataclass(frozen=True)
class Line:
    """One line: price of a piece outside all breaks, pieces in a unit, breaks."""

    name: str
    price: Decimal
    pieces: int = 1
    breaks: tuple[PriceBreak, ...] = ()


def overlap(breaks: Sequence[PriceBreak]) -> tuple[PriceBreak, PriceBreak] | None:
    """Return two breaks that hold for one size of an order, or None.

    Parameters
    ----------
    breaks : sequence of PriceBreak
        In any order.

    Returns
    -------
    tuple of PriceBreak or None
        The first such pair, by size. A break without an end ends where the next begins.

    Raises
    ------
    OutOfRangeError
        If a break ends before it begins.

    Notes
    -----
    Exact, on whole units. Two breaks from the same size overlap whatever their ends.
    """
    ordered = sorted(breaks, key=lambda one: one.at_least)
    for one in ordered:
        if one.at_most is not None and one.at_most < one.at_least:
            raise OutOfRangeError(
                f"a volume break from {one.at_least} to {one.at_most} ends before it begins"
            )
    for one, two in pairwise(ordered):
        closed = one.at_most is not None and two.at_least <= one.at_most
        if closed or two.at_least == one.at_least:
            return one, two
    return None


def _price(line: Line, units: int) -> Decimal:
    chosen = [one for one in line.breaks if one.holds(units)]
    return max(chosen, key=lambda one: one.at_least).price if chosen else line.price


def _checked(lines: Sequence[Line]) -> None:
    if not lines:
        raise InputError("the bill of materials is empty")
    for line in lines:
        if line.pieces < 1 or line.price < 0:
            raise OutOfRangeError(
                f"bill line {line.name}: {line.pieces} pieces at {line.price}; "
                "allowed 1 or more at 0 or more"
            )
        pair = overlap(line.breaks)
        if pair is not None:
            raise InputError(
                f"bill line {line.name}: the volume breaks from {pair[0].at_least} and from "
                f"{pair[1].at_least} overlap; an order of {pair[1].at_least} would have two prices"
            )


def bill_lines(lines: Sequence[Line], *, order_units: int) -> tuple[tuple[str, Decimal], ...]:
    """Return what each line costs in one unit, at the size of an order.

    Parameters
    ----------
    lines : sequence of Line
        The bill.
    order_units : int
        Units in the order. [-]

    Returns
    -------
    tuple of (str, Decimal)
        Name and cost of each line in one unit, exact. [money]

    Raises
    ------
    InputError
        If the bill is empty or two breaks of a line overlap.
    OutOfRangeError
        If a price or a number of pieces is impossible.

    Notes
    -----
    The whole order has the price of its size, not only the units above the break.

    References
    ----------
    Common practice of distributors, no source.
    """
    _checked(lines)
    return tuple((line.name, _price(line, order_units) * line.pieces) for line in lines)


def bill_cost_drawn(lines: Sequence[Line], *, order_units: FloatArray) -> FloatArray:
    """Return the cost of one unit for many sizes of orders at once.

    Parameters
    ----------
    lines : sequence of Line
        The bill.
    order_units : (...,)
        Units in each order. [-]

    Returns
    -------
    (...,)
        Sum over the lines. [money]

    Raises
    ------
    InputError
        As :func:`bill_lines`.

    Notes
    -----
    Floats: good to 1e-12 of the sum, for draws only.
    """
    _checked(lines)
    units = np.asarray(order_units, dtype=np.float64)
    total = np.zeros_like(units)
    for line in lines:
        price = np.full_like(units, float(line.price))
        for one in sorted(line.breaks, key=lambda entry: entry.at_least):
            end = np.inf if one.at_most is None else float(one.at_most)
            price = np.where((units >= one.at_least) & (units <= end), float(one.price), price)
        total = total + price * line.pieces
    return total


FLOWS = (
    "one-off outlays",
    "team",
    "deposits on goods",
    "balance of goods",
    "duty and freight",
    "warranty",
    "returns",
    "support",
    "cloud",
    "receipts",
)


@dataclass(frozen=True, eq=False)
class MonthPlan:
    """Units and terms on the axis of months; month 0 is the first of outlays.

    Parameters
    ----------
    sold, shipped : tuple
        Units sold and units shipped by the factory in each month; ints, or (draw,).
    goods : tuple
        Cost of goods of one unit shipped in each month; Decimal, or (draw,). [money]
    one_off : tuple of (month, amount)
        Tooling, certification, rigs. [money]
    team_month, cloud_month : amount
        A month; cloud for each unit in use. [money]
    team_months : int
        Months that the team is paid, from month 0.
    cloud_months : int
        Months that a unit uses the cloud, from the month of its sale.
    deposit : amount
        Share of the goods paid at order. [-]
    order_months, receivable_months : int
        Order to shipping; sale to payment.
    """

    sold: tuple[Any, ...]
    shipped: tuple[Any, ...]
    goods: tuple[Any, ...]
    one_off: tuple[tuple[int, Any], ...] = ()
    team_month: Any = 0
    team_months: int = 0
    cloud_month: Any = 0
    cloud_months: int = 0
    deposit: Any = 0
    order_months: int = 0
    receivable_months: int = 0


def shipments(sold: Sequence[IntArray | int], *, minimum: int) -> tuple[IntArray, ...]:
    """Return the units shipped in each month so that none is missing.

    Parameters
    ----------
    sold : sequence of int or (draw,)
        Units sold in each month.
    minimum : int
        Least units that an order holds; 0 for none.

    Returns
    -------
    tuple of int arrays
        Units shipped in each month, in the shape of ``sold``.

    Raises
    ------
    OutOfRangeError
        If a number of units or the minimum is negative.

    Notes
    -----
    Shipped in the month of sale; what an order holds beyond need lies in stock. With
    100 a month and 250 at least: 250 in months 0, 2, 5 and 7 of the first eight, and
    200 lie over after them.
    """
    if minimum < 0 or any(np.any(np.asarray(one) < 0) for one in sold):
        raise OutOfRangeError("units sold and the minimum order: allowed 0 or more")
    stock = np.zeros_like(np.asarray(sold[0], dtype=np.int64)) if sold else np.zeros(0, np.int64)
    rows = []
    for one in sold:
        missing = np.maximum(np.asarray(one, dtype=np.int64) - stock, 0)
        order = np.where(missing > 0, np.maximum(missing, minimum), 0)
        stock = stock + order - one
        rows.append(np.asarray(order, dtype=np.int64))
    return tuple(rows)


def monthly_flows(unit: Any, *, plan: MonthPlan) -> dict[str, list[Any]]:
    """Return each kind of flow month by month, out negative.

    Parameters
    ----------
    unit : UnitLedger
        One unit: net, duty and landed beyond goods, warranty, returns, support.
    plan : MonthPlan
        Units and terms.

    Returns
    -------
    dict of str to list
        Kind of flow, as in ``FLOWS``, and its amount in each month. [money]

    Raises
    ------
    InputError
        If no month is planned or the tuples differ in length.
    OutOfRangeError
        If the first goods would have to be ordered before month 0, or a deposit is
        outside 0 to 1.

    Notes
    -----
    Deposit at order, balance with duty and freight at shipping, warranty, returns and
    support in the month of sale, receipts after the receivable term. 1,000 units a
    month at 96.85 and 60 days deepen the trough by up to 193,700; a minimum order of
    5,000 at 41.00 by 164,000.

    References
    ----------
    Cash ledger, common practice.
    """
    _checked_plan(plan)
    months = len(plan.sold)
    tail = max(plan.receivable_months, plan.cloud_months - 1, 0)
    zero = plan.goods[0] * 0
    flows = {name: [zero] * (months + tail) for name in FLOWS}
    beyond = unit.landed - unit.goods

    def put(name: str, month: int, amount: Any) -> None:
        flows[name][month] = flows[name][month] + amount  # never in place: draws share zeros

    for month, (sold, shipped, goods) in enumerate(
        zip(plan.sold, plan.shipped, plan.goods, strict=True)
    ):
        if np.any(np.asarray(shipped) > 0):
            ordered = shipped * goods
            put("deposits on goods", month - plan.order_months, -ordered * plan.deposit)
            put("balance of goods", month, -ordered * (1 - plan.deposit))
            put("duty and freight", month, -shipped * beyond)
        for name in ("warranty", "returns", "support"):
            put(name, month, -sold * getattr(unit, name))
        put("receipts", month + plan.receivable_months, sold * unit.net)
        for later in range(month, month + plan.cloud_months):
            put("cloud", later, -sold * plan.cloud_month)
    for month in range(min(plan.team_months, months + tail)):
        put("team", month, -plan.team_month)
    for month, amount in plan.one_off:
        put("one-off outlays", month, -amount)
    return flows


def _checked_plan(plan: MonthPlan) -> None:
    if not plan.sold or not len(plan.sold) == len(plan.shipped) == len(plan.goods):
        raise InputError("the ledger plans no month, or units and goods for different months")
    if not np.all((np.asarray(plan.deposit, dtype=float) >= 0) & (np.asarray(plan.deposit) <= 1)):
        raise OutOfRangeError(f"deposit is {plan.deposit}: allowed 0 to 1")
    counts = (plan.order_months, plan.receivable_months, plan.cloud_months, plan.team_months)
    if min(counts) < 0:
        raise OutOfRangeError("months of order, receivable, cloud and team: allowed 0 or more")
    first = next((m for m, one in enumerate(plan.shipped) if np.any(np.asarray(one) > 0)), None)
    if first is not None and first < plan.order_months:
        raise OutOfRangeError(
            f"goods shipped in month {first} would be ordered {plan.order_months - first} months "
            "before month 0; launch later or order nearer"
        )


def monthly_cash(flows: dict[str, list[Any]]) -> tuple[Any, ...]:
    """Return the cash of each month.

    Parameters
    ----------
    flows : dict
        Of :func:`monthly_flows`.

    Returns
    -------
    tuple
        Sum of all flows in each month. [money]

    Notes
    -----
    Exact for decimals.
    """
    return tuple(sum(column[1:], column[0]) for column in zip(*flows.values(), strict=True))
