"""A front of settings: lead against nuisance and chatter."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure
from trivet.present.scales import Scale
from trivet.records.dossier import Chart, Line, Mark
from trivet.records.tuning import TunedPoint, Tuning

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


def front_chart(found: Tuning) -> Chart:
    """Return the picture of a front: lead against cooks with a nuisance or chatter."""

    def line(label: str, points: Sequence[TunedPoint], style: str) -> Line:
        x = np.array([point.bothered for point in points], dtype=np.float64)
        y = np.array([point.lead_s for point in points], dtype=np.float64)
        return Line(label, x, y, style=style)  # type: ignore[arg-type]

    return Chart(
        "front",
        f"Settings of {found.alert}",
        f"{found.evaluations} settings tried on {len(found.cooks)} calibration cooks; no point of"
        " the front is beaten in lead, misses, nuisances, chatter and needless warnings at once."
        " Proof cooks unseen.",
        x_label="nuisances, chatters and cooks warned that turned down by themselves",
        y_label="lead, 5 % quantile",
        lines=(
            line("front", found.front, "reading"),
            line("as designed", (found.now,), "limit"),
            line("pick", (found.pick,), "truth"),
        ),
        marks=(Mark(float(found.pick.bothered), "pick"),),
        evidence="simulated",
    )
