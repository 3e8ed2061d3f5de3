"""The design's money as figures of the ledger: exact, at an end of a range, or drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.bill import amount, exact, full_order, whole_units
from trivet.physics.economics.cost import ONE, ZERO, Channel, UnitCosts, UnitLedger, unit_lines
from trivet.physics.economics.ledger import (
    Line,
    MonthPlan,
    bill_cost_drawn,
    bill_lines,
    monthly_flows,
    shipments,
)
from trivet.records.business import Costs
from trivet.records.figures import Figure


@dataclass(frozen=True, eq=False)
class Figures:
    """What can vary; decimals, or (draw,) floats in every one."""

    price: Any
    channel: Any
    goods_factor: Any
    yield_frac: Any
    duty: Any
    warranty: Any
    returns: Any
    units_per_month: Any
    outlay_factor: Any


@dataclass(frozen=True, eq=False)
class Ledger:
    """One unit, its flows month by month, and what it rests on."""

    unit: UnitLedger
    cloud: Any
    """Cloud cost of one unit over its use. [money]"""
    flows: dict[str, list[Any]]

    @property
    def contribution(self) -> Any:
        """What one unit leaves, cloud paid. [money]"""
        return self.unit.contribution - self.cloud


def nominal_figures(costs: Costs, *, returned: Decimal, passed: Decimal = ONE) -> Figures:
    """Return the exact figures; ``returned`` comes on top of the declared returns.

    ``passed`` is the share of units that the end of the line lets pass; the yield of
    the ledger is the declared one times that.
    """
    if costs.channel_kind == "amount":
        channel = amount(costs.channel_amount)
    else:
        channel = exact(costs.channel_frac)
    return Figures(
        price=costs.price.amount,
        channel=channel,
        goods_factor=ONE,
        yield_frac=exact(costs.yield_frac) * passed,
        duty=exact(costs.duty_frac),
        warranty=exact(costs.warranty_frac),
        returns=min(exact(costs.returns_frac) + returned, ONE),
        units_per_month=exact(costs.units_per_month),
        outlay_factor=ONE,
    )


def ranges(costs: Costs, *, nominal: Figures) -> dict[str, tuple[str, Decimal, Decimal]]:
    """Return for each figure with a range its words and both ends."""
    returned = nominal.returns - exact(costs.returns_frac)
    passed = nominal.yield_frac / exact(costs.yield_frac)
    rows: dict[str, tuple[str, Decimal, Decimal]] = {}

    def ranged(
        field: str, words: str, figure: Figure, *, shift: Decimal = ZERO, scale: Decimal = ONE
    ) -> None:
        if figure.low is not None and figure.high is not None and figure.low < figure.high:
            low, high = (exact(end) * scale + shift for end in (figure.low, figure.high))
            rows[field] = (words, low, high)

    def spread(field: str, words: str, half: Figure) -> None:
        if half > 0.0:
            value = getattr(nominal, field)
            rows[field] = (words, value * (ONE - exact(half)), value * (ONE + exact(half)))

    spread("price", "list price", costs.price_spread_frac)
    if costs.channel_kind != "amount":
        ranged("channel", f"channel {costs.channel_kind}", costs.channel_frac)
    spread("goods_factor", "cost of goods", costs.goods_spread_frac)
    ranged("yield_frac", "yield", costs.yield_frac, scale=passed)
    ranged("duty", "duty", costs.duty_frac)
    ranged("warranty", "warranty", costs.warranty_frac)
    ranged("returns", "returns", costs.returns_frac, shift=returned)
    ranged("units_per_month", "units a month", costs.units_per_month)
    spread("outlay_factor", "outlays and team", costs.fixed_spread_frac)
    return rows


def drawn_figures(
    costs: Costs, *, nominal: Figures, generator: np.random.Generator, draws: int
) -> Figures:
    """Return (draw,) figures, triangular in their ranges; failures vary by chance too."""
    moved = ranges(costs, nominal=nominal)
    columns: dict[str, FloatArray] = {}
    for field, value in vars(nominal).items():
        column = np.full(draws, float(value))
        if field in moved:
            _, low, high = moved[field]
            ends = float(low), float(np.clip(float(value), float(low), float(high))), float(high)
            column = generator.triangular(*ends, draws)
        columns[field] = column
    rate = columns["warranty"]
    sold = np.maximum(columns["units_per_month"] * costs.months, 1.0)
    chance = generator.standard_normal(draws) * np.sqrt(rate * (1.0 - rate) / sold)
    columns["warranty"] = np.clip(rate + chance, 0.0, 1.0)
    columns["returns"] = np.clip(columns["returns"], 0.0, 1.0)
    return Figures(**columns)


def _sold(costs: Costs, figures: Figures) -> tuple[Any, ...]:
    """Return units sold in each month, nothing before the launch."""
    rows: list[Any] = [0 * _units(figures.units_per_month, ONE)] * costs.launch_month
    for month in range(costs.months):
        year = month // 12
        share = exact(costs.ramp[year]) if year < len(costs.ramp) else ONE
        rows.append(_units(figures.units_per_month, share))
    return tuple(rows)


def _units(a_month: Any, share: Decimal) -> Any:
    if isinstance(a_month, Decimal):
        return whole_units(a_month * share)
    return np.floor(a_month * float(share) + 0.5).astype(np.int64)


def ledger_of(costs: Costs, *, lines: Sequence[Line], figures: Figures) -> Ledger:
    """Return unit and flows for exact or drawn figures, by one arithmetic.

    Parameters
    ----------
    costs : Costs
        Terms of payment and outlays.
    lines : sequence of Line
        The bill.
    figures : Figures
        Decimals, or (draw,) floats.

    Returns
    -------
    Ledger
        Of the same kind of numbers.

    Notes
    -----
    A unit's goods are those of an order at full capacity; each order is paid at the
    price of its own size. Units left over from the last order are not sold.
    """
    decimal = isinstance(figures.price, Decimal)

    def kind(value: Decimal) -> Any:
        return value if decimal else float(value)

    def goods_at(units: Any) -> Any:
        if decimal:
            return sum((one for _, one in bill_lines(lines, order_units=max(int(units), 1))), ZERO)
        return bill_cost_drawn(lines, order_units=np.maximum(units, 1))

    factor = figures.goods_factor / figures.yield_frac
    sold = _sold(costs, figures)
    shipped = shipments(sold, minimum=costs.minimum_order)
    shipped_units = tuple(int(one) for one in shipped) if decimal else shipped
    goods = goods_at(
        full_order(costs) if decimal else np.full(figures.price.shape, full_order(costs))
    )
    unit: UnitLedger = unit_lines(
        UnitCosts(
            price=figures.price,
            goods=goods * factor,
            channel=Channel(costs.channel_kind, figures.channel),
            duty_frac=figures.duty,
            freight=kind(costs.freight.amount),
            warranty_frac=figures.warranty,
            returns_frac=figures.returns,
            support=kind(costs.support.amount),
        )
    )
    outlays = (("fixed", costs.fixed), ("tooling", costs.tooling), ("cert", costs.certification))
    plan = MonthPlan(
        sold=sold,
        shipped=shipped_units,
        goods=tuple(goods_at(one) * factor for one in shipped_units),
        one_off=tuple((0, kind(amount(one)) * figures.outlay_factor) for _, one in outlays if one),
        team_month=kind(amount(costs.team_month)) * figures.outlay_factor,
        team_months=costs.launch_month + costs.months if costs.team_month else 0,
        cloud_month=kind(amount(costs.cloud_month)),
        cloud_months=costs.cloud_months if costs.cloud_month else 0,
        deposit=kind(exact(costs.deposit_frac)),
        order_months=costs.order_months,
        receivable_months=costs.receivable_months,
    )
    cloud = plan.cloud_month * plan.cloud_months
    return Ledger(unit, cloud, monthly_flows(unit, plan=plan))


def at_end(figures: Figures, *, field: str, value: Decimal) -> Figures:
    """Return the exact figures with one moved."""
    return replace(figures, **{field: value})
