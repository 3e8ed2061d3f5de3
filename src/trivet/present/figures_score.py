"""Pictures of a score: error against what was so, coverage and width by stratum."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COLUMNS = 3
REACH_K = 30.0
"""Errors beyond this are drawn at the edge, as triangles."""


def draw_scatter(chart: Chart, scale: Scale) -> Figure:
    """Return errors over what was so, a panel a line, with a band where there is a goal."""
    rows = max(1, math.ceil(len(chart.lines) / COLUMNS))
    figure = new_figure(0.4 + 2.1 * rows)
    panels = figure.subplots(rows, COLUMNS, sharey=True, squeeze=False).ravel()
    for axes, line in zip(panels, chart.lines, strict=False):
        if line.low is not None and line.high is not None:
            low, high = scale.difference(line.low)[0], scale.difference(line.high)[0]
            axes.axhspan(low, high, color=palette.BLUE_PALE, linewidth=0)
        axes.axhline(0.0, color=palette.GREY_DARK, linewidth=0.8)
        inside = np.abs(line.y) <= REACH_K
        for use, marker in ((inside, "."), (~inside & (line.y > 0), "^"), (~inside, "v")):
            shown = use if marker != "v" else use & (line.y < 0)
            axes.plot(
                scale.temperature(line.x[shown]),
                scale.difference(np.clip(line.y[shown], -REACH_K, REACH_K)),
                linestyle="",
                marker=marker,
                markersize=2.5,
                color=palette.BLUE if marker == "." else palette.PLUM,
            )
        axes.set_title("\n".join(textwrap.wrap(line.label, 34)), loc="left", fontsize=7)
        axes.set_ylim(*scale.difference([-REACH_K * 1.05, REACH_K * 1.05]))
    for axes in panels[len(chart.lines) :]:
        axes.set_axis_off()
    for place, axes in enumerate(panels[: len(chart.lines)]):
        if place % COLUMNS == 0:
            axes.set_ylabel(f"{chart.y_label} / {scale.difference_unit}")
        axes.set_xlabel(f"{chart.x_label} / {scale.temperature_unit}")
    figure.suptitle(chart.evidence.upper(), fontsize=7, x=0.99, ha="right", weight="bold")
    return figure


def draw_coverage(chart: Chart, scale: Scale) -> Figure:
    """Return shares with their exact bounds on the left, half-widths on the right."""
    figure = new_figure(0.75 + 0.32 * max(1, len(chart.lines)))
    left, right = figure.subplots(1, 2, sharey=True, width_ratios=(3, 2))
    left.axvline(95.0, color=palette.GREY_DARK, linewidth=0.9, linestyle="--")
    for place, line in enumerate(chart.lines):
        if line.low is not None and line.high is not None:
            ends = [100 * float(line.low[0]), 100 * float(line.high[0])]
            left.plot(
                ends, [place, place], color=palette.BLUE_MID, linewidth=5, solid_capstyle="butt"
            )
        left.plot(
            [100 * float(line.x[0])], [place], marker="D", color=palette.BLUE_DARK, markersize=5
        )
        width = float(scale.difference(line.y)[0])
        right.barh(place, width, height=0.6, color=palette.OCHRE_MID)
    left.set_yticks(range(len(chart.lines)), [short(line.label, 52) for line in chart.lines])
    left.set_ylim(len(chart.lines) - 0.4, -0.6)
    left.set_xlabel("covered / %")
    right.set_xlabel(f"median U95 / {scale.difference_unit}")
    for axes in (left, right):
        axes.grid(visible=False, axis="y")
        axes.tick_params(axis="y", length=0)
    evidence_tag(right, chart.evidence)
    return figure
