"""The trace of one burner in one cook, with lanes for gaps and alerts below it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart, Line, Span

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Dash = tuple[float, tuple[float, ...]]
MAIN_IN = 2.7
LANE_IN = 0.17
ABOVE_K = 60.0
MINUTES_FROM_S = 300.0
TRUTHS: tuple[tuple[str, Dash], ...] = (
    (palette.INK, (0, (4, 2))),
    (palette.GREY, (0, (1, 1.5))),
)
REFERENCES = (palette.INK, palette.OCHRE, palette.GREY, palette.OCHRE_MID)


def draw_trace(chart: Chart, scale: Scale) -> Figure:
    """Return reading, truth or reference, limits; below, gaps by reason and alerts."""
    lanes: list[tuple[str, str]] = list(
        dict.fromkeys((span.kind, span.label) for span in chart.spans)
    )
    lanes.sort(key=lambda lane: lane[0] != "gap")
    figure = new_figure(MAIN_IN + LANE_IN * len(lanes) + 0.75 * bool(lanes) * 0.4)
    axes, lane_axes = _axes(figure, len(lanes))
    divisor, unit = _time_unit(chart)
    _readings(axes, chart, scale, divisor)
    _truths(axes, chart, scale, divisor)
    _limits(axes, chart, scale, divisor)
    for span in chart.spans:
        if span.kind == "gap":
            axes.axvspan(
                span.start / divisor,
                span.end / divisor,
                facecolor=palette.GREY_PALE,
                alpha=0.45,
                linewidth=0,
                zorder=0,
            )
    for mark in chart.marks:
        axes.axvline(
            mark.x / divisor, color=palette.PLUM, linewidth=0.9, linestyle=(0, (2, 2)), zorder=2
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


def _readings(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    for line in chart.lines:
        x = line.x / divisor
        if line.style == "reading":
            if line.low is not None and line.high is not None:
                axes.fill_between(
                    x,
                    scale.temperature(line.low),
                    scale.temperature(line.high),
                    facecolor=palette.BLUE_PALE,
                    linewidth=0,
                    zorder=2,
                )
            axes.plot(
                x,
                scale.temperature(line.y),
                color=palette.BLUE,
                linewidth=1.7,
                zorder=5,
                marker="." if _lonely(line.y) else "",
                markersize=3,
                label=_label(line),
            )
        elif line.style in ("hottest", "apparent"):
            axes.plot(
                x,
                scale.temperature(line.y),
                color=palette.PLUM_MID if line.style == "hottest" else palette.GREY,
                linewidth=0.9,
                zorder=4,
                label=_label(line),
            )


def _lonely(values: FloatArray) -> bool:
    """Whether a value stands between two gaps, where a line alone would not show it."""
    good = np.isfinite(np.concatenate([[np.nan], values, [np.nan]]))
    return bool(np.any(good[1:-1] & ~good[:-2] & ~good[2:]))


def _truths(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    truths = [line for line in chart.lines if line.style == "truth"]
    for (colour, dash), line in zip(TRUTHS, truths, strict=False):
        axes.plot(
            line.x / divisor,
            scale.temperature(line.y),
            color=colour,
            linewidth=1.2,
            linestyle=dash,
            zorder=6,
            label=_label(line),
        )
    references = [line for line in chart.lines if line.style == "reference"]
    for place, line in enumerate(references):
        x, colour = line.x / divisor, REFERENCES[place % len(REFERENCES)]
        if line.low is not None and line.high is not None:
            axes.fill_between(
                x,
                scale.temperature(line.low),
                scale.temperature(line.high),
                facecolor=palette.GREY_LIGHT,
                alpha=0.5,
                linewidth=0,
                zorder=1,
            )
        axes.plot(
            x,
            scale.temperature(line.y),
            color=colour,
            linewidth=1.1,
            linestyle=(0, (4, 2)),
            zorder=6,
            label=_label(line),
        )


def _label(line: Line) -> str:
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


def _limits(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    roof = _top(chart) + ABOVE_K
    beyond = []
    for line in chart.lines:
        if line.style not in ("limit", "band"):
            continue
        value = float(line.y[0])
        if line.style == "limit" and value > roof:
            beyond.append(
                f"{_label(line)} at {float(scale.temperature(value)):.0f} {scale.temperature_unit}"
            )
            continue
        colour = palette.OCHRE if line.style == "limit" else palette.GREY
        if line.low is not None and line.high is not None:
            pale = palette.OCHRE_PALE if line.style == "limit" else palette.GREY_PALE
            axes.fill_between(
                line.x / divisor,
                scale.temperature(line.low),
                scale.temperature(line.high),
                facecolor=pale,
                alpha=0.55,
                linewidth=0,
                zorder=1,
            )
        axes.plot(
            line.x / divisor,
            scale.temperature(line.y),
            color=colour,
            linewidth=1.2,
            linestyle=(0, (7, 2, 1, 2)),
            zorder=3,
            label=_label(line),
        )
    if beyond:
        text = "above the chart: " + "; ".join(beyond)
        axes.set_title(short(text, 100), loc="left", fontsize=7, color=palette.OCHRE)


def _frame(axes: Axes, chart: Chart, scale: Scale, divisor: float) -> None:
    """Span the time of the cook, whatever has no value in it."""
    first = min((float(line.x[0]) for line in chart.lines if line.x.size), default=0.0)
    last = max((float(line.x[-1]) for line in chart.lines if line.x.size), default=1.0)
    axes.set_xlim(first / divisor, max(last, first + 1e-6) / divisor)
    if not any(np.isfinite(line.y).any() for line in chart.lines):
        axes.set_ylim(*scale.temperature([273.15, 373.15]))
        axes.text(
            0.5,
            0.5,
            "no reading in the whole cook",
            transform=axes.transAxes,
            ha="center",
            color=palette.GREY_DARK,
        )


def _draw_lanes(
    axes: Axes, spans: tuple[Span, ...], lanes: list[tuple[str, str]], divisor: float
) -> None:
    place = {lane: row for row, lane in enumerate(lanes)}
    for span in spans:
        gap = span.kind == "gap"
        width = max(span.end - span.start, 0.0) / divisor
        axes.barh(
            place[(span.kind, span.label)],
            width,
            left=span.start / divisor,
            height=0.7,
            color=palette.GREY_LIGHT if gap else palette.PLUM,
            hatch="//////" if gap else "",
            edgecolor=palette.GREY_DARK if gap else "none",
            linewidth=0.3,
        )
    names = [
        ("no reading: " if kind == "gap" else "alert: ") + short(label, 26) for kind, label in lanes
    ]
    axes.set_yticks(range(len(lanes)), names)
    axes.set_ylim(len(lanes) - 0.4, -0.6)
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
