"""Coverage: the cooktop from above with what each head sees, and a table per burner and pan."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.optics import point_of_pixel
from trivet.present.seeing import (
    pixel_marks,
    seeing_tables,
    seeing_words,
    visible_outline,
)
from trivet.present.texts import length, number, read_only, share
from trivet.records.comparison import SensorComparison
from trivet.records.design import Burner, Design, Head, Pan
from trivet.records.dossier import Chart, Circle, PlanView, Section, Table
from trivet.records.prediction import PanView, Prediction

FEW_PIXELS = 10.0
EDGE_POINTS = 24
ARC_POINTS = 48
FAR_M = 5.0


def coverage_section(
    design: Design, *, prediction: Prediction, sensors: SensorComparison | None = None
) -> Section:
    """Return the plan view to scale and the view table."""
    unseen = _unseen(design, prediction.views)
    words = [
        "Each head's field of view is drawn where it meets the cooktop plane. A pan is covered"
        " when its whole rim, with a margin of 10 mm, lies inside the field at the rim's own"
        " height, where the field is narrower than drawn."
    ]
    if unseen:
        words.append(f"Seen by no head: {', '.join(unseen)}.")
    words += seeing_words(prediction.seeing)
    return Section(
        "Coverage",
        tuple(words),
        (
            _view_table(design, prediction.views),
            *seeing_tables(design, prediction=prediction, sensors=sensors),
        ),
        (_plan_chart(design, prediction),),
    )


def _unseen(design: Design, views: Sequence[PanView]) -> list[str]:
    seen = {view.burner for view in views if view.rim_in_view_frac > 0}
    return [burner.name for burner in design.burners if burner.name not in seen]


def _view_table(design: Design, views: Sequence[PanView]) -> Table:
    display = design.display
    order = {burner.name: place for place, burner in enumerate(design.burners)}
    rows: list[tuple[str, ...]] = [
        (
            view.burner,
            view.pan,
            view.head,
            share(view.rim_in_view_frac),
            length(view.margin_m, display),
            number(view.pixels_across),
            length(view.footprint_m, display, 1),
            share(view.visible_base_frac, 0),
            f"{math.degrees(view.view_angle_rad):.0f}°",
            share(view.size_of_source_frac, 0),
            _remark(view),
        )
        for view in sorted(views, key=lambda one: order.get(one.burner, len(order)))
    ]
    named = {view.burner for view in views}
    rows += [
        (burner.name, *["–"] * 9, "seen by no head")
        for burner in design.burners
        if burner.name not in named
    ]
    columns = (
        "Burner",
        "Pan",
        "Head",
        "Rim in view",
        "Margin",
        "Pixels across",
        "Footprint",
        "Base visible",
        "Angle",
        "Signal from pan",
        "Remark",
    )
    note = (
        "Margin: shortest signed distance of the rim with its 10 mm from the field's edge;"
        " negative lies outside. Signal from pan: share of a central pixel's signal that comes"
        " from the pan itself."
    )
    return Table("View of each pan on each burner", columns, tuple(rows), note, "predicted")


def _remark(view: PanView) -> str:
    remarks = []
    if view.rim_in_view_frac <= 0:
        remarks.append("outside the field")
    elif view.rim_in_view_frac < 1 or view.margin_m < 0:
        remarks.append("rim cut by the edge")
    if view.pixels_across < FEW_PIXELS:
        remarks.append("under 10 pixels")
    return ", ".join(remarks) or "covered"


def _plan_chart(design: Design, prediction: Prediction) -> Chart:
    views = prediction.views
    largest = max(design.pans, key=lambda pan: pan.diameter_m)
    circles = [
        Circle(float(b.x_m), float(b.y_m), float(b.ring_diameter_m), b.name, "burner")
        for b in design.burners
    ]
    circles += [
        Circle(float(b.x_m), float(b.y_m), float(largest.diameter_m), largest.name, "pan")
        for b in design.burners
    ]
    circles += [
        Circle(float(h.mount.x_m), float(h.mount.y_m), 0.02, h.name, "head") for h in design.heads
    ]
    hidden = _hidden_parts(design, views)
    quads, spots = pixel_marks(design, seeing=prediction.seeing, pan=largest)
    circles += spots
    circles += [
        Circle(float(burner.x_m), float(burner.y_m), float(pan.diameter_m), pan.name, "pan")
        for burner, pan, _ in hidden
        if pan is not largest
    ]
    plan = PlanView(
        float(design.cooktop.width_m),
        float(design.cooktop.depth_m),
        tuple(circles),
        tuple((head.name, _field_outline(design, head)) for head in design.heads),
        tuple((pan.name, crescent) for _, pan, crescent in hidden),
        _seen_parts(design, views),
        tuple(quads),
    )
    heights = ", ".join(
        f"{head.name} at {length(head.mount.height_m, design.display)}" for head in design.heads
    )
    caption = (
        f"Plan of the cooktop to scale, the cook in front (below); lens of {heights} above it."
        f" Circles: heated rings and the largest pan, {largest.name}."
    )
    if hidden:
        pans = ", ".join(dict.fromkeys(pan.name for _, pan, _ in hidden))
        caption += f" Hatched: the part of the base that the wall hides, pan {pans}."
    if quads:
        caption += (
            " Small quadrilaterals: footprint of the pixel at a burner's centre; dotted circles:"
            " the spot that such a pixel measures, blur counted."
        )
    return Chart("plan", "Field of view over the cooktop", caption, plan=plan, evidence="predicted")


def _field_outline(design: Design, head: Head) -> FloatArray:
    """Return the outline of a head's field on the cooktop plane, cut far away."""
    lens, pose = card_lens(design.card(head)), mount_pose(head.mount)
    step = np.linspace(0.0, 1.0, EDGE_POINTS, endpoint=False)
    rows, cols = lens.rows, lens.cols
    edges = [
        np.stack([np.zeros_like(step), step * cols], axis=1),
        np.stack([step * rows, np.full_like(step, cols)], axis=1),
        np.stack([np.full_like(step, rows), (1 - step) * cols], axis=1),
        np.stack([(1 - step) * rows, np.zeros_like(step)], axis=1),
    ]
    rowcol = np.concatenate(edges) - 0.5  # outer pixel edges; centres are whole numbers
    try:
        points = point_of_pixel(rowcol, lens=lens, pose=pose)[:, :2]
    except OutOfRangeError:
        return read_only(np.empty((0, 2)))
    near = np.isfinite(points).all(axis=1) & (np.abs(points) < FAR_M).all(axis=1)
    return read_only(points[near])


def _hidden_parts(design: Design, views: Sequence[PanView]) -> list[tuple[Burner, Pan, FloatArray]]:
    """Return for each burner the hidden part of the base of the pan that hides most."""
    parts = []
    for burner, pan, head in _most_hidden(design, views):
        crescent = hidden_outline(
            (float(burner.x_m), float(burner.y_m)),
            radius_m=float(pan.diameter_m) / 2,
            depth_m=float(pan.depth_m),
            eye_m=(float(head.mount.x_m), float(head.mount.y_m), float(head.mount.height_m)),
        )
        if len(crescent):
            parts.append((burner, pan, crescent))
    return parts


def _most_hidden(design: Design, views: Sequence[PanView]) -> list[tuple[Burner, Pan, Head]]:
    """Return for each burner the pan whose base is hidden most, and the head that sees it so."""
    found = []
    for burner in design.burners:
        own = [view for view in views if view.burner == burner.name]
        if not own:
            continue
        worst = min(own, key=lambda view: view.visible_base_frac)
        head = next((one for one in design.heads if one.name == worst.head), None)
        pan = next((one for one in design.pans if one.name == worst.pan), None)
        if head is not None and pan is not None:
            found.append((burner, pan, head))
    return found


def _seen_parts(design: Design, views: Sequence[PanView]) -> tuple[tuple[str, FloatArray], ...]:
    """Return the visible part of the base of the pan that hides most, on each burner."""
    parts = []
    for burner, pan, head in _most_hidden(design, views):
        base_m = float(pan.thickness_m)
        outline = visible_outline(
            (float(burner.x_m), float(burner.y_m)),
            radius_m=float(pan.diameter_m) / 2,
            depth_m=float(pan.depth_m),
            eye_m=(
                float(head.mount.x_m),
                float(head.mount.y_m),
                float(head.mount.height_m) - base_m,
            ),
            flare_rad=float(pan.flare_rad),
        )
        if len(outline):
            parts.append((pan.name, outline))
    return tuple(parts)


def hidden_outline(
    centre_m: tuple[float, float],
    *,
    radius_m: float,
    depth_m: float,
    eye_m: tuple[float, float, float],
) -> FloatArray:
    """Return the outline of the part of a base that an upright wall hides from the eye.

    The rim, projected from the eye on the base, is a larger circle moved away from
    the eye; what of the base lies outside it is hidden.  Empty when nothing is.
    """
    if depth_m <= 0 or eye_m[2] <= depth_m:
        return read_only(np.empty((0, 2)))
    scale = depth_m / (eye_m[2] - depth_m)
    shift = np.array([centre_m[0] - eye_m[0], centre_m[1] - eye_m[1]]) * scale
    far = float(np.hypot(*shift))
    rim = radius_m * (1 + scale)
    if far + radius_m <= rim or far >= radius_m + rim:
        return read_only(np.empty((0, 2)))
    start = math.atan2(shift[1], shift[0])
    outer = math.acos((radius_m**2 + far**2 - rim**2) / (2 * radius_m * far))
    inner = math.acos((rim**2 + far**2 - radius_m**2) / (2 * rim * far))
    base = start + np.linspace(outer, 2 * math.pi - outer, ARC_POINTS)
    back = start + math.pi + np.linspace(inner, -inner, ARC_POINTS)
    centre = np.array(centre_m)
    arc = centre + radius_m * np.stack([np.cos(base), np.sin(base)], axis=1)
    chord = centre + shift + rim * np.stack([np.cos(back), np.sin(back)], axis=1)
    return read_only(np.concatenate([arc, chord]))
