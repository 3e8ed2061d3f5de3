"""The trace of one burner in one cook, with lanes for gaps and alerts below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.present import palette
from trivet.present.drawing import Look, evidence_tag, new_figure, rows_down, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart, ChartLine, Span

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MAIN_IN, LANE_IN = 2.7, 0.17  # own estimate: a curve can be read, a lane is a line of type
ABOVE_K = 60.0
"""Own estimate: a limit further above the highest line would flatten all below it. [K]"""
MINUTES_FROM_S = 300.0  # own estimate: below, seconds are rounder numbers
# Own choice: the reading in front, what it is held against over it, limits behind.
TRACE_LOOKS: dict[str, Look] = {
    "reading": {"linewidth": 1.7, "zorder": 5, "markersize": 3},
    "hottest": {"linewidth": 0.9, "zorder": 4},
    "apparent": {"linewidth": 0.9, "zorder": 4},
    "truth": {"linewidth": 1.2, "zorder": 6},
    "reference": {"linewidth": 1.1, "zorder": 6, "linestyle": palette.SHORT_DASH},
    "limit": {"linewidth": 1.2, "zorder": 3, "linestyle": palette.DASH_DOT},
    "band": {"linewidth": 1.2, "zorder": 3, "linestyle": palette.DASH_DOT},
}
TRACE_COLOURS = {
    "reading": (palette.BLUE,),
    "hottest": (palette.PLUM_MID,),
    "apparent": (palette.GREY,),
    "truth": (palette.INK, palette.GREY),
    "reference": (palette.INK, palette.OCHRE, palette.GREY, palette.OCHRE_MID),
    "limit": (palette.OCHRE,),
    "band": (palette.GREY,),
}
"""Of the first, second and further lines of a style."""
# Own choice, as above.
TRACE_BANDS: dict[str, Look] = {
    "reading": {"facecolor": palette.BLUE_PALE, "zorder": 2},
    "reference": {"facecolor": palette.GREY_LIGHT, "alpha": 0.5, "zorder": 1},
    "limit": {"facecolor": palette.OCHRE_PALE, "alpha": 0.55, "zorder": 1},
    "band": {"facecolor": palette.GREY_PALE, "alpha": 0.55, "zorder": 1},
}


def draw_trace(chart: Chart, scale: Scale) -> Figure:
    """Return reading, truth or reference, limits; below, gaps by reason and alerts."""
    lanes = list(dict.fromkeys((span.kind, span.label) for span in chart.spans))
    lanes.sort(key=lambda lane: lane[0] != "gap")
    figure = new_figure(MAIN_IN + LANE_IN * len(lanes) + 0.3 * bool(lanes))
    axes, lane_axes = _axes(figure, len(lanes))
    divisor, unit = _time_unit(chart)
    _lines(axes, chart, scale, divisor)
    for span in chart.spans:
        if span.kind == "gap":
            ends = (span.start / divisor, span.end / divisor)
            axes.axvspan(*ends, facecolor=palette.GREY_PALE, alpha=0.45, linewidth=0, zorder=0)
    for mark in chart.marks:
        axes.axvline(
            mark.x / divisor,
            color=palette.PLUM,
            linewidth=0.9,
            linestyle=palette.SHORT_DASH,
            zorder=2,
        )
    axes.set_ylabel(f"temperature / {scale.temperature_unit}")
    evidence_tag(axes, chart.evidence)
    _frame(axes, chart, scale, divisor)
    bottom = axes
    if lane_axes is not None:
        _draw_lanes(lane_axes, chart.spans, lanes, divisor)
        axes.tick_params(axis="x", labelbottom=False)
        bottom = lane_axes
    bottom.set_xlabel(f"time / {unit}")
    handles, labels = axes.get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside lower center", ncols=3, handlelength=2.6)
    return figure


def _axes(figure: Figure, lanes: int) -> tuple[Axes, Axes | None]:
    if not lanes:
        return figure.add_subplot(), None
    main, below = figure.subplots(2, 1, sharex=True, height_ratios=[MAIN_IN - 0.6, LANE_IN * lanes])
    return main, below


def _time_unit(chart: Chart) -> tuple[float, str]:
    last = max((float(line.x[-1]) for line in chart.lines if line.x.size), default=0.0)
    return (60.0, "min") if last >= MINUTES_FROM_S else (1.0, "s")


def _lines(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    """Draw every line in the look of its style; limits far above are named, not drawn."""
    roof = _top(chart) + ABOVE_K
    drawn: dict[str, int] = {}
    beyond = []
    for line in chart.lines:
        if line.style == "limit" and float(line.y[0]) > roof:
            at = float(scale.temperature(line.y[0]))
            beyond.append(f"{_label(line)} at {at:.0f} {scale.temperature_unit}")
            continue
        place = drawn[line.style] = drawn.get(line.style, -1) + 1
        colours = TRACE_COLOURS[line.style]
        look = {"color": colours[place % len(colours)], **TRACE_LOOKS[line.style]}
        if line.style == "truth":
            look["linestyle"] = (palette.SHORT_DASH, palette.DOTTED)[place % 2]
        if line.style == "reading" and _lonely(line.y):
            look["marker"] = "."
        x = line.x / divisor
        if line.low is not None and line.high is not None:
            ends = scale.temperature(line.low), scale.temperature(line.high)
            axes.fill_between(x, *ends, linewidth=0, **TRACE_BANDS[line.style])
        axes.plot(x, scale.temperature(line.y), label=_label(line), **look)
    if beyond:
        text = short("above the chart: " + "; ".join(beyond), 100)
        axes.set_title(text, loc="left", fontsize=7, color=palette.OCHRE)


def _lonely(values: FloatArray) -> bool:
    """Whether a value stands between two gaps, where a line alone would not show it."""
    good = np.isfinite(np.concatenate([[np.nan], values, [np.nan]]))
    return bool(np.any(good[1:-1] & ~good[:-2] & ~good[2:]))


def _label(line: ChartLine) -> str:
    return short(line.label).lstrip("_")


def _top(chart: Chart) -> float:
    """Return the highest temperature that is drawn, limits left out. [K]"""
    highs = [
        float(np.nanmax(part))
        for line in chart.lines
        if line.style not in ("limit", "band")
        for part in (line.y, line.high)
        if part is not None and np.isfinite(part).any()
    ]
    return max(highs, default=293.15)


def _frame(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    """Span the time of the cook, whatever has no value in it."""
    first = min((float(line.x[0]) for line in chart.lines if line.x.size), default=0.0)
    last = max((float(line.x[-1]) for line in chart.lines if line.x.size), default=1.0)
    axes.set_xlim(first / divisor, max(last, first + 1e-6) / divisor)
    if not any(np.isfinite(line.y).any() for line in chart.lines):
        axes.set_ylim(*scale.temperature([273.15, 373.15]))
        text = "no reading in the whole cook"
        axes.text(0.5, 0.5, text, transform=axes.transAxes, ha="center", color=palette.GREY_DARK)


def _draw_lanes(
    axes: Axes, spans: tuple[Span, ...], lanes: Sequence[tuple[str, str]], divisor: float
) -> None:
    looks: dict[str, Look] = {
        "gap": {
            "color": palette.GREY_LIGHT,
            "hatch": palette.HATCH,
            "edgecolor": palette.GREY_DARK,
        },
        "alert": {"color": palette.PLUM, "edgecolor": "none"},
    }
    for span in spans:
        place, width = lanes.index((span.kind, span.label)), max(span.end - span.start, 0.0)
        axes.barh(place, width / divisor, left=span.start / divisor, height=0.7, linewidth=0.3,
                  **looks[span.kind])  # fmt: skip
    words = {"gap": "no reading", "alert": "alert"}
    rows_down(axes, [f"{words[kind]}: {short(label, 26)}" for kind, label in lanes])
    axes.spines["left"].set_visible(False)
