"""The design's money as figures of the ledger: exact, at an end of a range, or drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.physics.economics.bill import Line, PriceBreak, bill_cost_drawn, bill_lines
from trivet.physics.economics.cost import ONE, ZERO, Channel, UnitCosts, UnitLedger, unit_lines
from trivet.physics.economics.ledger import MonthPlan, monthly_flows, shipments
from trivet.records.business import BillLine, Costs
from trivet.records.business_result import BatteryLife
from trivet.records.design import Design
from trivet.records.figures import Figure, Money
from trivet.records.prediction import Budget


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


def exact(share: float) -> Decimal:
    """Return a fraction as the decimal that was written: 12 digits undo the division by 100."""
    return Decimal(f"{float(share):.12g}")


def amount(money: Money | None) -> Decimal:
    """Return an amount, nothing where there is none."""
    return ZERO if money is None else money.amount


def extra_returns(costs: Costs, *, life: BatteryLife | None, budgets: Sequence[Budget]) -> Decimal:
    """Return the share of units returned for short life and for pans that are not measured.

    Parameters
    ----------
    costs : Costs
        What each fault costs in returns.
    life : BatteryLife or None
        Share of users who get the life that is claimed.
    budgets : sequence of Budget
        Which of them are measurable.

    Returns
    -------
    Decimal
        Share of net revenue. Both move when another sensor is chosen.
    """
    short = ZERO
    if life is not None and life.claim_met_frac == life.claim_met_frac:
        short = exact(round(1.0 - life.claim_met_frac, 6))
    blind = ZERO
    if budgets:
        blind = exact(round(sum(not one.measurable for one in budgets) / len(budgets), 6))
    return short * exact(costs.returns_short_life_frac) + blind * exact(costs.returns_blind_frac)


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


def bill_of(design: Design) -> tuple[Line, ...]:
    """Return the bill of materials, the sensor at the share of its card's board price.

    Parameters
    ----------
    design : Design
        Bill and heads; ``unit_cost`` alone is a bill of one line.

    Returns
    -------
    tuple of Line
        For the kernels.

    Raises
    ------
    InputError
        If there is neither a bill nor a unit cost, or a line has no price.
    """
    costs = design.costs
    if not costs.bill:
        if costs.unit_cost is None:
            raise InputError("costs: neither 'unit_cost' nor a [[costs.bill]]; give one")
        return (Line("goods", costs.unit_cost.amount), *_calibration(design))
    lines = tuple(line for one in costs.bill for line in _lines(design, one))
    return (*lines, *_calibration(design))


def _calibration(design: Design) -> tuple[Line, ...]:
    """Return the end of the line as a line of the bill; its scrap is counted in the yield."""
    rules = design.end_of_line
    return () if rules is None else (Line("calibration at the end of the line", rules.cost.amount),)


def _lines(design: Design, one: BillLine) -> tuple[Line, ...]:
    breaks = tuple(PriceBreak(two.at_least, two.at_most, two.price.amount) for two in one.breaks)
    if one.price is not None:
        pieces = one.pieces * (len(design.heads) if one.sensor else 1)
        return (Line(one.name, one.price.amount, pieces, breaks),)
    if not one.sensor:
        raise InputError(f"costs.bill: line {one.name!r} has no price, and is not the sensor")
    rows = []
    for head in design.heads:
        card = design.card(head)
        if card.board_price is None:
            raise InputError(
                f"costs.bill: line {one.name!r} has no price, and card {card.name!r} states none"
            )
        price = card.board_price.amount * exact(one.board_share_frac)
        rows.append(Line(f"{one.name} {head.name}", price, one.pieces, breaks))
    return tuple(rows)


def made_cost(design: Design) -> str:
    """Return what a unit has cost when it comes to the end of the line, exact text.

    Parameters
    ----------
    design : Design
        Bill and declared yield; the calibration itself is not in it.

    Returns
    -------
    str
        Goods of a full order over the declared yield, before duty and freight.

    Raises
    ------
    InputError
        If there is neither a bill nor a unit cost, or a line has no price.
    """
    lines = bill_of(design.model_copy(update={"end_of_line": None}))
    goods = sum((one for _, one in bill_lines(lines, order_units=full_order(design.costs))), ZERO)
    return f"{goods / exact(design.costs.yield_frac):f}"


def sensor_cost(design: Design) -> Decimal | None:
    """Return what the sensors of one unit cost at a full order; None where no line is one."""
    marked = tuple(one for one in design.costs.bill if one.sensor)
    if not marked:
        return None
    lines = tuple(line for one in marked for line in _lines(design, one))
    order = full_order(design.costs)
    return sum((cost for _, cost in bill_lines(lines, order_units=order)), ZERO)


def full_order(costs: Costs) -> int:
    """Return the units of an order at full capacity."""
    return max(_whole(exact(costs.units_per_month)), costs.minimum_order, 1)


def _whole(value: Decimal) -> int:
    return int(value.quantize(ONE, ROUND_HALF_UP))


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
        return _whole(a_month * share)
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
