"""What a unit earns and what the cash does, in exact decimals, and how firmly that stands."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from trivet.errors import InputError
from trivet.models.bill import amount, bill_of, exact, extra_returns, full_order
from trivet.physics.economics.cost import (
    CENT,
    ZERO,
    CashLedger,
    Channel,
    UnitCosts,
    break_even_units,
    closed_ledger,
    to_cents,
    unit_ledger,
)
from trivet.physics.economics.ledger import FLOWS, Line, bill_lines, monthly_cash
from trivet.records.business import Costs
from trivet.records.business_result import BatteryLife, BurnerCost, Economics, TornadoBar
from trivet.records.design import Design
from trivet.records.figures import Money
from trivet.records.prediction import Budget
from trivet.stages.predict.moneyfigures import (
    Figures,
    Ledger,
    at_end,
    drawn_figures,
    ledger_of,
    nominal_figures,
    ranges,
)

WORST_RATE = -0.95  # own estimate: a loss of 95 % a month is a root of the polynomial, no rate
MONEY_DRAWS = 2000  # own estimate: the probability of a loss is good to 2 points
YEAR_S = Decimal("365.25") * 86_400  # the Julian year
MILLIONTH = Decimal("0.000001")  # own estimate: six decimals show any price of a part


@dataclass(frozen=True)
class _Spread:
    """Present value over the draws."""

    loss_frac: float
    p10: float
    p50: float
    p90: float
    draws: int


def economics(
    design: Design,
    *,
    life: BatteryLife | None = None,
    budgets: Sequence[Budget] = (),
    passed_frac: float = 1.0,
    generator: np.random.Generator | None = None,
) -> Economics:
    """Return what a unit earns, what the cash does month by month, and how firmly that stands.

    Parameters
    ----------
    design : Design
        Its costs, sensor cards, alternatives.
    life : BatteryLife, optional
        Users who do not get the claimed life return units, where the design says so.
    budgets : sequence of Budget
        What is not measurable returns units, where the design says so.
    passed_frac : float
        Share of units that the end of the line lets pass; the yield falls with it. [-]
    generator : numpy.random.Generator, optional
        Source of randomness; no draws without one.

    Returns
    -------
    Economics
        Amounts as text, exact to the sixth decimal; present values to the cent.

    Raises
    ------
    InputError
        If the amounts are in more than one currency, nothing says what the goods cost, or
        no unit passes the end of the line.
    OutOfRangeError
        If goods would have to be ordered before month 0.

    Notes
    -----
    One-off outlays fall in month 0 and the team is paid from then on; deposits at
    order, balances at shipping, receipts after the receivable term. The tornado moves
    one figure at a time to its ends; the draws move all, triangular in their ranges,
    and let failures under warranty vary by chance: 2,000 give P(loss) to 2 points.
    Rates a year are (1 + monthly)^12 - 1; more than one means that none tells the story.

    References
    ----------
    :mod:`trivet.physics.economics.ledger`.
    """
    costs = design.costs
    currency = _currency(design)
    lines = bill_of(design)
    returned = extra_returns(costs, life=life, budgets=budgets)
    if not passed_frac > 0.0:
        raise InputError(
            "end_of_line.reject_limit: no unit passes the end of the line, so that none can be"
            " sold; raise the limit or lower how far units differ"
        )
    figures = nominal_figures(costs, returned=returned, passed=exact(passed_frac))
    _checked(costs, figures)
    ledger = ledger_of(costs, lines=lines, figures=figures)
    cash = closed_ledger(monthly_cash(ledger.flows), annual_rate=exact(costs.discount_rate_frac))
    net, contribution = ledger.unit.net, ledger.contribution
    fixed = _fixed(costs)
    units = break_even_units(fixed, contribution=contribution)
    rates = cash.internal.rates if cash.internal is not None else ()
    month = next((m for m, total in enumerate(cash.cumulative) if m > 0 and total >= ZERO), None)
    spread = _spread(costs, lines, figures, generator)
    return Economics(
        currency=currency,
        net_revenue=_text(net),
        landed_cost=_text(ledger.unit.landed),
        contribution=_text(contribution),
        contribution_frac=float(contribution / net) if net > ZERO else float("nan"),
        break_even_units=None if units == "never" else units,
        break_even_month=month if contribution > ZERO else None,
        cash_trough=_text(cash.trough),
        trough_month=cash.trough_month,
        npv=_text(to_cents(cash.npv)),
        irr_per_year=tuple((1.0 + rate) ** 12 - 1.0 for rate in rates if rate > WORST_RATE),
        payback_months=None if cash.payback_months == "never" else cash.payback_months,
        monthly_cash=tuple(_text(total) for total in cash.cumulative),
        unit=_unit_rows(costs, ledger),
        bill=tuple(
            (name, _text(cost)) for name, cost in bill_lines(lines, order_units=full_order(costs))
        ),
        fixed=_text(fixed),
        flows=tuple(
            (name, tuple(_text(to_cents(one)) for one in ledger.flows[name]))
            for name in FLOWS
            if any(ledger.flows[name])
        ),
        sign_changes=cash.internal.sign_changes if cash.internal is not None else 0,
        tornado=_tornado(costs, lines, figures),
        loss_frac=spread.loss_frac,
        npv_p10=spread.p10,
        npv_p50=spread.p50,
        npv_p90=spread.p90,
        draws=spread.draws,
        per_burner=_per_burner(design),
        notes=(*_notes(costs, ledger, cash, returned), *_scrap_note(passed_frac)),
    )


def _checked(costs: Costs, figures: Figures) -> None:
    """Refuse impossible shares, with the messages of the unit ledger."""
    unit_ledger(
        UnitCosts(
            price=figures.price,
            goods=ZERO,
            channel=Channel(costs.channel_kind, figures.channel),
            duty_frac=figures.duty,
            freight=costs.freight.amount,
            warranty_frac=figures.warranty,
            returns_frac=figures.returns,
            support=costs.support.amount,
        )
    )


def _fixed(costs: Costs) -> Decimal:
    """Return what must be earned before the first unit earns: outlays, and the team till launch."""
    once = amount(costs.fixed) + amount(costs.tooling) + amount(costs.certification)
    return once + amount(costs.team_month) * costs.launch_month


def _unit_rows(costs: Costs, ledger: Ledger) -> tuple[tuple[str, str], ...]:
    unit = ledger.unit
    rows = [
        ("list price", unit.price),
        (f"channel, {costs.channel_kind}", -unit.channel),
        ("net revenue", unit.net),
        ("goods, yield counted", -unit.goods),
        ("duty", -unit.duty),
        ("freight", -(unit.landed - unit.goods - unit.duty)),
        ("warranty", -unit.warranty),
        ("returns", -unit.returns),
        ("support", -unit.support),
        ("cloud", -ledger.cloud),
        ("contribution", ledger.contribution),
    ]
    return tuple((name, _text(to_cents(value))) for name, value in rows)


# --------------------------------------------------------------- sensitivity
def _npv(costs: Costs, lines: Sequence[Line], figures: Figures) -> Decimal:
    cash = monthly_cash(ledger_of(costs, lines=lines, figures=figures).flows)
    monthly = (1 + exact(costs.discount_rate_frac)) ** (Decimal(1) / 12)
    total = ZERO
    for flow in reversed(cash):
        total = total / monthly + flow
    return total


def _tornado(costs: Costs, lines: Sequence[Line], figures: Figures) -> tuple[TornadoBar, ...]:
    bars = []
    for field, (words, low, high) in ranges(costs, nominal=figures).items():
        ends = [_npv(costs, lines, at_end(figures, field=field, value=end)) for end in (low, high)]
        show = {"price": _text, "units_per_month": _count}.get(field, _share)
        bars.append(
            TornadoBar(
                figure=words,
                low=show(low),
                high=show(high),
                npv_low=_text(to_cents(ends[0])),
                npv_high=_text(to_cents(ends[1])),
                swing=abs(float(ends[1] - ends[0])),
            )
        )
    return tuple(sorted(bars, key=lambda one: -one.swing))


def _count(value: Decimal) -> str:
    return f"{value.normalize():f}"


def _share(value: Decimal) -> str:
    return f"{100 * value:.3g} %"


def _spread(
    costs: Costs,
    lines: Sequence[Line],
    figures: Figures,
    generator: np.random.Generator | None,
) -> _Spread:
    nan = math.nan
    if generator is None or not ranges(costs, nominal=figures):
        return _Spread(nan, nan, nan, nan, 0)
    drawn = drawn_figures(costs, nominal=figures, generator=generator, draws=MONEY_DRAWS)
    cash = monthly_cash(ledger_of(costs, lines=lines, figures=drawn).flows)
    monthly = (1.0 + float(costs.discount_rate_frac)) ** (1.0 / 12.0)
    npv = sum(flow / monthly**month for month, flow in enumerate(cash)) + np.zeros(MONEY_DRAWS)
    p10, p50, p90 = (float(one) for one in np.quantile(npv, [0.1, 0.5, 0.9]))
    return _Spread(float(np.mean(npv < 0.0)), p10, p50, p90, MONEY_DRAWS)


# -------------------------------------------------------------- alternatives
def _per_burner(design: Design) -> tuple[BurnerCost, ...]:
    costs = design.costs
    own = (
        design.project.name,
        costs.price.amount,
        amount(costs.yearly),
        len(design.burners),
        float(costs.life_s),
    )
    others = [
        (one.name, one.price.amount, amount(one.yearly), one.burners, float(one.life_s))
        for one in design.alternatives
    ]
    rows = []
    for name, price, yearly, burners, life_s in (own, *others):
        years = exact(life_s) / YEAR_S
        if years <= ZERO:
            raise InputError(f"{name}: a life of 0 years has no cost a year")
        cost = to_cents((price + yearly * years) / (burners * years))
        rows.append(BurnerCost(name, _text(price), burners, float(years), _text(cost)))
    return tuple(rows)


def _notes(costs: Costs, ledger: Ledger, cash: CashLedger, returned: Decimal) -> Iterator[str]:
    kinds = {
        "margin": "The channel keeps a margin: a share of the list price.",
        "markup": "The channel adds a markup to what we get: list price = net x (1 + markup).",
        "amount": "The channel keeps an amount of each unit.",
    }
    yield kinds[costs.channel_kind]
    if ledger.contribution <= ZERO:
        yield "A unit leaves nothing: break-even is never, whatever the volume."
    if cash.internal is not None and cash.internal.ambiguous:
        yield (
            f"The cash turns sign {cash.internal.sign_changes} times: no single rate of return"
            " tells the story; judge by the present value."
        )
    if returned > ZERO:
        yield (
            f"Returns include {100 * returned:.2g} % for short life and pans that are not measured."
        )
    if costs.minimum_order:
        yield f"The factory takes no order under {costs.minimum_order} units; stock is paid first."
    if costs.team_month:
        yield "Break-even units earn the outlays and the team until launch; the ledger pays it on."


def _scrap_note(passed_frac: float) -> tuple[str, ...]:
    if passed_frac >= 1.0:
        return ()
    return (f"The yield counts that {passed_frac:.2%} of units pass the end of the line.",)


def _currency(design: Design) -> str:
    currency = design.costs.price.currency
    other = [f"{key} = {one}" for key, one in _amounts(design) if one.currency != currency]
    if other:
        raise InputError(
            f"costs: price is in {currency} but {', '.join(other)}; give all in one currency"
        )
    return currency


def _amounts(design: Design) -> Iterator[tuple[str, Money]]:
    """Yield every amount that the ledger adds up, with its key."""
    costs = design.costs
    for key in type(costs).model_fields:
        value = getattr(costs, key)
        if isinstance(value, Money):
            yield key, value
    for line in costs.bill:
        if line.price is not None:
            yield f"bill.{line.name}", line.price
        for one in line.breaks:
            yield f"bill.{line.name}.breaks", one.price
        if line.sensor and line.price is None:
            for head in design.heads:
                board = design.card(head).board_price
                if board is not None:
                    yield f"sensors.{head.sensor}.board_price", board
    for other in design.alternatives:
        yield f"alternatives.{other.name}", other.price
        if other.yearly is not None:
            yield f"alternatives.{other.name}.yearly", other.yearly


def _text(value: Decimal) -> str:
    """Return an amount with at least two decimals, exact to the sixth."""
    shown = value.quantize(MILLIONTH)
    cents = shown.quantize(CENT) if shown == to_cents(shown) else shown.normalize()
    return f"{cents:f}"
