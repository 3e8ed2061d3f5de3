"""A front of settings: lead against nuisance and chatter."""

from __future__ import annotations

from typing import TYPE_CHECKING

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LOOKS = {"reading": ("o", palette.BLUE), "limit": ("s", palette.GREY_DARK)}


def draw_front(chart: Chart, scale: Scale) -> Figure:
    """Return the points of a front, the design as it is, and the pick."""
    from matplotlib.ticker import MaxNLocator

    del scale  # seconds and counts
    figure = new_figure(2.8)
    axes = figure.add_subplot()
    for line in chart.lines:
        marker, colour = LOOKS.get(line.style, ("D", palette.PLUM))
        axes.plot(line.x, line.y, marker, color=colour, markersize=6, label=line.label)
    last = max(float(line.x.max()) for line in chart.lines)
    axes.set_xlim(-0.5, last + 0.5)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.set_xlabel(chart.x_label)
    axes.set_ylabel(f"{chart.y_label} (s)")
    axes.legend(loc="best")
    evidence_tag(axes, chart.evidence)
    return figure
