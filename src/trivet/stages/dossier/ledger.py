"""Battery and money: days of a charge, shares of energy, a unit's ledger, the cash curve."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation

import numpy as np

from trivet.records.dossier import Chart, Line, Mark, Section, Table
from trivet.records.prediction import Economics, Prediction
from trivet.stages.dossier.words import (
    definition_table,
    money,
    number,
    read_only,
    share,
)


def battery_section(prediction: Prediction) -> Section:
    """Return the days of a charge and what uses them up."""
    life = prediction.battery
    rows = (
        ("Days, one in ten falls short (P10)", number(life.days_p10, 0)),
        ("Days, median (P50)", number(life.days_p50, 0)),
        ("Days, one in ten exceeds (P90)", number(life.days_p90, 0)),
        ("Mean power", f"{number(1000 * life.mean_w, 2)} mW"),
    )
    days = definition_table("Days of a charge", rows, note=life.note)
    table = Table(days.title, days.columns, days.rows, days.note, "predicted")
    chart = Chart(
        "battery",
        "Where the energy goes",
        "Share of the energy by state, at the design's nominal figures.",
        x_label="share of energy",
        bars=tuple((state, float(part), "") for state, part in life.shares),
        evidence="predicted",
    )
    return Section("Battery", (), (table,), (chart,) if life.shares else ())


def money_section(prediction: Prediction) -> Section:
    """Return the ledger of one unit and the cumulative cash."""
    ledger = prediction.economics
    cash = _amounts(ledger)
    charts = (_cash_chart(ledger, cash),) if cash else ()
    return Section("Money", (), (_money_table(ledger),), charts)


def _money_table(ledger: Economics) -> Table:
    currency = ledger.currency
    rates = ", ".join(f"{share(rate)} a year" for rate in ledger.irr_per_year) or "none"
    units, month, payback = (
        ledger.break_even_units,
        ledger.break_even_month,
        ledger.payback_months,
    )
    rows = (
        ("Net revenue a unit", money(ledger.net_revenue, currency)),
        ("Landed cost a unit", money(ledger.landed_cost, currency)),
        ("Contribution a unit", money(ledger.contribution, currency)),
        ("Contribution over net revenue", share(ledger.contribution_frac)),
        ("Break-even", "never" if units is None else f"{number(units, 0)} units"),
        ("Break-even month", "not in the plan" if month is None else str(month)),
        ("Cash trough", f"{money(ledger.cash_trough, currency)} in month {ledger.trough_month}"),
        ("Net present value", money(ledger.npv, currency)),
        ("Internal rate of return", rates),
        ("Payback", "not in the plan" if payback is None else f"{payback:.1f} months"),
    )
    note = (
        "Counted in exact decimals, shown to the cent; every root of the rate of return is listed."
    )
    table = definition_table("Unit and plan", rows, note=note)
    return Table(table.title, table.columns, table.rows, table.note, "predicted")


def _amounts(ledger: Economics) -> list[float]:
    try:
        return [
            float(Decimal(text.replace(ledger.currency, "").strip()))
            for text in ledger.monthly_cash
        ]
    except (InvalidOperation, ValueError):
        return []


def _cash_chart(ledger: Economics, cash: list[float]) -> Chart:
    marks = [Mark(float(ledger.trough_month), "trough")]
    if ledger.break_even_month is not None:
        marks.append(Mark(float(ledger.break_even_month), "break-even"))
    months = read_only(np.arange(len(cash)))
    return Chart(
        "cash",
        "Cumulative cash",
        "At the end of each month; month 0 is the first in which money moves.",
        x_label="month",
        y_label=ledger.currency,
        lines=(Line("cumulative cash", months, read_only(cash)),),
        marks=tuple(marks),
        evidence="predicted",
    )
