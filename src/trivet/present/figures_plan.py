"""The cooktop from above, to scale."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from trivet.present import palette
from trivet.present.drawing import Look, beside, evidence_tag, new_figure, short
from trivet.present.numbers import Scale
from trivet.records.dossier import Chart, Circle, PlanView

if TYPE_CHECKING:
    from matplotlib.artist import Artist
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FIELD_COLOURS = (palette.BLUE, palette.PLUM, palette.OCHRE, palette.GREY_DARK)
EDGE_M, NAME_M = 0.06, 0.016  # own estimate: room about the plan, and below a spot for its name
PLAN_LOOKS: dict[str, Look] = {
    "base": {"facecolor": palette.BLUE_PALE},
    "hidden": {"facecolor": "none", "edgecolor": palette.INK, "hatch": palette.HATCH},
    "footprint": {"facecolor": "none", "edgecolor": palette.BLUE_DARK, "linewidth": 0.9},
    "spot": {"color": palette.BLUE_DARK, "linewidth": 0.9, "linestyle": palette.DOTTED},
    "ring": {"color": palette.OCHRE, "linewidth": 1.2, "linestyle": palette.SHORT_DASH},
    "head": {"color": palette.BLUE_DARK, "marker": "P", "linestyle": "none"},
}
"""Of what lies in the plan, in the picture as in its legend."""


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
    for circle in plan.circles:
        _circle(axes, circle, plan, scale)
    for parts, look, zorder in (
        (plan.bases, {"linewidth": 0, **PLAN_LOOKS["base"]}, 2.5),
        (plan.hidden, {"linewidth": 0.4, **PLAN_LOOKS["hidden"]}, 4),
        (plan.footprints, PLAN_LOOKS["footprint"], 6.5),
    ):
        for _, points in parts:
            axes.fill(*scale.length(points).T, zorder=zorder, **look)
    axes.set_aspect("equal")
    axes.set_xlim(*scale.length([low[0], high[0]]))
    axes.set_ylim(*scale.length([low[1], high[1]]))
    axes.set_xlabel(f"x / {scale.length_unit}    (front, the cook stands here)")
    axes.set_ylabel(f"y / {scale.length_unit}")
    evidence_tag(axes, chart.evidence)
    handles = list(_legend(plan))
    labels = [str(one.get_label()) for one in handles]
    columns = min(3, len(handles))
    figure.legend(handles=handles, labels=labels, loc="outside lower center", ncols=columns)
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
    x, y = reach_x + EDGE_M, reach_y + EDGE_M
    return (-x, -y), (x, y)


def _outline(axes: Axes, plan: PlanView, scale: Scale) -> None:
    from matplotlib.patches import Rectangle

    width, depth = scale.length([plan.width_m, plan.depth_m])
    corner = (-width / 2, -depth / 2)
    look: Look = {"facecolor": palette.PAPER, "edgecolor": palette.GREY_DARK, "linewidth": 1.4}
    axes.add_patch(Rectangle(corner, width, depth, zorder=1, **look))


def _field_look(place: int) -> Look:
    look = {"color": FIELD_COLOURS[place % 4], "linestyle": palette.DASHES[place % 4]}
    return {"linewidth": 1.6, **look}


def _fields(axes: Axes, plan: PlanView, scale: Scale) -> None:
    for place, (_, points) in enumerate(plan.fields):
        if len(points) < 3:
            continue
        x, y = scale.length(points).T
        axes.fill(x, y, facecolor=FIELD_COLOURS[place % 4], alpha=0.08, zorder=2)
        axes.plot(np.append(x, x[0]), np.append(y, y[0]), zorder=5, **_field_look(place))


def _pans(plan: PlanView) -> list[str]:
    return list(dict.fromkeys(one.label for one in plan.circles if one.kind == "pan"))


def _pan_look(place: int) -> Look:
    return {"color": palette.INK, "linewidth": 1.2, "linestyle": palette.DASHES[place % 4]}


def _circle(axes: Axes, circle: Circle, plan: PlanView, scale: Scale) -> None:
    from matplotlib.patches import Circle as Ring

    x, y, size = (float(v) for v in scale.length([circle.x_m, circle.y_m, circle.diameter_m]))
    if circle.kind == "head":
        axes.plot([x], [y], markersize=7, zorder=7, **PLAN_LOOKS["head"])
        beside(axes, short(circle.label, 20), (x, y), (6, 5), color=palette.BLUE_DARK, zorder=7)
        return
    looks = {"spot": PLAN_LOOKS["spot"], "burner": PLAN_LOOKS["ring"]}
    look = looks.get(circle.kind) or _pan_look(_pans(plan).index(circle.label))
    zorder = 6.5 if circle.kind == "spot" else 3
    axes.add_patch(Ring((x, y), size / 2, fill=False, zorder=zorder, **look))
    if circle.kind == "burner":
        spot_m = max((one.diameter_m for one in plan.circles if one.kind == "spot"), default=0.0)
        below = float(scale.length([spot_m / 2 + NAME_M])[0]) if spot_m else 0.0
        paper = {"facecolor": "white", "edgecolor": "none", "alpha": 0.75, "pad": 1.0}
        name = short(circle.label, 20)
        axes.text(x, y - below, name, ha="center", va="center", fontsize=8, zorder=6, bbox=paper)


def _legend(plan: PlanView) -> Iterator[Artist]:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    for place, (name, _) in enumerate(plan.fields):
        yield Line2D([], [], label=f"field of {short(name, 24)}", **_field_look(place))
    for place, name in enumerate(_pans(plan)):
        yield Line2D([], [], label=f"pan {short(name, 24)}", **_pan_look(place))
    yield Line2D([], [], label="heated ring", **PLAN_LOOKS["ring"])
    yield Line2D([], [], label="head", **PLAN_LOOKS["head"])
    if plan.bases:
        yield Patch(label="base seen over the wall", **PLAN_LOOKS["base"])
    if plan.footprints:
        yield Line2D([], [], color=palette.BLUE_DARK, linewidth=0.9, label="one pixel's footprint")
        yield Line2D([], [], label="measurable spot", **PLAN_LOOKS["spot"])
    if plan.hidden:
        yield Patch(label="base hidden by the wall", **PLAN_LOOKS["hidden"])
