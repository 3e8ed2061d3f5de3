"""Warning in time, energy, money and the trade study as tables on the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trivet.present.console_parts import (
    difference_text,
    rate_text,
    share_text,
    temperature_text,
    text_group,
    text_line,
    text_table,
)
from trivet.records.business_result import BatteryLife, Economics
from trivet.records.design import Display
from trivet.records.trade import TradeRow, TradeStudy
from trivet.records.warning import WarningTimeline

if TYPE_CHECKING:
    from rich.console import RenderableType

MAX_BARS = 6


def show_warning(warning: WarningTimeline, *, display: Display) -> RenderableType:
    """Return a row an alert and rate: where it must and will trip, from a cold unit."""
    rows = [
        (
            one.alert,
            rate_text(one.rate_kps, display),
            temperature_text(one.needed_trip_k, display),
            temperature_text(one.needed_mean_k, display),
            temperature_text(one.trip_k, display),
            difference_text(one.error_k, display),
            f"{one.lead_s:.0f} of {one.lead_asked_s:.0f} s" if one.lead_s > 0.0 else "none",
            one.outcome,
        )
        for one in warning.cases
    ]
    columns = (
        "alert",
        "hottest heats at>",
        "must trip by>",
        "mean then>",
        "trips at>",
        "error>",
        "lead left>",
        "outcome",
    )
    return text_table("Alerts from a cold, sleeping unit (predicted, worst case)", columns, rows)


def show_battery(life: BatteryLife, *, display: Display) -> RenderableType:
    """Return what would change the days, and at what price."""
    rows = [
        (
            one.name,
            f"{one.days_p10:.0f} / {one.days_p50:.0f}",
            difference_text(one.error_k, display),
            f"{one.latency_s:.0f} s",
        )
        for one in life.options
    ]
    columns = ("battery", "days P10 / P50>", "settling error>", "later by>")
    return text_table("Days of a charge, one thing changed (predicted)", columns, rows)


def show_money(money: Economics) -> RenderableType:
    """Return the figures that move the present value most."""
    rows = [
        (one.figure, f"{one.low} to {one.high}", _cents(one.npv_low), _cents(one.npv_high))
        for one in money.tornado[:MAX_BARS]
    ]
    columns = ("figure", "from, to>", f"NPV at low / {money.currency}>", "at high>")
    more = len(money.tornado) - MAX_BARS
    tail = f"Figures that move it less: {more}." if more > 0 else ""
    return text_group(
        text_table("Sensitivity of the present value (predicted)", columns, rows),
        text_line(tail) if tail else None,
    )


def battery_words(life: BatteryLife) -> str:
    """Return the days of a charge in one line."""
    parts = [f"{life.days_p10:.0f} / {life.days_p50:.0f} / {life.days_p90:.0f} days"]
    if life.largest:
        parts.append(f"most by '{life.largest}' ({share_text(life.shares[0][1])})")
    if math.isfinite(life.remind_day):
        parts.append(f"remind on day {life.remind_day:.0f}")
    if life.claim:
        parts.append(f"claim of {life.claim_days:.0f} days {life.claim.split(':')[0]}")
    return "; ".join(parts)


def money_words(money: Economics) -> str:
    """Return what a unit earns in one line."""
    units, month = money.break_even_units, money.break_even_month
    even = "never" if units is None else f"{units:,} units"
    when = "not in the plan" if month is None else f"in month {month}"
    return (
        f"contribution {_cents(money.contribution)} {money.currency}"
        f" ({share_text(money.contribution_frac)});"
        f" break-even {even}, {when}"
    )


def cash_words(money: Economics) -> str:
    """Return what the cash does in one line."""
    rates = ", ".join(share_text(rate) for rate in money.irr_per_year) or "none"
    parts = [
        f"trough {_cents(money.cash_trough)} {money.currency} in month {money.trough_month}",
        f"NPV {_cents(money.npv)} {money.currency}",
        f"IRR {rates}",
    ]
    if money.draws:
        parts.append(f"P(loss) {share_text(money.loss_frac)}")
    return "; ".join(parts)


def _cents(text: str) -> str:
    from decimal import Decimal

    return f"{Decimal(text):,.2f}"


def show_trade(study: TradeStudy) -> RenderableType:
    """Return the ranking, its scores, and the weights at which the winner flips."""
    names = [cell.criterion for cell in study.rows[0].cells]
    rows = [
        (
            row.option,
            f"{row.total:.3f}",
            _wins(row),
            *(_cell(cell.value, cell.score) for cell in row.cells),
        )
        for row in study.rows
    ]
    flips = [
        (
            one.criterion,
            share_text(one.weight_frac),
            _flip(one.lower_frac, one.lower_winner, "below"),
            _flip(one.upper_frac, one.upper_winner, "above"),
        )
        for one in study.flips
    ]
    return text_group(
        text_table(
            "Trade study: value (score 0 to 1)",
            ("option", "total>", "wins>", *(f"{name}>" for name in names)),
            rows,
        ),
        text_table(
            "Where the winner flips, the other weights keeping their ratios",
            ("criterion", "weight>", "falls", "rises"),
            flips,
        ),
        text_line(f"{study.winner} wins by {study.lead:.3f} over {study.runner_up}."),
        text_line(f"Wins: share of {study.draws:,} draws (95 % interval), {study.spread}."),
        *[text_line(note) for note in study.notes],
    )


def _cell(value: float, score: float) -> str:
    return f"unknown ({score:.2f})" if math.isnan(value) else f"{value:.3g} ({score:.2f})"


def _wins(row: TradeRow) -> str:
    if math.isnan(row.win_frac):
        return "unknown"
    ends = f"{100 * row.win_low_frac:.1f} to {100 * row.win_high_frac:.1f}"
    return f"{100 * row.win_frac:.1f} % ({ends})"


def _flip(weight: float, winner: str, way: str) -> str:
    return "never" if math.isnan(weight) else f"{way} {share_text(weight)}: {winner}"
