"""Bar charts: error budgets and energy shares."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN = 0.2


def draw_budget(chart: Chart, scale: Scale) -> Figure:
    """Return a panel a case; the terms in one order, the sums apart below them."""
    groups = list(dict.fromkeys(group for _, _, group in chart.bars)) or [""]
    largest: dict[str, float] = {}
    for label, value, _ in chart.bars:
        known = value if math.isfinite(value) else 0.0
        largest[label] = max(largest.get(label, 0.0), known)
    terms = sorted(largest, key=lambda label: -largest[label])
    sums = list(dict.fromkeys(label for label, _, _ in chart.totals))
    figure = new_figure(0.75 + ROW_IN * (len(terms) + len(sums) + 1))
    panels = figure.subplots(1, len(groups), sharex=True, sharey=True, squeeze=False)[0]
    values = {(group, label): value for label, value, group in (*chart.bars, *chart.totals)}
    rows = [*terms, None, *sums]
    for axes, group in zip(panels, groups, strict=True):
        _panel(
            axes,
            [math.nan if r is None else values.get((group, r), math.nan) for r in rows],
            len(terms),
            scale,
        )
        axes.set_title(short(group, max(16, 54 // len(groups))), loc="left")
        axes.set_xlabel(f"uncertainty / {scale.difference_unit}")
    panels[0].set_yticks(range(len(rows)), [short(row, 38) if row else "" for row in rows])
    panels[0].set_ylim(len(rows) - 0.4, -0.6)
    _widen(panels[0])
    evidence_tag(panels[-1], chart.evidence)
    return figure


def _panel(axes: Axes, values_k: list[float], terms: int, scale: Scale) -> None:
    shown = scale.difference(values_k)
    for place, value in enumerate(shown):
        if not math.isfinite(value):
            continue
        dominant = place < terms and value == np.nanmax(shown[:terms])
        colour = palette.BLUE if place < terms else palette.OCHRE_MID
        if place < terms and not dominant:
            colour = palette.BLUE_MID
        hatch = "" if place < terms else "////"
        axes.barh(
            place, value, height=0.68, color=colour, hatch=hatch, edgecolor="white", linewidth=0
        )
        axes.annotate(
            f"{value:.1f}" if value >= 0.05 or value == 0 else "< 0.1",
            (value, place),
            xytext=(3, 0),
            textcoords="offset points",
            va="center",
            fontsize=7,
        )
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
        if not math.isfinite(value):
            continue
        axes.barh(place, 100 * value, height=0.64, color=palette.BLUE)
        axes.annotate(
            f"{100 * value:.1f} %",
            (100 * value, place),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=7.5,
        )
    axes.set_yticks(range(len(chart.bars)), [short(label) for label, _, _ in chart.bars])
    axes.set_ylim(len(chart.bars) - 0.4, -0.6)
    axes.set_xlabel(f"{chart.x_label} / %")
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    _widen(axes)
    evidence_tag(axes, chart.evidence)
    return figure
