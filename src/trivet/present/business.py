"""Battery and money: days of a charge, what eats it, a unit's ledger, cash, sensitivity."""

from __future__ import annotations

import math
from decimal import Decimal, InvalidOperation

import numpy as np

from trivet.present.numbers import NONE, Formatter, listed, money, number, read_only, seconds, share
from trivet.present.parts import ALL, definition_table, tabulate
from trivet.records.business_result import BatteryLife, Economics
from trivet.records.design import Design
from trivet.records.dossier import Chart, ChartLine, Mark, Section, Table
from trivet.records.prediction import Prediction

MAX_BRIEF_BARS = 6
"""Own estimate: figures that move the result visibly, in the short form."""


def battery_section(design: Design, *, prediction: Prediction) -> Section:
    """Return the days of a charge, what uses them up, and what would change that."""
    show = Formatter(design.display)
    life = prediction.battery
    words = (f"The life that is claimed is {life.claim}.",) if life.claim else ()
    tables = [_days_table(life)]
    if life.options:
        tables.append(_options_table(life, show))
    if life.message is not None:
        tables.append(_message_table(life))
    charts = []
    if life.days:
        charts.append(_days_chart(life))
    if life.shares:
        charts.append(_shares_chart(life))
    return Section("Battery", words, tuple(tables), tuple(charts))


def _days_table(life: BatteryLife) -> Table:
    rows = [
        ("Days, one in ten falls short (P10)", number(life.days_p10, 0)),
        ("Days, median (P50)", number(life.days_p50, 0)),
        ("Days, one in ten exceeds (P90)", number(life.days_p90, 0)),
        ("Mean power", f"{number(1000 * life.mean_w, 2)} mW"),
    ]
    if life.largest:
        rows.append(("Eats most", life.largest))
    if math.isfinite(life.remind_day):
        left = f", {share(life.remind_left_frac, 0)} left for a heavy user"
        rows.append(("Remind on day, so that 95 % change in time", f"{life.remind_day:.0f}{left}"))
    if math.isfinite(life.capacity_frac):
        capacity = f"{share(life.capacity_frac, 0)} ({life.capacity_source})"
        rows.append(("Capacity at the cells' temperature", capacity))
    if life.law:
        rows.append(("Self-discharge", life.law))
    if math.isfinite(life.charge_h):
        rows.append(("Charging from empty", f"{life.charge_h:.1f} h"))
    if math.isfinite(life.aged_days_p50):
        rows.append(("Median days at the end of service", number(life.aged_days_p50, 0)))
    rows += [(f"Hours a day: {name}", f"{hours:.2f}") for name, hours in life.hours_per_day]
    return definition_table("Days of a charge", rows, note=life.note, evidence="predicted")


def _options_table(life: BatteryLife, show: Formatter) -> Table:
    return tabulate(
        "What changes the days, and at what price",
        life.options,
        {
            "Change": lambda one: one.name,
            "Days P10": lambda one: number(one.days_p10, 0),
            "Days P50": lambda one: number(one.days_p50, 0),
            "Settling error": lambda one: show.difference(one.error_k),
            "Later by up to": lambda one: seconds(one.latency_s),
            "Remark": lambda one: one.note or NONE,
        },
        note="One thing changed at a time; the settling error widens every interval by so much.",
        evidence="predicted",
        brief_rows=ALL,
    )


def _message_table(life: BatteryLife) -> Table:
    message = life.message
    assert message is not None
    bits = listed([f"{name} {size}" for name, size in message.fields], 8)
    rows = (
        ("Payload", f"{message.payload_bytes} bytes"),
        ("On the air, repeats counted", f"{message.air_bytes} bytes"),
        ("Airtime", f"{1000 * message.airtime_s:.3g} ms"),
        ("Energy by airtime and joining", f"{1000 * message.energy_j:.3g} mJ"),
        ("A day", f"{message.j_per_day:.3g} J"),
        ("Fits one message", "yes" if message.fits else "no"),
        ("Fields and bits", bits),
    )
    note = "Where the design states a message's energy, the ledger uses that."
    return definition_table("One message", rows, note=note, evidence="predicted")


def _days_chart(life: BatteryLife) -> Chart:
    days = np.minimum(np.array(life.days), 3650.0)
    marks = [Mark(life.remind_day, "remind")] if math.isfinite(life.remind_day) else []
    if math.isfinite(life.claim_days):
        marks.append(Mark(life.claim_days, "claimed"))
    lasts = read_only(1.0 - np.arange(1, len(days) + 1) / 100)
    return Chart(
        "days",
        "Days of a charge",
        "Share of users whose charge lasts at least so long; cut at ten years.",
        x_label="days",
        y_label="users",
        lines=(ChartLine("lasts at least", read_only(days), lasts),),
        marks=tuple(marks),
        evidence="predicted",
    )


def _shares_chart(life: BatteryLife) -> Chart:
    return Chart(
        "battery",
        "Where the energy goes",
        "Share of the energy by state, at the design's nominal figures.",
        x_label="share of energy",
        bars=tuple((state, float(part), "") for state, part in life.shares),
        evidence="predicted",
    )


def money_section(prediction: Prediction) -> Section:
    """Return the ledger of one unit, the cash, the sensitivity and the cost of a burner."""
    ledger = prediction.economics
    cash = _amounts(ledger.monthly_cash, ledger.currency)
    tables = [_money_table(ledger)]
    if ledger.unit:
        tables.append(_unit_table(ledger))
    if ledger.flows:
        tables.append(_years_table(ledger))
    if ledger.tornado:
        tables.append(_tornado_table(ledger))
    if ledger.per_burner:
        tables.append(_burner_table(ledger))
    charts = [_cash_chart(ledger, cash)] if cash else []
    if ledger.tornado:
        charts.append(_tornado_chart(ledger))
    return Section("Money", ledger.notes, tuple(tables), tuple(charts))


def _money_table(ledger: Economics) -> Table:
    currency = ledger.currency
    rates = ", ".join(f"{share(rate)} a year" for rate in ledger.irr_per_year) or "none"
    units, month, payback = (
        ledger.break_even_units,
        ledger.break_even_month,
        ledger.payback_months,
    )
    rows = [
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
    ]
    if ledger.draws:
        rows.append(("P(loss): present value under zero", share(ledger.loss_frac)))
        ends = " / ".join(
            number(one, 0) for one in (ledger.npv_p10, ledger.npv_p50, ledger.npv_p90)
        )
        rows.append(("Present value, P10 / P50 / P90", f"{ends} {currency}"))
    note = (
        "Counted in exact decimals, shown to the cent; every root of the rate of return is listed."
    )
    if ledger.draws:
        note += f" {ledger.draws} seeded draws, all figures with ranges at once."
    return definition_table("Unit and plan", rows, note=note, evidence="predicted")


def _unit_table(ledger: Economics) -> Table:
    rows = [(name, money(value, ledger.currency)) for name, value in ledger.unit]
    rows += [(f"bill: {name}", money(value, ledger.currency)) for name, value in ledger.bill]
    note = "The bill at the size of an order at full capacity, before yield."
    return definition_table("One unit, line by line", rows, note=note, evidence="predicted")


def _years_table(ledger: Economics) -> Table:
    """Return the flows by year; the record holds them by month."""
    months = max(len(column) for _, column in ledger.flows)
    years = range(math.ceil(months / 12))
    rows = tuple(
        (
            name,
            *(
                number(float(sum(map(Decimal, column[12 * year : 12 * year + 12]))), 0)
                for year in years
            ),
        )
        for name, column in ledger.flows
    )
    columns = ("Flow", *(f"Year {year + 1}" for year in years))
    note = f"In {ledger.currency}, out negative; month by month in the record."
    return Table("Flows", columns, rows, note, "predicted")


def _tornado_table(ledger: Economics) -> Table:
    return tabulate(
        "Sensitivity, one figure at a time",
        ledger.tornado,
        {
            "Figure": lambda one: one.figure,
            "Low": lambda one: one.low,
            "High": lambda one: one.high,
            "Present value at low": lambda one: money(one.npv_low, ledger.currency),
            "Present value at high": lambda one: money(one.npv_high, ledger.currency),
        },
        evidence="predicted",
        brief_rows=MAX_BRIEF_BARS,
    )


def _burner_table(ledger: Economics) -> Table:
    return tabulate(
        "Cost of a burner watched",
        ledger.per_burner,
        {
            "What": lambda one: one.name,
            "Price": lambda one: money(one.price, ledger.currency),
            "Burners": lambda one: str(one.burners),
            "Years": lambda one: f"{one.years:.3g}",
            "A burner and year": lambda one: money(one.per_burner_year, ledger.currency),
        },
        note="Prices and lives as entered; the alternatives need not do the same job.",
        evidence="predicted",
    )


def _amounts(texts: tuple[str, ...], currency: str) -> list[float]:
    try:
        return [float(Decimal(text.replace(currency, "").strip())) for text in texts]
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
        lines=(ChartLine("cumulative cash", months, read_only(cash)),),
        marks=tuple(marks),
        evidence="predicted",
    )


def _tornado_chart(ledger: Economics) -> Chart:
    bars = [
        (f"{one.figure}: {one.low} to {one.high}", float(Decimal(value)), end)
        for one in ledger.tornado
        for end, value in (("low", one.npv_low), ("high", one.npv_high))
    ]
    return Chart(
        "tornado",
        "Present value, one figure at a time",
        "Hatched: at the low end; full: at the high end; dashed line: nothing earned.",
        x_label="net present value",
        y_label=ledger.currency,
        bars=tuple(bars),
        totals=(("nominal", float(Decimal(ledger.npv)), ""),),
        evidence="predicted",
    )
