"""Sensors, designs or options side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.present.numbers import UNKNOWN, Formatter, interval, share
from trivet.present.parts import ALL, tabulate
from trivet.records.comparison import AnswerRow, Cell, DesignComparison, SensorComparison
from trivet.records.design import Display
from trivet.records.dossier import Section, Table
from trivet.records.figures import Figure
from trivet.records.sensorcard import SensorCard
from trivet.records.trade import TradeCell, TradeRow, TradeStudy


def cards_section(cards: Sequence[SensorCard]) -> Section:
    """Return the sensor cards of the library; what no source gives is unknown."""
    table = tabulate(
        "Classes of arrays",
        cards,
        {
            "Card": lambda card: card.name,
            "Kind": lambda card: card.technology,
            "Pixels": lambda card: f"{card.cols} × {card.rows}",
            "Field": lambda card: f"{card.fov_h_rad.text} × {card.fov_v_rad.text} {card.lens}",
            "Noise": lambda card: _text(card.netd_delta_k),
            "Accuracy": lambda card: _text(card.accuracy_delta_k),
            "Range": lambda card: f"{_text(card.range_low_k)} to {_text(card.range_high_k)}",
            "Settles": lambda card: _text(card.settle_s),
            "Draws": lambda card: _text(card.measure_w),
            "Board": lambda card: UNKNOWN if card.board_price is None else str(card.board_price),
        },
    )
    sources = tabulate(
        "Where the figures come from",
        cards,
        {
            "Card": lambda card: card.name,
            "Source": lambda card: card.source,
            "Notes": lambda card: card.notes,
        },
    )
    return Section("Sensor cards", (), (table, sources))


def _text(figure: Figure | None) -> str:
    return UNKNOWN if figure is None else figure.text


def comparison_section(
    comparison: SensorComparison | DesignComparison, *, display: Display
) -> Section:
    """Return a comparison with a column each, and where every row came from."""
    title = "Designs side by side"
    if isinstance(comparison, SensorComparison):
        title = f"Sensors for {comparison.design}"
    sources = tabulate(
        "Calculated from (first column; --json gives every cell's)",
        [row for row in comparison.rows if row.cells],
        {"Question": lambda row: row.question, "Source": lambda row: row.cells[0].source},
    )
    return Section(title, (), (comparison_table(title, comparison, display=display), sources))


def comparison_table(
    title: str, comparison: SensorComparison | DesignComparison, *, display: Display
) -> Table:
    """Return the answers of a comparison, a row a question and a column each."""
    show = Formatter(display)
    rows = tuple(
        (row.question, *(_cell(cell, row, show) for cell in row.cells)) for row in comparison.rows
    )
    return Table(title, ("Question", *comparison.columns), rows, comparison.note, "predicted")


def _cell(cell: Cell, row: AnswerRow, show: Formatter) -> str:
    if cell.text:
        return cell.text
    return show.of_kind(cell.value, row.kind) if math.isfinite(cell.value) else UNKNOWN


def trade_section(study: TradeStudy) -> Section:
    """Return the ranking, its scores, and the weights at which the winner flips."""
    names = [cell.criterion for cell in study.rows[0].cells]
    ranking = Table(
        "Trade study: value (score) by criterion",
        ("Option", "Total", "Wins", *names),
        tuple(
            (row.option, f"{row.total:.3f}", _wins(row), *(_scored(cell) for cell in row.cells))
            for row in study.rows
        ),
        f"Wins: share of {study.draws:,} draws (95 % interval), {study.spread}.",
        "predicted",
        ALL,
    )
    flips = tabulate(
        "Where the winner flips, the other weights keeping their ratios",
        study.flips,
        {
            "Criterion": lambda one: one.criterion,
            "Weight": lambda one: share(one.weight_frac),
            "Falls": lambda one: _flip(one.lower_frac, one.lower_winner, "below"),
            "Rises": lambda one: _flip(one.upper_frac, one.upper_winner, "above"),
        },
        evidence="predicted",
    )
    words = f"{study.winner} wins by {study.lead:.3f} over {study.runner_up}."
    return Section("Trade study", (words, *study.notes), (ranking, flips))


def _scored(cell: TradeCell) -> str:
    value = UNKNOWN if math.isnan(cell.value) else f"{cell.value:.3g}"
    return f"{value} ({cell.score:.2f})"


def _wins(row: TradeRow) -> str:
    if math.isnan(row.win_frac):
        return UNKNOWN
    return f"{share(row.win_frac)} ({interval(row.win_low_frac, row.win_high_frac)})"


def _flip(weight: float, winner: str, way: str) -> str:
    return "never" if math.isnan(weight) else f"{way} {share(weight)}: {winner}"
