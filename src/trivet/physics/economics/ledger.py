"""The monthly ledger: what is paid and received when, line by line.

The arithmetic is written once, for exact decimals and for arrays of draws.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from trivet.arrays import IntArray
from trivet.errors import InputError, OutOfRangeError

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

    References
    ----------
    Stock balance.
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
    _checked(plan)
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


def _checked(plan: MonthPlan) -> None:
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

    References
    ----------
    A sum.
    """
    return tuple(sum(column[1:], column[0]) for column in zip(*flows.values(), strict=True))
