"""Unit economics in exact decimals."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

from trivet.errors import InputError
from trivet.kernels.cost import (
    CENT,
    ONE,
    ZERO,
    Channel,
    SalesPlan,
    UnitCosts,
    break_even_units,
    cash_ledger,
    to_cents,
    unit_ledger,
)
from trivet.records.business import Costs
from trivet.records.design import Design
from trivet.records.prediction import Economics

WORST_RATE = -0.95


def economics(design: Design) -> Economics:
    """Return what a unit earns and what the cash does, month by month.

    Parameters
    ----------
    design : Design
        Its costs.

    Returns
    -------
    Economics
        Exact amounts as text; the present value alone is rounded, to the cent.

    Raises
    ------
    InputError
        If the amounts are in more than one currency.

    Notes
    -----
    The fixed cost falls in month 0, sales begin in month 1 and are paid at once:
    sixty days of receivables would deepen the trough by two months of net revenue.
    Rates a year are (1 + monthly)^12 - 1; more than one means that none tells the story.

    References
    ----------
    :mod:`trivet.kernels.cost`.
    """
    costs = design.costs
    currency = _currency(costs)
    unit = UnitCosts(
        price=costs.price.amount,
        goods=costs.unit_cost.amount,
        channel=Channel("margin", _exact(costs.channel_frac)),
        duty_frac=_exact(costs.duty_frac),
        freight=costs.freight.amount,
        warranty_frac=_exact(costs.warranty_frac),
        returns_frac=_exact(costs.returns_frac),
        support=costs.support.amount,
    )
    one = unit_ledger(unit)
    fixed = costs.fixed.amount
    monthly = int(Decimal(str(float(costs.units_per_month))).quantize(ONE, ROUND_HALF_UP))
    cash = cash_ledger(
        unit,
        plan=SalesPlan(
            units=(0, *[monthly] * costs.months),
            fixed=((0, fixed),),
            annual_rate=_exact(costs.discount_rate_frac),
        ),
    )
    units = break_even_units(fixed, contribution=one.contribution)
    rates = cash.internal.rates if cash.internal is not None else ()
    month = next((m for m, total in enumerate(cash.cumulative) if m > 0 and total >= ZERO), None)
    return Economics(
        currency=currency,
        net_revenue=_text(one.net),
        landed_cost=_text(one.landed),
        contribution=_text(one.contribution),
        contribution_frac=float(one.contribution / one.net) if one.net > ZERO else float("nan"),
        break_even_units=None if units == "never" else units,
        break_even_month=month if one.contribution > ZERO else None,
        cash_trough=_text(cash.trough),
        trough_month=cash.trough_month,
        npv=_text(to_cents(cash.npv)),
        irr_per_year=tuple((1.0 + rate) ** 12 - 1.0 for rate in rates if rate > WORST_RATE),
        payback_months=None if cash.payback_months == "never" else cash.payback_months,
        monthly_cash=tuple(_text(total) for total in cash.cumulative),
    )


def _currency(costs: Costs) -> str:
    amounts = {
        "price": costs.price,
        "unit_cost": costs.unit_cost,
        "freight": costs.freight,
        "support": costs.support,
        "fixed": costs.fixed,
    }
    currency = costs.price.currency
    other = [f"{key} = {one}" for key, one in amounts.items() if one.currency != currency]
    if other:
        raise InputError(
            f"costs: price is in {currency} but {', '.join(other)}; give all in one currency"
        )
    return currency


def _exact(share: float) -> Decimal:
    """Return a fraction as the decimal that was written: 12 digits undo the division by 100."""
    return Decimal(f"{float(share):.12g}")


def _text(amount: Decimal) -> str:
    """Return an exact amount with at least two decimals and no trailing zeros beyond."""
    cents = amount.quantize(CENT) if amount == to_cents(amount) else amount.normalize()
    return f"{cents:f}"
