"""Charts of lines and points: cash, days, widths, alert timeline, front of settings, errors."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.present import palette
from trivet.present.drawing import (
    Look,
    beside,
    evidence_corner,
    evidence_tag,
    new_figure,
    short,
)
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PANELS = 3
"""Side by side; own estimate: narrower ones cannot hold their axis."""
REACH_K = 30.0
"""Own estimate: errors beyond twice the large-error bound are drawn at the edge. [K]"""
AT_FRACTION = ("data", "axes fraction")


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
            # where the curve is not: under its lowest, left above its rise
            lowest, late = at <= float(money.min()), mark.x > 0.75 * float(line.x[-1])
            side = "center" if lowest else "right" if late else "left"
            shift = (0, -14) if lowest else (-8 if late else 6, 8)
            text = f"{short(mark.label, 24)}, month {mark.x:.0f}"
            beside(axes, text, (mark.x, at), shift, ha=side, color=palette.PLUM, fontsize=8)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.margins(y=0.2)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"thousand {short(chart.y_label, 12)}")
    evidence_tag(axes, chart.evidence)
    return figure


def draw_days(chart: Chart, scale: Scale) -> Figure:
    """Return the share of users whose charge lasts at least so many days."""
    del scale  # days and shares have no display unit
    figure = new_figure(2.5)
    axes = figure.add_subplot()
    for line in chart.lines:
        axes.plot(line.x, 100 * line.y, color=palette.BLUE, linewidth=1.6, label=line.label)
        for share in (0.9, 0.5, 0.1):
            _percentile(axes, line.x, line.y, share)
    reach = max([float(line.x.max()) for line in chart.lines] + [one.x for one in chart.marks])
    for place, mark in enumerate(chart.marks):
        late = mark.x > 0.85 * reach
        axes.axvline(
            mark.x, color=palette.OCHRE, linewidth=1.0, linestyle=palette.DASHES[place % 4]
        )
        beside(axes, mark.label, (mark.x, 0.95 - 0.1 * place), (-3 if late else 3, 0),
               xycoords=AT_FRACTION, ha="right" if late else "left")  # fmt: skip
    axes.set_ylim(0.0, 103.0)
    axes.set_xlim(left=0.0)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"{chart.y_label} / %")
    evidence_tag(axes, chart.evidence)
    return figure


def _percentile(axes: Axes, days: FloatArray, lasts: FloatArray, share: float) -> None:
    """Mark the days that a share of the users get."""
    if days.size < 2 or not lasts.min() <= share <= lasts.max():
        return
    at = float(np.interp(share, lasts[::-1], days[::-1]))
    axes.plot([at], [100 * share], "o", color=palette.BLUE_DARK, ms=4, zorder=5)
    text = f"P{100 * (1 - share):.0f}: {at:.0f} d"
    beside(axes, text, (at, 100 * share), (6, 1), color=palette.BLUE_DARK)


def draw_widths(chart: Chart, scale: Scale) -> Figure:
    """Return half-widths over temperature, one line a base, the bound across."""
    figure = new_figure(3.4 + 0.17 * len(chart.lines))
    axes = figure.add_subplot()
    for place, line in enumerate(chart.lines):
        look = place % len(palette.DASHES)
        axes.plot(
            scale.temperature(line.x),
            scale.difference(line.y),
            color=palette.LINE_COLOURS[look],
            linestyle=palette.DASHES[look],
            marker=palette.LINE_MARKERS[(look + place // len(palette.DASHES)) % 5],
            markersize=4,
            linewidth=1.5,
            label=short(line.label, 70),
        )
    for mark in chart.marks:
        bound = float(scale.difference([mark.x])[0])
        axes.axhline(bound, color=palette.GREY_DARK, linewidth=0.8)
        beside(axes, short(mark.label), (0.99, bound), (0, -9), ha="right",
               xycoords=AT_FRACTION[::-1], color=palette.GREY_DARK)  # fmt: skip
    axes.set_ylim(bottom=0.0)
    axes.set_xlabel(f"{chart.x_label} / {scale.temperature_unit}")
    axes.set_ylabel(f"{chart.y_label} / {scale.difference_unit}")
    figure.legend(loc="outside lower left", fontsize=7, frameon=False)
    evidence_tag(axes, chart.evidence)
    return figure


def draw_timeline(chart: Chart, scale: Scale) -> Figure:
    """Return the heating of the hottest part with needed and actual trips."""
    figure = new_figure(3.1)
    axes = figure.add_subplot()
    for span in chart.spans:
        axes.axvspan(span.start, span.end, color=palette.GREY_PALE, linewidth=0)
        beside(axes, span.label, (span.end, 0.03), xycoords=AT_FRACTION, color=palette.GREY_DARK)
    shades = (palette.BLUE_DARK, palette.BLUE, palette.BLUE_MID, palette.GREY)
    needed: Look = {"marker": "o", "mfc": "white", "mec": palette.INK, "ms": 6, "linestyle": ""}
    trips: Look = {"marker": "D", "color": palette.OCHRE, "ms": 5, "linestyle": ""}
    rates = 0
    for line in chart.lines:
        shown = scale.temperature(line.y)
        match line.style:
            case "needed":
                axes.plot(line.x, shown, zorder=5, **needed)
            case "trip":
                axes.plot(line.x, shown, zorder=6, **trips)
            case "limit":
                axes.plot(line.x, shown, color=palette.PLUM, linewidth=1.2)
                end = (float(line.x[-1]), float(shown[-1]))
                beside(axes, line.label, end, (0, 3), ha="right", color=palette.PLUM)
            case _:
                axes.plot(line.x, shown, color=shades[rates % 4], linewidth=1.4, label=line.label,
                          linestyle=palette.DASHES[rates % 4])  # fmt: skip
                rates += 1
    axes.set_xlim(left=0.0)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"{chart.y_label} / {scale.temperature_unit}")
    axes.plot([], [], label="must trip by", **needed)
    axes.plot([], [], label="trips at", **trips)
    axes.legend(loc="lower right")
    evidence_tag(axes, chart.evidence)
    return figure


def draw_front(chart: Chart, scale: Scale) -> Figure:
    """Return the points of a front of settings, the design as it is, and the pick."""
    from matplotlib.ticker import MaxNLocator

    del scale  # seconds and counts
    figure = new_figure(2.8)
    axes = figure.add_subplot()
    looks = {"reading": ("o", palette.BLUE), "limit": ("s", palette.GREY_DARK)}
    for line in chart.lines:
        marker, colour = looks.get(line.style, ("D", palette.PLUM))
        axes.plot(line.x, line.y, marker, color=colour, markersize=6, label=line.label)
    last = max(float(line.x.max()) for line in chart.lines)
    axes.set_xlim(-0.5, last + 0.5)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"{chart.y_label} / s")
    axes.legend(loc="best")
    evidence_tag(axes, chart.evidence)
    return figure


def draw_scatter(chart: Chart, scale: Scale) -> Figure:
    """Return errors over what was so, a panel a line, with a band where there is a goal."""
    rows = max(1, math.ceil(len(chart.lines) / PANELS))
    figure = new_figure(0.4 + 2.1 * rows)
    panels = figure.subplots(rows, PANELS, sharey=True, squeeze=False).ravel()
    for axes, line in zip(panels, chart.lines, strict=False):
        if line.low is not None and line.high is not None:
            low, high = scale.difference(line.low)[0], scale.difference(line.high)[0]
            axes.axhspan(low, high, color=palette.BLUE_PALE, linewidth=0)
        axes.axhline(0.0, color=palette.GREY_DARK, linewidth=0.8)
        inside = np.abs(line.y) <= REACH_K
        for use, marker, colour in (
            (inside, ".", palette.BLUE),
            (line.y > REACH_K, "^", palette.PLUM),
            (line.y < -REACH_K, "v", palette.PLUM),
        ):
            error = scale.difference(np.clip(line.y[use], -REACH_K, REACH_K))
            shown = scale.temperature(line.x[use])
            axes.plot(shown, error, linestyle="", marker=marker, markersize=2.5, color=colour)
        axes.set_title("\n".join(textwrap.wrap(line.label, 34)), loc="left", fontsize=7)
        axes.set_ylim(*scale.difference([-REACH_K * 1.05, REACH_K * 1.05]))
        axes.set_xlabel(f"{chart.x_label} / {scale.temperature_unit}")
    for axes in panels[len(chart.lines) :]:
        axes.set_axis_off()
    for axes in panels[: len(chart.lines) : PANELS]:
        axes.set_ylabel(f"{chart.y_label} / {scale.difference_unit}")
    evidence_corner(figure, chart.evidence)
    return figure
