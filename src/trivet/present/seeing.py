"""What can be seen beyond coverage: spots, shadows, seams, tolerance, poses, other sensors."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import FloatArray
from trivet.models.optics import card_lens, mount_pose
from trivet.physics.geometry.optics import pixel_of_point, point_of_pixel
from trivet.present.texts import (
    NONE,
    UNKNOWN,
    difference,
    length,
    number,
    read_only,
    seconds,
    share,
)
from trivet.records.comparison import Cell, Row, SensorComparison
from trivet.records.design import Burner, Design, Head, Pan
from trivet.records.dossier import Circle, Table
from trivet.records.prediction import Prediction
from trivet.records.seeing import PanSight, PoseSearch, Seeing, Tolerance

OUTLINE_POINTS = 96
MAX_ROWS = 16


def seeing_tables(
    design: Design, *, prediction: Prediction, sensors: SensorComparison | None
) -> tuple[Table, ...]:
    """Return every table of what is seen that has something to say."""
    seeing = prediction.seeing
    tables = [
        _spots(design, seeing) if seeing.pans else None,
        _shadows(seeing) if seeing.pans else None,
        _seams(design, seeing) if seeing.seams else None,
        _tolerance(seeing.tolerance) if seeing.tolerance else None,
        _search(design, seeing.search) if seeing.search else None,
        _sensors(design, sensors) if sensors else None,
    ]
    return tuple(table for table in tables if table is not None)


def seeing_words(seeing: Seeing) -> tuple[str, ...]:
    """Return what must be said of lids and of the chance that coverage holds."""
    words = []
    if seeing.lidded:
        words.append(
            f"Used with a lid: {', '.join(seeing.lidded)}. Under a lid nothing of the contents is"
            " seen; what is read is the lid."
        )
    one = seeing.tolerance
    if one is not None:
        words.append(
            f"As mounted, {one.ok_draws} of {one.draws} drawn mounts cover every pan on every"
            f" burner: {share(one.ok_frac, 2)}, between {share(one.low_frac, 2)} and"
            f" {share(one.high_frac, 2)} at 95 %."
        )
    return tuple(words)


def _spots(design: Design, seeing: Seeing) -> Table:
    display = design.display
    rows = tuple(
        (
            one.burner,
            one.pan,
            one.head,
            f"{length(one.along_m, display, 1)} × {length(one.across_m, display, 1)}",
            length(one.spot_m, display),
            "yes" if one.ten_by_ten else "no",
            f"{difference(one.cold_k, display)} / {difference(one.hot_k, display)}",
            f"{difference(one.rim_cold_k, display)} / {difference(one.rim_hot_k, display)}",
            f"{math.degrees(one.far_angle_rad):.0f}°",
            share(one.crowded_frac, 0),
            one.remark or NONE,
        )
        for one in seeing.pans
    )
    columns = (
        "Burner",
        "Pan",
        "Head",
        "Footprint",
        "Measurable spot",
        "10 × 10",
        "Error cold / hot, centre",
        "One pixel inside the rim",
        "Steepest angle",
        "Base seen, crowded",
        "Remark",
    )
    note = (
        f"Errors at most, before any correction, by what lies beside the pan: {seeing.beside}."
        " Measurable spot: holds 95 % of a pixel's energy. Crowded: with the tallest pan that"
        " fits on every other burner. Liquids radiate less beyond 50 to 55°."
    )
    return Table("What can be measured of each pan", columns, rows, note, "predicted")


def _shadows(seeing: Seeing) -> Table:
    ranked = sorted(seeing.shadows, key=lambda one: -one.hidden_frac)
    rows: tuple[tuple[str, ...], ...] = tuple(
        (one.burner, one.pan, one.by_pan, one.by_burner, one.head, share(one.hidden_frac))
        for one in ranked[:MAX_ROWS]
    )
    left = len(ranked) - len(rows)
    note = "The tallest pan that fits beside it, as a solid cylinder; pairs not listed hide less."
    if left > 0:
        note += f" {left} pairs more hide less than those shown."
    if not rows:
        rows = (("no pan hides another's base", *[NONE] * 5),)
    columns = ("Burner", "Pan", "Hidden by", "On burner", "From head", "Of its base")
    return Table("Pans that hide pans", columns, rows, note, "predicted")


def _seams(design: Design, seeing: Seeing) -> Table:
    rows = tuple(
        (
            one.head,
            one.other,
            "gap" if one.overlap_m < 0 else "overlap",
            length(abs(one.overlap_m), design.display),
            ", ".join(one.burners_cut) or "none",
        )
        for one in seeing.seams
    )
    columns = ("Head", "Head", "Fields", "Width on the plane", "Burners cut")
    note = "A burner is cut when both heads see a part of a pan there and neither sees it whole."
    return Table("Seams between heads", columns, rows, note, "predicted")


def _tolerance(one: Tolerance) -> Table:
    ranked = sorted(one.lines, key=lambda line: line.ok_frac)
    rows = tuple(
        (
            line.burner,
            line.pan,
            share(line.ok_frac, 2),
            f"{share(line.low_frac, 2)} to {share(line.high_frac, 2)}",
        )
        for line in ranked[:MAX_ROWS]
    )
    worst = f"Fails most: {one.worst_pan} on {one.worst_burner}." if one.worst_burner else ""
    left = len(ranked) - len(rows)
    more = f" {left} lines more, all covered at least as often." if left > 0 else ""
    note = f"{one.draws} draws, {one.spread}; exact 95 % intervals. {worst}{more}"
    columns = ("Burner", "Pan", "Covered", "95 % interval")
    return Table("Coverage as mounted", columns, rows, note, "predicted")


def _search(design: Design, search: PoseSearch) -> Table:
    display = design.display
    rows = tuple(
        (
            one.sensor,
            "yes" if one.fits else "no",
            "; ".join(
                " / ".join(length(value, display) for value in (head.x_m, head.y_m, head.height_m))
                for head in one.heads
            ),
            "; ".join(
                " / ".join(
                    f"{math.degrees(turn):.1f}°"
                    for turn in (head.tilt_rad, head.pan_rad, head.roll_rad)
                )
                for head in one.heads
            ),
            length(one.margin_m, display, 1),
            number(one.pixels_across),
            one.fails or NONE,
        )
        for one in search.poses
    )
    columns = (
        "Sensor",
        "Fits",
        "x / y / height",
        "Tilt / pan / roll",
        "Least margin",
        "Pixels",
        "Fails by",
    )
    note = (
        f"Head {search.head}; free: {', '.join(search.free)}. Asked: "
        f"{'; '.join(search.constraints)}. {search.answer[:1].upper()}{search.answer[1:]}."
    )
    return Table("Pose search", columns, rows, note, "predicted")


def _sensors(design: Design, sensors: SensorComparison) -> Table:
    rows = tuple(
        (row.question, *(_cell(cell, row, design) for cell in row.cells)) for row in sensors.rows
    )
    return Table(
        "Other sensors in the same place",
        ("Question", *sensors.columns),
        rows,
        sensors.note,
        "predicted",
    )


def _cell(cell: Cell, row: Row, design: Design) -> str:
    if cell.text:
        return cell.text
    if not math.isfinite(cell.value):
        return UNKNOWN
    match row.kind:
        case "fraction":
            return share(cell.value)
        case "length":
            return length(cell.value, design.display)
        case "difference":
            return difference(cell.value, design.display)
        case "time":
            return seconds(cell.value)
        case "days":
            return f"{cell.value:.0f} d"
    return number(cell.value)


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
