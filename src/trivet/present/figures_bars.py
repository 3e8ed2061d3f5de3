"""Charts of rows: budgets, energy shares, sensitivity, limits of agreement, coverage."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.present import palette
from trivet.present.drawing import Look, beside, evidence_tag, new_figure, rows_down, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart, ChartLine

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN = 0.2  # own estimate: a line of 8 pt type with air


def draw_budget(chart: Chart, scale: Scale) -> Figure:
    """Return a panel a case; the terms in one order, the sums apart below them."""
    groups = list(dict.fromkeys(group for _, _, group in chart.bars)) or [""]
    largest: dict[str, float] = {}
    for label, value, _ in chart.bars:
        known = value if math.isfinite(value) else 0.0
        largest[label] = max(largest.get(label, 0.0), known)
    terms = sorted(largest, key=lambda label: -largest[label])
    sums = list(dict.fromkeys(label for label, _, _ in chart.totals))
    rows = [*terms, "", *sums]
    figure = new_figure(0.75 + ROW_IN * len(rows))
    panels = figure.subplots(1, len(groups), sharex=True, sharey=True, squeeze=False)[0]
    values = {(group, label): value for label, value, group in (*chart.bars, *chart.totals)}
    for axes, group in zip(panels, groups, strict=True):
        _terms(axes, scale.difference([values.get((group, r), math.nan) for r in rows]), len(terms))
        axes.set_title(short(group, max(16, 54 // len(groups))), loc="left")
        axes.set_xlabel(f"uncertainty / {scale.difference_unit}")
    rows_down(panels[0], rows, 38)
    _widen(panels[0])
    evidence_tag(panels[-1], chart.evidence)
    return figure


def _terms(axes: Axes, shown: FloatArray, terms: int) -> None:
    """Draw the bars of one case: the dominant term dark, the sums hatched."""
    for place, value in enumerate(shown):
        if not math.isfinite(value):
            continue
        total = place >= terms
        dominant = not total and value == np.nanmax(shown[:terms])
        term = palette.BLUE if dominant else palette.BLUE_MID
        axes.barh(place, value, height=0.68, color=palette.OCHRE_MID if total else term,
                  hatch="////" if total else "", edgecolor="white", linewidth=0)  # fmt: skip
        beside(axes, f"{value:.1f}" if value >= 0.05 or value == 0 else "< 0.1", (value, place),
               va="center")  # fmt: skip
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)


def _widen(axes: Axes) -> None:
    """Leave room for the figures at the bars' ends."""
    low, high = axes.get_xlim()
    axes.set_xlim(min(0.0, low), high * 1.14 if high > 0 else 1.0)


def draw_battery(chart: Chart, scale: Scale) -> Figure:
    """Return the share of energy by state."""
    del scale  # shares have no unit
    figure = new_figure(0.7 + 0.26 * max(1, len(chart.bars)))
    axes = figure.add_subplot()
    for place, (_, value, _) in enumerate(chart.bars):
        if math.isfinite(value):
            axes.barh(place, 100 * value, height=0.64, color=palette.BLUE)
            beside(axes, f"{100 * value:.1f} %", (100 * value, place), va="center")
    rows_down(axes, [label for label, _, _ in chart.bars])
    axes.set_xlabel(f"{chart.x_label} / %")
    _widen(axes)
    evidence_tag(axes, chart.evidence)
    return figure


def draw_tornado(chart: Chart, scale: Scale) -> Figure:
    """Return one bar a figure, from its low to its high end, about the nominal value."""
    del scale  # money has its own unit
    names = list(dict.fromkeys(label for label, _, _ in chart.bars))
    figure = new_figure(0.9 + 0.28 * max(1, len(names)))
    axes = figure.add_subplot()
    middle = chart.totals[0][1] / 1000 if chart.totals else 0.0
    looks: dict[str, Look] = {
        "low": {"color": palette.OCHRE_MID, "hatch": "////", "edgecolor": "white"},
        "high": {"color": palette.BLUE},
    }
    for label, value, end in chart.bars:
        if math.isfinite(value):
            width = value / 1000 - middle
            axes.barh(names.index(label), width, left=middle, height=0.6, linewidth=0, **looks[end])
    axes.axvline(middle, color=palette.INK, linewidth=0.9, label="as planned")
    axes.axvline(
        0.0, color=palette.PLUM, linewidth=0.9, linestyle=palette.DASHED, label="nothing earned"
    )
    for end, look in looks.items():
        axes.bar(0, 0, label=f"at {end} end", **look)
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)
    rows_down(axes, names, 44)
    axes.set_xlabel(f"{chart.x_label} / 1,000 {chart.y_label}")
    evidence_tag(axes, chart.evidence)
    return figure


def draw_error(chart: Chart, scale: Scale) -> Figure:
    """Return bias and limits of agreement, one row a stratum."""
    figure = new_figure(0.75 + 0.3 * max(1, len(chart.lines)))
    axes = figure.add_subplot()
    axes.axvline(0.0, color=palette.GREY_DARK, linewidth=0.9)
    for place, line in enumerate(chart.lines):
        _row(axes, place, float(scale.difference(line.y)[0]), scale.difference(_ends(line)))
    rows_down(axes, [line.label for line in chart.lines])
    axes.set_xlabel(f"{chart.x_label} / {scale.difference_unit}")
    evidence_tag(axes, chart.evidence)
    return figure


def _ends(line: ChartLine) -> FloatArray:
    """Return the interval of a line of one point, NaN where there is none."""
    if line.low is None or line.high is None:
        return np.full(2, np.nan)
    return np.array([line.low[0], line.high[0]])


def _row(axes: Axes, place: int, value: float, ends: FloatArray) -> None:
    """Draw a value as a diamond on the bar of its interval."""
    if np.isfinite(ends).all():
        axes.plot(ends, [place] * 2, color=palette.BLUE_MID, linewidth=5, solid_capstyle="butt")
    axes.plot([value], [place], marker="D", color=palette.BLUE_DARK, markersize=5, zorder=4)


def draw_coverage(chart: Chart, scale: Scale) -> Figure:
    """Return shares with their exact bounds on the left, half-widths on the right."""
    figure = new_figure(0.75 + 0.32 * max(1, len(chart.lines)))
    left, right = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    left.axvline(95.0, color=palette.GREY_DARK, linewidth=0.9, linestyle=palette.DASHED)
    for place, line in enumerate(chart.lines):
        _row(left, place, 100 * float(line.x[0]), 100 * _ends(line))
        width = float(scale.difference(line.y)[0])
        right.barh(place, width, height=0.6, color=palette.OCHRE_MID)
    for axes in (right, left):
        rows_down(axes, [line.label for line in chart.lines], 52)
    left.set_xlabel("covered / %")
    right.set_xlabel(f"median U95 / {scale.difference_unit}")
    evidence_tag(right, chart.evidence)
    return figure
