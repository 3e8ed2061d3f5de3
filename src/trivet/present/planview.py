"""The cooktop from above, to scale: fields of view, pans, what their walls hide, footprints."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.optics import pixel_of_point, point_of_pixel
from trivet.present.numbers import Formatter, read_only
from trivet.records.design import Burner, Design, Pan
from trivet.records.dossier import Chart, Circle, CircleKind, PlanView
from trivet.records.prediction import PanView, Prediction
from trivet.records.seeing import PanSight, Seeing
from trivet.records.sensorcard import Head, Mount

EDGE_POINTS = 24  # own estimate: a straight edge through a lens bends little
ARC_POINTS, OUTLINE_POINTS = 48, 96  # own estimate: smooth at the width of a page
HEAD_M = 0.02  # own estimate: about the window of a head, drawn as a cross
FAR_M = 5.0  # own estimate: far outside any cooktop; a tilted field reaches to the horizon


def plan_chart(design: Design, prediction: Prediction) -> Chart:
    """Return the plan view of a design with the largest pan on every burner."""
    largest = max(design.pans, key=lambda pan: pan.diameter_m)
    hidden = _hidden_parts(design, prediction.views)
    quads, spots = pixel_marks(design, seeing=prediction.seeing, pan=largest)
    circles = [_ring(one, float(one.ring_diameter_m), one.name, "burner") for one in design.burners]
    circles += [_ring(one, float(largest.diameter_m), largest.name) for one in design.burners]
    circles += [_ring(one.mount, HEAD_M, one.name, "head") for one in design.heads]
    circles += spots
    circles += [
        _ring(burner, float(pan.diameter_m), pan.name)
        for burner, pan, _ in hidden
        if pan is not largest
    ]
    plan = PlanView(
        float(design.cooktop.width_m),
        float(design.cooktop.depth_m),
        tuple(circles),
        tuple((head.name, _field_outline(design, head)) for head in design.heads),
        tuple((pan.name, crescent) for _, pan, crescent in hidden),
        _seen_parts(design, prediction.views),
        tuple(quads),
    )
    caption = _caption(design, largest, plan)
    return Chart("plan", "Field of view over the cooktop", caption, plan=plan, evidence="predicted")


def _ring(at: Burner | Mount, diameter_m: float, label: str, kind: CircleKind = "pan") -> Circle:
    return Circle(float(at.x_m), float(at.y_m), diameter_m, label, kind)


def _caption(design: Design, largest: Pan, plan: PlanView) -> str:
    show = Formatter(design.display)
    heights = ", ".join(f"{one.name} at {show.length(one.mount.height_m)}" for one in design.heads)
    caption = (
        f"Plan of the cooktop to scale, the cook in front (below); lens of {heights} above it."
        f" Circles: heated rings and the largest pan, {largest.name}."
    )
    if plan.hidden:
        pans = ", ".join(dict.fromkeys(name for name, _ in plan.hidden))
        caption += f" Hatched: the part of the base that the wall hides, pan {pans}."
    if plan.footprints:
        caption += (
            " Small quadrilaterals: footprint of the pixel at a burner's centre; dotted circles:"
            " the spot that such a pixel measures, blur counted."
        )
    return caption


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


def pixel_marks(
    design: Design, *, seeing: Seeing, pan: Pan
) -> tuple[list[tuple[str, FloatArray]], list[Circle]]:
    """Return the footprint of the pixel at each burner's centre, and its measurable spot."""
    quads: list[tuple[str, FloatArray]] = []
    spots: list[Circle] = []
    for burner in design.burners:
        own = [
            one
            for one in seeing.pans
            if one.burner == burner.name and one.pan == pan.name and math.isfinite(one.spot_m)
        ]
        inputs = min(own, key=lambda one: one.spot_m, default=None)
        head = next((one for one in design.heads if inputs and one.name == inputs.head), None)
        if inputs is None or head is None or inputs.remark == "outside the field":
            continue
        quads.append((head.name, _quad(design, head, burner, inputs)))
        spots.append(
            Circle(
                float(burner.x_m),
                float(burner.y_m),
                inputs.spot_m,
                "measurable spot",
                "spot",
            )
        )
    return quads, spots


def _quad(design: Design, head: Head, burner: Burner, inputs: PanSight) -> FloatArray:
    """Return the corners of the footprint about a burner's centre on the base's plane."""
    lens, pose = card_lens(design.card(head)), mount_pose(head.mount)
    height = float(design.pan(inputs.pan).thickness_m)
    centre = pixel_of_point([float(burner.x_m), float(burner.y_m), height], lens=lens, pose=pose)
    corners = centre + np.array([[-0.5, -0.5], [-0.5, 0.5], [0.5, 0.5], [0.5, -0.5]])
    points = point_of_pixel(corners, lens=lens, pose=pose, plane_height_m=height)[:, :2]
    return read_only(points[np.isfinite(points).all(axis=1)])


def visible_outline(
    centre_m: tuple[float, float],
    *,
    radius_m: float,
    depth_m: float,
    eye_m: tuple[float, float, float],
    flare_rad: float = 0.0,
) -> FloatArray:
    """Return the outline of the part of a base that is seen over its wall.

    Base and projected rim are two circles; what they share is convex, and seen from a
    point in it each direction ends at the nearer circle.  Empty when nothing is seen.
    """
    if depth_m < 0 or eye_m[2] <= depth_m:
        return read_only(np.empty((0, 2)))
    scale = depth_m / (eye_m[2] - depth_m)
    shift = np.array([centre_m[0] - eye_m[0], centre_m[1] - eye_m[1]]) * scale
    rim = (radius_m + depth_m * math.tan(flare_rad)) * (1 + scale)
    far = float(np.hypot(*shift))
    if far >= radius_m + rim:
        return read_only(np.empty((0, 2)))
    way = shift / far if far > 0 else np.array([1.0, 0.0])
    low, high = max(-radius_m, far - rim), min(radius_m, far + rim)
    start = way * (low + high) / 2
    turn = np.linspace(0.0, 2 * math.pi, OUTLINE_POINTS, endpoint=False)
    ray = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    ends = []
    for middle, radius in ((np.zeros(2), radius_m), (shift, rim)):
        to = start - middle
        along = ray @ to
        ends.append(-along + np.sqrt(np.maximum(along**2 - to @ to + radius**2, 0.0)))
    return read_only(np.array(centre_m) + start + np.minimum(*ends)[:, None] * ray)
