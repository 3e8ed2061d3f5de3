"""The cooktop from above, to scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np

from trivet.present import palette
from trivet.present.drawing import evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart, PlanView

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Dash = tuple[float, tuple[float, ...]] | Literal["solid"]
FIELD_COLOURS = (palette.BLUE, palette.PLUM, palette.OCHRE, palette.GREY_DARK)
DASHES: tuple[Dash, ...] = ("solid", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1, 2)))
RING: Dash = (0, (3, 2))
DOTS: Dash = (0, (1, 1.5))
MARGIN_M, NAME_M = 0.06, 0.016


def draw_plan(chart: Chart, scale: Scale) -> Figure:
    """Return the plan: outline, burners, pans, fields, what the walls hide."""
    plan = chart.plan
    if plan is None:
        return new_figure(0.5)
    low, high = _extent(plan)
    ratio = (high[1] - low[1]) / (high[0] - low[0])
    figure = new_figure(min(7.5, max(3.0, 6.0 * ratio + 0.9)))
    axes = figure.add_subplot()
    _outline(axes, plan, scale)
    _fields(axes, plan, scale)
    _circles(axes, plan, scale)
    for _, points in plan.bases:
        axes.fill(*scale.length(points).T, facecolor=palette.BLUE_PALE, linewidth=0, zorder=2.5)
    for _, points in plan.footprints:
        axes.fill(
            *scale.length(points).T,
            facecolor="none",
            edgecolor=palette.BLUE_DARK,
            linewidth=0.9,
            zorder=6.5,
        )
    for _, points in plan.hidden:
        axes.fill(
            *scale.length(points).T,
            facecolor="none",
            edgecolor=palette.INK,
            hatch="//////",
            linewidth=0.4,
            zorder=4,
        )
    axes.set_aspect("equal")
    axes.set_xlim(*scale.length([low[0], high[0]]))
    axes.set_ylim(*scale.length([low[1], high[1]]))
    axes.set_xlabel(f"x / {scale.length_unit}    (front, the cook stands here)")
    axes.set_ylabel(f"y / {scale.length_unit}")
    evidence_tag(axes, chart.evidence)
    handles = _legend(plan)
    figure.legend(
        handles=handles,
        labels=[str(h.get_label()) for h in handles],
        loc="outside lower center",
        ncols=min(3, len(handles)),
    )
    return figure


def _extent(plan: PlanView) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the corners of the picture; a field reaching far out is cut."""
    reach_x, reach_y = plan.width_m / 2, plan.depth_m / 2
    for circle in plan.circles:
        reach_x = max(reach_x, abs(circle.x_m) + circle.diameter_m / 2)
        reach_y = max(reach_y, abs(circle.y_m) + circle.diameter_m / 2)
    for _, points in plan.fields:
        if len(points):
            reach_x = max(reach_x, min(1.5 * reach_x, float(np.abs(points[:, 0]).max())))
            reach_y = max(reach_y, min(1.5 * reach_y, float(np.abs(points[:, 1]).max())))
    x, y = reach_x + MARGIN_M, reach_y + MARGIN_M
    return (-x, -y), (x, y)


def _outline(axes: Axes, plan: PlanView, scale: Scale) -> None:
    from matplotlib.patches import Rectangle

    width, depth = scale.length([plan.width_m, plan.depth_m])
    axes.add_patch(
        Rectangle(
            (-width / 2, -depth / 2),
            width,
            depth,
            facecolor="#f6f7f8",
            edgecolor=palette.GREY_DARK,
            linewidth=1.4,
            zorder=1,
        )
    )


def _fields(axes: Axes, plan: PlanView, scale: Scale) -> None:
    for place, (_, points) in enumerate(plan.fields):
        if len(points) < 3:
            continue
        x, y = scale.length(points).T
        colour, dash = FIELD_COLOURS[place % 4], DASHES[place % 4]
        axes.fill(x, y, facecolor=colour, alpha=0.08, zorder=2)
        closed_x, closed_y = np.append(x, x[0]), np.append(y, y[0])
        axes.plot(closed_x, closed_y, color=colour, linewidth=1.6, linestyle=dash, zorder=5)


def _circles(axes: Axes, plan: PlanView, scale: Scale) -> None:
    from matplotlib.patches import Circle

    pans = _pans(plan)
    spot_m = max((one.diameter_m for one in plan.circles if one.kind == "spot"), default=0.0)
    below = float(scale.length([spot_m / 2 + NAME_M])[0]) if spot_m else 0.0
    for circle in plan.circles:
        x, y, size = (float(v) for v in scale.length([circle.x_m, circle.y_m, circle.diameter_m]))
        if circle.kind == "head":
            axes.plot([x], [y], marker="P", color=palette.BLUE_DARK, markersize=7, zorder=7)
            axes.annotate(
                short(circle.label, 20),
                (x, y),
                xytext=(6, 5),
                textcoords="offset points",
                color=palette.BLUE_DARK,
                fontsize=7.5,
                zorder=7,
            )
            continue
        if circle.kind == "spot":
            spot = Circle((x, y), size / 2, facecolor="none", linewidth=0.9, linestyle=DOTS)
            spot.set(edgecolor=palette.BLUE_DARK, zorder=6.5)
            axes.add_patch(spot)
            continue
        patch = Circle((x, y), size / 2, facecolor="none", linewidth=1.2, zorder=3)
        ring = circle.kind == "burner"
        patch.set_edgecolor(palette.OCHRE if ring else palette.INK)
        patch.set_linestyle(RING if ring else DASHES[pans.index(circle.label) % 4])
        axes.add_patch(patch)
        if circle.kind == "burner":
            axes.text(
                x,
                y - below,
                short(circle.label, 20),
                ha="center",
                va="center",
                fontsize=8,
                zorder=6,
                bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.0},
            )


def _pans(plan: PlanView) -> list[str]:
    return list(dict.fromkeys(one.label for one in plan.circles if one.kind == "pan"))


def _legend(plan: PlanView) -> list[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Artist] = [
        Line2D(
            [],
            [],
            color=FIELD_COLOURS[place % 4],
            linewidth=1.6,
            linestyle=DASHES[place % 4],
            label=f"field of {short(name, 24)}",
        )
        for place, (name, _) in enumerate(plan.fields)
    ]
    handles += [
        Line2D(
            [],
            [],
            color=palette.INK,
            linewidth=1.2,
            linestyle=DASHES[place % 4],
            label=f"pan {short(name, 24)}",
        )
        for place, name in enumerate(_pans(plan))
    ]
    handles.append(
        Line2D([], [], color=palette.OCHRE, linewidth=1.2, linestyle=RING, label="heated ring")
    )
    handles.append(
        Line2D([], [], color=palette.BLUE_DARK, marker="P", linestyle="none", label="head")
    )
    if plan.bases:
        handles.append(Patch(facecolor=palette.BLUE_PALE, label="base seen over the wall"))
    if plan.footprints:
        handles.append(
            Line2D([], [], color=palette.BLUE_DARK, linewidth=0.9, label="one pixel's footprint")
        )
        handles.append(
            Line2D(
                [],
                [],
                color=palette.BLUE_DARK,
                linewidth=0.9,
                linestyle=DOTS,
                label="measurable spot",
            )
        )
    if plan.hidden:
        handles.append(
            Patch(
                facecolor="none",
                edgecolor=palette.INK,
                hatch="//////",
                label="base hidden by the wall",
            )
        )
    return handles
