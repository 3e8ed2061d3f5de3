"""What each head sees: coverage, spots, shadows, seams, tolerance of the mount, poses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from trivet.present.comparison import comparison_table
from trivet.present.numbers import NONE, Formatter, angle, interval, number, share
from trivet.present.parts import tabulate
from trivet.present.planview import plan_chart
from trivet.records.comparison import SensorComparison
from trivet.records.design import Design
from trivet.records.dossier import Section, Table
from trivet.records.prediction import MIN_PIXELS_ACROSS, PanView, Prediction
from trivet.records.seeing import HeadPose, PoseSearch, Seeing, Shadow, Tolerance

MAX_SHOWN_ROWS = 16  # own estimate: ranked rows further down decide nothing


def coverage_section(
    design: Design, *, prediction: Prediction, sensors: SensorComparison | None = None
) -> Section:
    """Return the plan view to scale, and tables of what is seen."""
    unseen = _unseen(design, prediction.views)
    words = [
        "Each head's field of view is drawn where it meets the cooktop plane. A pan is covered"
        " when its whole rim, with a margin of 10 mm, lies inside the field at the rim's own"
        " height, where the field is narrower than drawn."
    ]
    if unseen:
        words.append(f"Seen by no head: {', '.join(unseen)}.")
    words += _words(prediction.seeing)
    tables = [_view_table(design, prediction.views), *_seeing_tables(design, prediction.seeing)]
    if sensors:
        tables.append(
            comparison_table("Other sensors in the same place", sensors, display=design.display)
        )
    return Section("Coverage", tuple(words), tuple(tables), (plan_chart(design, prediction),))


def _unseen(design: Design, views: Sequence[PanView]) -> list[str]:
    seen = {view.burner for view in views if view.rim_in_view_frac > 0}
    return [burner.name for burner in design.burners if burner.name not in seen]


def _words(seeing: Seeing) -> Iterator[str]:
    if seeing.lidded:
        yield (
            f"Used with a lid: {', '.join(seeing.lidded)}. Under a lid nothing of the contents is"
            " seen; what is read is the lid."
        )
    if seeing.tolerance is not None:
        one = seeing.tolerance
        yield (
            f"As mounted, {one.ok_draws} of {one.draws} drawn mounts cover every pan on every"
            f" burner: {share(one.ok_frac, 2)}, between {share(one.low_frac, 2)} and"
            f" {share(one.high_frac, 2)} at 95 %."
        )


def _view_table(design: Design, views: Sequence[PanView]) -> Table:
    show = Formatter(design.display)
    order = {burner.name: place for place, burner in enumerate(design.burners)}
    table = tabulate(
        "View of each pan on each burner",
        sorted(views, key=lambda one: order.get(one.burner, len(order))),
        {
            "Burner": lambda view: view.burner,
            "Pan": lambda view: view.pan,
            "Head": lambda view: view.head,
            "Rim in view": lambda view: share(view.rim_in_view_frac),
            "Margin": lambda view: show.length(view.margin_m),
            "Pixels across": lambda view: number(view.pixels_across),
            "Footprint": lambda view: show.length(view.footprint_m, 1),
            "Base visible": lambda view: share(view.visible_base_frac, 0),
            "Angle": lambda view: angle(view.view_angle_rad),
            "Signal from pan": lambda view: share(view.size_of_source_frac, 0),
            "Remark": _remark,
        },
        note=(
            "Margin: shortest signed distance of the rim with its 10 mm from the field's edge;"
            " negative lies outside. Signal from pan: share of a central pixel's signal that"
            " comes from the pan itself."
        ),
        evidence="predicted",
    )
    blind = [one.name for one in design.burners if one.name not in {view.burner for view in views}]
    rows = (*table.rows, *((name, *[NONE] * 9, "seen by no head") for name in blind))
    return Table(table.title, table.columns, rows, table.note, table.evidence)


def _remark(view: PanView) -> str:
    remarks = []
    if view.rim_in_view_frac <= 0:
        remarks.append("outside the field")
    elif view.rim_in_view_frac < 1 or view.margin_m < 0:
        remarks.append("rim cut by the edge")
    if view.pixels_across < MIN_PIXELS_ACROSS:
        remarks.append("under 10 pixels")
    return ", ".join(remarks) or "covered"


def _seeing_tables(design: Design, seeing: Seeing) -> Iterator[Table]:
    show = Formatter(design.display)
    if seeing.pans:
        yield _spots(seeing, show)
        yield _shadows(seeing.shadows)
    if seeing.seams:
        yield _seams(seeing, show)
    if seeing.tolerance:
        yield _tolerance(seeing.tolerance)
    if seeing.search:
        yield _search(seeing.search, show)


def _spots(seeing: Seeing, show: Formatter) -> Table:
    return tabulate(
        "What can be measured of each pan",
        seeing.pans,
        {
            "Burner": lambda one: one.burner,
            "Pan": lambda one: one.pan,
            "Head": lambda one: one.head,
            "Footprint": lambda one: (
                f"{show.length(one.along_m, 1)} × {show.length(one.across_m, 1)}"
            ),
            "Measurable spot": lambda one: show.length(one.spot_m),
            "10 × 10": lambda one: "yes" if one.ten_by_ten else "no",
            "Error cold / hot, centre": lambda one: (
                f"{show.difference(one.cold_k)} / {show.difference(one.hot_k)}"
            ),
            "One pixel inside the rim": lambda one: (
                f"{show.difference(one.rim_cold_k)} / {show.difference(one.rim_hot_k)}"
            ),
            "Steepest angle": lambda one: angle(one.far_angle_rad),
            "Base seen, crowded": lambda one: share(one.crowded_frac, 0),
            "Remark": lambda one: one.remark or NONE,
        },
        note=(
            f"Errors at most, before any correction, by what lies beside the pan: {seeing.beside}."
            " Measurable spot: holds 95 % of a pixel's energy. Crowded: with the tallest pan that"
            " fits on every other burner. Liquids radiate less beyond 50 to 55°."
        ),
        evidence="predicted",
    )


def _shadows(shadows: Sequence[Shadow]) -> Table:
    ranked = sorted(shadows, key=lambda one: -one.hidden_frac)
    left = len(ranked) - MAX_SHOWN_ROWS
    note = "The tallest pan that fits beside it, as a solid cylinder; pairs not listed hide less."
    if left > 0:
        note += f" {left} pairs more hide less than those shown."
    table = tabulate(
        "Pans that hide pans",
        ranked[:MAX_SHOWN_ROWS],
        {
            "Burner": lambda one: one.burner,
            "Pan": lambda one: one.pan,
            "Hidden by": lambda one: one.by_pan,
            "On burner": lambda one: one.by_burner,
            "From head": lambda one: one.head,
            "Of its base": lambda one: share(one.hidden_frac),
        },
        note=note,
        evidence="predicted",
    )
    none = (("no pan hides another's base", *[NONE] * 5),)
    return Table(table.title, table.columns, table.rows or none, note, "predicted")


def _seams(seeing: Seeing, show: Formatter) -> Table:
    return tabulate(
        "Seams between heads",
        seeing.seams,
        {
            "Head": lambda one: one.head,
            "Other head": lambda one: one.other,
            "Fields": lambda one: "gap" if one.overlap_m < 0 else "overlap",
            "Width on the plane": lambda one: show.length(abs(one.overlap_m)),
            "Burners cut": lambda one: ", ".join(one.burners_cut) or "none",
        },
        note=(
            "A burner is cut when both heads see a part of a pan there and neither sees it whole."
        ),
        evidence="predicted",
    )


def _tolerance(one: Tolerance) -> Table:
    ranked = sorted(one.lines, key=lambda line: line.ok_frac)
    worst = f" Fails most: {one.worst_pan} on {one.worst_burner}." if one.worst_burner else ""
    left = len(ranked) - MAX_SHOWN_ROWS
    more = f" {left} lines more, all covered at least as often." if left > 0 else ""
    return tabulate(
        "Coverage as mounted",
        ranked[:MAX_SHOWN_ROWS],
        {
            "Burner": lambda line: line.burner,
            "Pan": lambda line: line.pan,
            "Covered": lambda line: share(line.ok_frac, 2),
            "95 % interval": lambda line: interval(line.low_frac, line.high_frac, 2),
        },
        note=f"{one.draws} draws, {one.spread}; exact 95 % intervals.{worst}{more}",
        evidence="predicted",
    )


def _search(search: PoseSearch, show: Formatter) -> Table:
    return tabulate(
        "Pose search",
        search.poses,
        {
            "Sensor": lambda one: one.sensor,
            "Fits": lambda one: "yes" if one.fits else "no",
            "x / y / height": lambda one: "; ".join(
                " / ".join(show.length(value) for value in (head.x_m, head.y_m, head.height_m))
                for head in one.heads
            ),
            "Turned": lambda one: "; ".join(_turns(head) for head in one.heads),
            "Least margin": lambda one: show.length(one.margin_m, 1),
            "Pixels": lambda one: number(one.pixels_across),
            "Fails by": lambda one: one.fails or NONE,
        },
        note=(
            f"Head {search.head}; free: {', '.join(search.free)}. Asked: "
            f"{'; '.join(search.constraints)}. {search.answer[:1].upper()}{search.answer[1:]}."
        ),
        evidence="predicted",
    )


def _turns(head: HeadPose) -> str:
    """Return tilt, and pan and roll where there is any."""
    turns = (("tilt", head.tilt_rad), ("pan", head.pan_rad), ("roll", head.roll_rad))
    told = [f"{name} {angle(turn, 1)}" for name, turn in turns if abs(turn) > 1e-9]
    return ", ".join(told) or "level"
