"""The cash curve, the agreement chart, and error against temperature."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.figure import Figure


def draw_cash(chart: Chart, scale: Scale) -> Figure:
    """Return cumulative cash by month with its marked months."""
    from matplotlib.ticker import MaxNLocator

    del scale  # money has its own unit
    figure = new_figure(2.6)
    axes = figure.add_subplot()
    axes.axhline(0.0, color=palette.GREY, linewidth=0.8)
    for line in chart.lines:
        money = line.y / 1000
        axes.plot(line.x, money, color=palette.BLUE, linewidth=1.6, drawstyle="steps-post")
        for mark in chart.marks:
            here = np.flatnonzero(line.x == mark.x)
            if not here.size:
                continue
            at = float(money[here[0]])
            axes.plot([mark.x], [at], marker="o", markersize=5, color=palette.PLUM, zorder=4)
            lowest, late = at <= float(money.min()), mark.x > 0.75 * float(line.x[-1])
            axes.annotate(  # where the curve is not: under its lowest, left above its rise
                f"{short(mark.label, 24)}, month {mark.x:.0f}",
                (mark.x, at),
                xytext=(0, -14) if lowest else (-8 if late else 6, 8),
                textcoords="offset points",
                ha="center" if lowest else "right" if late else "left",
                color=palette.PLUM,
            )
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.margins(y=0.2)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"thousand {short(chart.y_label, 12)}")
    evidence_tag(axes, chart.evidence)
    return figure


def draw_error(chart: Chart, scale: Scale) -> Figure:
    """Return bias and limits of agreement, one row a stratum."""
    figure = new_figure(0.75 + 0.3 * max(1, len(chart.lines)))
    axes = figure.add_subplot()
    axes.axvline(0.0, color=palette.GREY_DARK, linewidth=0.9)
    for place, line in enumerate(chart.lines):
        bias = float(scale.difference(line.y)[0])
        if line.low is not None and line.high is not None:
            low, high = float(scale.difference(line.low)[0]), float(scale.difference(line.high)[0])
            if np.isfinite([low, high]).all():
                axes.plot(
                    [low, high],
                    [place, place],
                    color=palette.BLUE_MID,
                    linewidth=5,
                    solid_capstyle="butt",
                )
        axes.plot([bias], [place], marker="D", color=palette.BLUE_DARK, markersize=5, zorder=4)
    axes.set_yticks(range(len(chart.lines)), [short(line.label) for line in chart.lines])
    axes.set_ylim(len(chart.lines) - 0.4, -0.6)
    axes.set_xlabel(f"{chart.x_label} / {scale.difference_unit}")
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    evidence_tag(axes, chart.evidence)
    return figure


DASHES = ("-", "--", "-.", ":", (0, (5, 1, 1, 1, 1, 1)))
COLOURS = (palette.BLUE, palette.OCHRE, palette.PLUM, palette.BLUE_MID, palette.OCHRE_MID)
MARKERS = ("o", "s", "^", "D", "v")


def draw_widths(chart: Chart, scale: Scale) -> Figure:
    """Return half-widths over temperature, one line a base, the bound across."""
    figure = new_figure(3.4 + 0.17 * len(chart.lines))
    axes = figure.add_subplot()
    for place, line in enumerate(chart.lines):
        axes.plot(
            scale.temperature(line.x),
            scale.difference(line.y),
            color=COLOURS[place % len(COLOURS)],
            linestyle=DASHES[place % len(DASHES)],
            marker=MARKERS[place % len(MARKERS)],
            markersize=4,
            linewidth=1.5,
            label=short(line.label, 70),
        )
    for mark in chart.marks:
        bound = float(scale.difference([mark.x])[0])
        axes.axhline(bound, color=palette.GREY_DARK, linewidth=0.8)
        axes.annotate(
            short(mark.label),
            (0.99, bound),
            xycoords=("axes fraction", "data"),
            xytext=(0, -9),
            textcoords="offset points",
            ha="right",
            fontsize=7,
            color=palette.GREY_DARK,
        )
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"{chart.x_label} / {scale.temperature_unit}")
    axes.set_ylabel(f"{chart.y_label} / {scale.difference_unit}")
    figure.legend(loc="outside lower left", fontsize=7, frameon=False)
    evidence_tag(axes, chart.evidence)
    return figure
