"""The dossier as one page: names of places, cells and pictures prepared for the template."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from trivet.present.figures import chart_svg
from trivet.records.design import Display
from trivet.records.dossier import Chart, Dossier, Section, Table

if TYPE_CHECKING:
    from jinja2 import Environment

FOLDER = Path(__file__).parent
GRADES = {
    "simulated": "simulated, within the simulator",
    "bench": "bench",
    "predicted": "predicted",
}
DECISIONS = {
    "met": "met",
    "not met": "not-met",
    "not proven": "not-proven",
    "not judged": "not-proven",
}
MISSING = frozenset({"not measurable", "no reading", "no value", "unknown", "no bound", "no alert"})
_NUMBER = re.compile(
    r"^[±≤≥<>~+−-]?\s?\d[\d\s.,\u202f]*\s?"
    r"(%|K|°C|°F|°|mm|in|px|s|min|d|W|mW|(K|°F)/s|[A-Z]{3}|units|months)?( / \d[\d.]*)?$"
)
_UNIT = re.compile(r"(?<=\d) (?=(?:%|K|°C|°F|mm|in|s|min|W|mW)(?![A-Za-z]))")
_SIGN = re.compile(r"([≤≥<>]) (?=\d)")
_BLANK = frozenset(
    {"", "–", "never", "unknown", "no bound", "not measurable", "calculated", "none"}
)


@dataclass(frozen=True)
class Cell:
    """One cell of a table as the template shows it."""

    text: str
    decision: str = ""
    missing: bool = False
    numeric: bool = False


@dataclass(frozen=True)
class ShownTable:
    """A table with the kind of each column found out."""

    title: str
    columns: tuple[Cell, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str
    grade: str


@dataclass(frozen=True)
class ShownChart:
    """A picture with its words."""

    kind: str
    title: str
    caption: str
    grade: str
    svg: Markup


@dataclass(frozen=True)
class ShownSection:
    """A section with a place to link to."""

    anchor: str
    title: str
    paragraphs: tuple[str, ...]
    tables: tuple[ShownTable, ...]
    charts: tuple[ShownChart, ...]


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["tied"] = tied
    return environment


def tied(text: str) -> str:
    """Return a text whose numbers are not parted from their unit or sign at a line's end."""
    return _UNIT.sub("\u00a0", _SIGN.sub("\\1\u00a0", text))


def page(dossier: Dossier, *, display: Display) -> str:
    """Return the page as text."""
    sections = [
        _section(section, place, display) for place, section in enumerate(dossier.sections, 1)
    ]
    return (
        _environment()
        .get_template("page.html.j2")
        .render(
            dossier=dossier,
            sections=sections,
            decisions=DECISIONS,
            style=Markup((FOLDER / "page.css").read_text(encoding="utf-8")),
        )
    )


def _section(section: Section, place: int, display: Display) -> ShownSection:
    charts = tuple(
        _chart(chart, f"s{place}c{number}", display)
        for number, chart in enumerate(section.charts, 1)
    )
    return ShownSection(
        f"part-{place}",
        section.title,
        section.paragraphs,
        tuple(_table(table) for table in section.tables),
        charts,
    )


def _chart(chart: Chart, key: str, display: Display) -> ShownChart:
    return ShownChart(
        chart.kind,
        chart.title,
        chart.caption,
        GRADES.get(chart.evidence, ""),
        Markup(chart_svg(chart, display=display, key=key)),
    )


def _table(table: Table) -> ShownTable:
    width = len(table.columns)
    numeric = [_is_numeric([row[column] for row in table.rows]) for column in range(width)]
    rows = tuple(
        tuple(
            Cell(text, DECISIONS.get(text, ""), text in MISSING, numeric[column])
            for column, text in enumerate(row)
        )
        for row in table.rows
    )
    columns = tuple(
        Cell(text, numeric=right) for text, right in zip(table.columns, numeric, strict=True)
    )
    return ShownTable(table.title, columns, rows, table.note, GRADES.get(table.evidence, ""))


def _is_numeric(texts: list[str]) -> bool:
    """Whether a column holds numbers and blanks only, and at least one number."""
    numbers = [text for text in texts if text not in _BLANK]
    if not numbers:
        return "not measurable" in texts
    return all(_NUMBER.match(text) for text in numbers)
