"""Charts as pictures: one function a kind, chosen here."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from trivet.present.drawing import drawing_style, svg_text
from trivet.present.figures_bars import (
    draw_battery,
    draw_budget,
    draw_coverage,
    draw_error,
    draw_tornado,
)
from trivet.present.figures_lines import (
    draw_cash,
    draw_days,
    draw_front,
    draw_scatter,
    draw_timeline,
    draw_widths,
)
from trivet.present.figures_pixels import draw_confusion, draw_labels, draw_profile
from trivet.present.figures_plan import draw_plan
from trivet.present.figures_trace import draw_trace
from trivet.present.numbers import Scale
from trivet.records.design import Display
from trivet.records.dossier import Chart

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAMESPACE = "http://www.w3.org/2000/svg"
DRAWERS: dict[str, Callable[[Chart, Scale], Figure]] = {
    "trace": draw_trace,
    "budget": draw_budget,
    "plan": draw_plan,
    "battery": draw_battery,
    "cash": draw_cash,
    "error": draw_error,
    "timeline": draw_timeline,
    "days": draw_days,
    "tornado": draw_tornado,
    "widths": draw_widths,
    "scatter": draw_scatter,
    "coverage": draw_coverage,
    "front": draw_front,
    "labels": draw_labels,
    "profile": draw_profile,
    "confusion": draw_confusion,
}


def chart_file(chart: Chart, *, display: Display) -> str:
    """Return a chart as the text of an SVG file of its own, in the units of the screen."""
    inline = chart_svg(chart, display=display, key="chart")
    return inline.replace("<svg ", f'<svg xmlns="{NAMESPACE}" width="960" ', 1) + "\n"


def chart_svg(chart: Chart, *, display: Display, key: str) -> str:
    """Return a chart as inline SVG in the units of the screen."""
    grade = f" ({chart.evidence})" if chart.evidence else ""
    with drawing_style():
        figure = DRAWERS[chart.kind](chart, Scale(display))
        return svg_text(figure, label=f"{chart.title}{grade}. {chart.caption}", key=key)
