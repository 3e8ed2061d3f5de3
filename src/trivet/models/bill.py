"""The bill of materials that a design implies, and the returns that its faults cost."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

from trivet.errors import InputError
from trivet.physics.economics.cost import ONE, ZERO
from trivet.physics.economics.ledger import Line, PriceBreak, bill_lines
from trivet.records.business import BillLine, Costs
from trivet.records.business_result import BatteryLife
from trivet.records.design import Design
from trivet.records.figures import Money
from trivet.records.prediction import Budget


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
    return max(whole_units(exact(costs.units_per_month)), costs.minimum_order, 1)


def whole_units(value: Decimal) -> int:
    """Return a number of units rounded to whole ones, halves up."""
    return int(value.quantize(ONE, ROUND_HALF_UP))
