"""What is seen, and comparisons, as tables on the terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from trivet.present.console_parts import (
    difference_text,
    share_text,
    text_group,
    text_line,
    text_table,
)
from trivet.records.comparison import Cell, DesignComparison, Row, SensorComparison
from trivet.records.design import Display
from trivet.records.figures import Figure
from trivet.records.seeing import HeadPose, PoseSearch, Seeing, Tolerance
from trivet.records.sensorcard import SensorCard
from trivet.units import show_difference, show_length

if TYPE_CHECKING:
    from rich.console import RenderableType

UNKNOWN = "unknown"
MAX_ROWS, FEW_ROWS = 12, 6


def show_seeing(seeing: Seeing, *, display: Display) -> RenderableType:
    """Return spots, shadows, seams, tolerance and poses as tables."""
    return text_group(
        _pans(seeing, display) if seeing.pans else None,
        _shadows(seeing) if seeing.shadows else None,
        _seams(seeing, display) if seeing.seams else None,
        _tolerance(seeing.tolerance) if seeing.tolerance else None,
        _search(seeing.search, display) if seeing.search else None,
    )


def seeing_answers(seeing: Seeing) -> Iterator[tuple[str, str]]:
    """Yield the questions of what is seen that fit on one page, with their answers."""
    if seeing.unseen:
        yield "seen by no head?", ", ".join(seeing.unseen)
    one = seeing.tolerance
    if one is not None:
        ends = _ends(one.low_frac, one.high_frac)
        worst = f"; most often lost: {one.worst_pan} on {one.worst_burner}"
        yield (
            "covered as mounted?",
            f"all pans in {one.ok_draws} of {one.draws} draws ({ends} at 95 %)"
            f"{worst if one.worst_burner else ''}",
        )
    cut = [name for seam in seeing.seams for name in seam.burners_cut]
    if cut:
        yield "cut by a seam?", ", ".join(dict.fromkeys(cut))
    if seeing.shadows:
        most = max(seeing.shadows, key=lambda shadow: shadow.hidden_frac)
        yield (
            "hidden by another pan?",
            f"up to {share_text(most.hidden_frac)} of {most.pan} on {most.burner},"
            f" by {most.by_pan} on {most.by_burner}",
        )
    if seeing.search is not None:
        yield "where should it hang?", seeing.search.answer


def _pans(seeing: Seeing, display: Display) -> RenderableType:
    """Return a row a pan, at the burner and head where least of it can be measured."""
    rows = []
    for pan in dict.fromkeys(one.pan for one in seeing.pans):
        own = [one for one in seeing.pans if one.pan == pan and one.remark != "outside the field"]
        one = max(own, key=lambda inputs: inputs.rim_hot_k, default=None)
        if one is None:
            rows.append((pan, "outside every field", *["–"] * 6))
            continue
        rows.append(
            (
                pan,
                _length(
                    max(max(inputs.along_m, inputs.across_m) for inputs in own),
                    display,
                ),
                _length(max(inputs.spot_m for inputs in own), display),
                "yes" if all(inputs.ten_by_ten for inputs in own) else "no",
                f"{_signed(one.cold_k, display)} / {_signed(one.hot_k, display)}",
                f"{_signed(one.rim_cold_k, display)} / {_signed(one.rim_hot_k, display)}",
                f"{math.degrees(max(sight.far_angle_rad for sight in own)):.0f}°",
                share_text(min(inputs.crowded_frac for inputs in own)),
            )
        )
    columns = ("pan", "pixel>", "spot>", "10x10", "cold / hot>", "at the rim>", "angle>",
               "seen>")  # fmt: skip
    table = text_table("Measurable spot, worst burner of each pan (predicted)", columns, rows)
    tail = (
        f"Cold / hot: error at most by what lies beside the pan ({seeing.beside}). Seen: share of"
        " the base with tall pans on all other burners."
    )
    return text_group(table, text_line(tail))


def _length(value_m: float, display: Display) -> str:
    return show_length(value_m, display.length) if math.isfinite(value_m) else UNKNOWN


def _signed(value_k: float, display: Display) -> str:
    text = difference_text(value_k, display)
    return text if not value_k > 0 else f"+{text}"


def _shadows(seeing: Seeing) -> RenderableType:
    ranked = sorted(seeing.shadows, key=lambda one: -one.hidden_frac)
    rows = [
        (
            one.burner,
            one.pan,
            f"{one.by_pan} on {one.by_burner}",
            one.head,
            share_text(one.hidden_frac),
        )
        for one in ranked[:MAX_ROWS]
    ]
    columns = ("burner", "pan", "hidden by", "from head", "of its base>")
    left = len(ranked) - len(rows)
    tail = text_line(f"{left} more pairs hide less.") if left else None
    return text_group(text_table("Pans that hide pans (predicted)", columns, rows), tail)


def _seams(seeing: Seeing, display: Display) -> RenderableType:
    rows = []
    for one in seeing.seams:
        width = _length(abs(one.overlap_m), display)
        words = f"gap of {width}" if one.overlap_m < 0 else width
        rows.append((one.head, one.other, words, ", ".join(one.burners_cut) or "none"))
    columns = ("head", "head", "overlap>", "burners cut")
    return text_table("Seams on the cooktop plane (predicted)", columns, rows)


def _tolerance(one: Tolerance) -> RenderableType:
    failing = sorted(
        (line for line in one.lines if line.ok_frac < 1.0), key=lambda line: line.ok_frac
    )
    rows = [
        (line.burner, line.pan, share_text(line.ok_frac), _ends(line.low_frac, line.high_frac))
        for line in failing[:FEW_ROWS]
    ]
    title = f"Covered as mounted (predicted): {one.ok_draws} of {one.draws} draws cover all,"
    title += f" {_ends(one.low_frac, one.high_frac)}"
    if not rows:
        return text_line(f"{title}; no pan is ever lost.")
    table = text_table(title, ("burner", "pan", "covered>", "95 % interval>"), rows)
    worst = f"Fails most: {one.worst_pan} on {one.worst_burner}. {one.spread}."
    return text_group(table, text_line(worst))


def _ends(low: float, high: float) -> str:
    return f"{100 * low:.2f} to {100 * high:.2f} %"


def _search(search: PoseSearch, display: Display) -> RenderableType:
    rows = [
        (
            one.sensor,
            "yes" if one.fits else "no",
            "; ".join(
                " / ".join(_length(value, display) for value in (head.x_m, head.y_m, head.height_m))
                for head in one.heads
            ),
            "; ".join(_turns(head) for head in one.heads),
            _length(one.margin_m, display),
            f"{one.pixels_across:.1f}",
            one.fails,
        )
        for one in search.poses
    ]
    columns = ("sensor", "fits", "x / y / height>", "turned>", "margin>", "pixels>", "fails by")
    title = f"Pose search of head {search.head} (predicted): free {', '.join(search.free)}"
    asked = f"Asked: {'; '.join(search.constraints)}. Answer: {search.answer}."
    return text_group(text_table(title, columns, rows), text_line(asked))


def _turns(head: HeadPose) -> str:
    """Return tilt, and pan and roll where there is any."""
    turns = (("tilt", head.tilt_rad), ("pan", head.pan_rad), ("roll", head.roll_rad))
    told = [f"{name} {math.degrees(turn):.1f}°" for name, turn in turns if abs(turn) > 1e-9]
    return ", ".join(told) or "level"


def show_cards(cards: Sequence[SensorCard]) -> RenderableType:
    """Return the sensor cards of the library, a row each; what no source gives is unknown."""
    rows = [
        (
            card.name,
            card.technology,
            f"{card.cols} x {card.rows}",
            f"{card.fov_h_rad.text} x {card.fov_v_rad.text} {card.lens}",
            _text(card.netd_delta_k),
            _text(card.accuracy_delta_k),
            f"{_text(card.range_low_k)} to {_text(card.range_high_k)}",
            _text(card.settle_s),
            _text(card.measure_w),
            UNKNOWN if card.board_price is None else str(card.board_price),
        )
        for card in cards
    ]
    columns = ("card", "kind", "pixels>", "field", "noise>", "accuracy>", "range", "settles>",
               "draws>", "board>")  # fmt: skip
    sources = [text_line(f"{card.name}: {card.source}. {card.notes}") for card in cards]
    return text_group(text_table("Sensor cards (classes of arrays)", columns, rows), *sources)


def _text(figure: Figure | None) -> str:
    return UNKNOWN if figure is None else figure.text


def show_comparison(
    comparison: SensorComparison | DesignComparison, *, display: Display
) -> RenderableType:
    """Return a comparison with a column each, and below it where every row came from."""
    rows = [
        (row.question, *(cell_text(cell, row=row, display=display) for cell in row.cells))
        for row in comparison.rows
    ]
    title = "Designs side by side (predicted)"
    if isinstance(comparison, SensorComparison):
        title = f"Sensors for {comparison.design} (predicted)"
    columns = ("question", *(f"{name}>" for name in comparison.columns))
    sources = [
        text_line(f"{row.question}: {row.cells[0].source}") for row in comparison.rows if row.cells
    ]
    return text_group(
        text_table(title, columns, rows),
        text_line(comparison.note),
        text_line("Calculated from (first column; --json gives every cell's):"),
        *sources,
    )


def cell_text(cell: Cell, *, row: Row, display: Display) -> str:
    """Return a cell in the units of the screen."""
    if cell.text:
        return cell.text
    if not math.isfinite(cell.value):
        return UNKNOWN
    match row.kind:
        case "fraction":
            return share_text(cell.value)
        case "length":
            return show_length(cell.value, display.length)
        case "difference":
            return show_difference(cell.value, display.temperature)
        case "time":
            return f"{cell.value:.0f} s"
        case "days":
            return f"{cell.value:.0f} d"
    return f"{cell.value:.1f}" if cell.value != round(cell.value) else f"{cell.value:.0f}"
