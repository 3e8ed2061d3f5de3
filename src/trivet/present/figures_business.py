"""The alert timeline, the days of a charge and the tornado."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from trivet.arrays import FloatArray
from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DASHES = ("-", (0, (6, 2)), (0, (3, 1.5)), (0, (1, 1.2)))
SHADES = (palette.BLUE_DARK, palette.BLUE, palette.BLUE_MID, palette.GREY)


def draw_timeline(chart: Chart, scale: Scale) -> Figure:
    """Return the heating of the hottest part with needed and actual trips."""
    figure = new_figure(3.1)
    axes = figure.add_subplot()
    for span in chart.spans:
        axes.axvspan(span.start, span.end, color=palette.GREY_PALE, linewidth=0)
        axes.annotate(
            span.label,
            (span.end, 0.03),
            xycoords=("data", "axes fraction"),
            xytext=(3, 0),
            textcoords="offset points",
            fontsize=7,
            color=palette.GREY_DARK,
        )
    rates = [line for line in chart.lines if line.style == "reading"]
    for place, line in enumerate(rates):
        shown = scale.temperature(line.y)
        axes.plot(
            line.x,
            shown,
            color=SHADES[place % len(SHADES)],
            linestyle=DASHES[place % len(DASHES)],
            linewidth=1.4,
            label=line.label,
        )
    for line in chart.lines:
        shown = scale.temperature(line.y)
        if line.style == "needed":
            axes.plot(line.x, shown, "o", mfc="white", mec=palette.INK, ms=6, zorder=5)
        elif line.style == "trip":
            axes.plot(line.x, shown, "D", color=palette.OCHRE, ms=5, zorder=6)
        elif line.style == "limit":
            axes.plot(line.x, shown, color=palette.PLUM, linewidth=1.2)
            axes.annotate(line.label, (line.x[-1], shown[-1]), xytext=(0, 3), ha="right",
                          textcoords="offset points", fontsize=7, color=palette.PLUM)  # fmt: skip
    axes.set_xlim(left=0.0)
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"{chart.y_label} / {scale.temperature_unit}")
    axes.plot([], [], "o", mfc="white", mec=palette.INK, ms=6, label="must trip by")
    axes.plot([], [], "D", color=palette.OCHRE, ms=5, label="trips at")
    axes.legend(loc="lower right")
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
        for line in chart.lines:
            _percentile(axes, line.x, line.y, share)
    reach = max([float(line.x.max()) for line in chart.lines] + [one.x for one in chart.marks])
    for place, mark in enumerate(chart.marks):
        late = mark.x > 0.85 * reach
        axes.axvline(mark.x, color=palette.OCHRE, linewidth=1.0, linestyle=DASHES[place % 4])
        axes.annotate(
            mark.label,
            (mark.x, 0.95 - 0.1 * place),
            xycoords=("data", "axes fraction"),
            xytext=(-3 if late else 3, 0),
            textcoords="offset points",
            ha="right" if late else "left",
            fontsize=7,
        )
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
    axes.annotate(
        f"P{100 * (1 - share):.0f}: {at:.0f} d",
        (at, 100 * share),
        xytext=(6, 1),
        textcoords="offset points",
        fontsize=7,
        color=palette.BLUE_DARK,
    )


def draw_tornado(chart: Chart, scale: Scale) -> Figure:
    """Return one bar a figure, from its low to its high end, about the nominal value."""
    del scale  # money has its own unit
    names = list(dict.fromkeys(label for label, _, _ in chart.bars))
    figure = new_figure(0.9 + 0.28 * max(1, len(names)))
    axes = figure.add_subplot()
    middle = chart.totals[0][1] / 1000 if chart.totals else 0.0
    values = {(label, end): value / 1000 for label, value, end in chart.bars}
    for place, name in enumerate(names):
        for end, colour, hatch in (
            ("low", palette.OCHRE_MID, "////"),
            ("high", palette.BLUE, ""),
        ):
            _bar(axes, place, middle, values.get((name, end), np.nan), (colour, hatch))
    axes.axvline(middle, color=palette.INK, linewidth=0.9, label="as planned")
    axes.axvline(
        0.0, color=palette.PLUM, linewidth=0.9, linestyle=DASHES[1], label="nothing earned"
    )
    axes.bar(0, 0, color=palette.OCHRE_MID, hatch="////", edgecolor="white", label="at low end")
    axes.bar(0, 0, color=palette.BLUE, label="at high end")
    axes.legend(loc="upper left", bbox_to_anchor=(1.01, 1.0), borderaxespad=0.0)
    axes.set_yticks(range(len(names)), [short(name, 44) for name in names])
    axes.set_ylim(len(names) - 0.4, -0.6)
    axes.set_xlabel(f"{chart.x_label} / 1,000 {chart.y_label}")
    axes.grid(visible=False, axis="y")
    axes.tick_params(axis="y", length=0)
    evidence_tag(axes, chart.evidence)
    return figure


def _bar(axes: Axes, place: int, middle: float, value: float, look: tuple[str, str]) -> None:
    if not np.isfinite(value):
        return
    colour, hatch = look
    axes.barh(place, value - middle, left=middle, height=0.6, color=colour, hatch=hatch,
              edgecolor="white", linewidth=0)  # fmt: skip
