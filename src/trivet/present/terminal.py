"""Sections on the terminal: the tables and sentences of the page, without its pictures.

Texts from files become :class:`rich.text.Text`, so that no name acts as markup.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rich import box
from rich.cells import cell_len
from rich.console import Console, ConsoleOptions, Group, RenderableType
from rich.table import Table as Grid
from rich.text import Text

from trivet.present.parts import GRADE_WORDS, MARKS, MISSING, numeric_columns
from trivet.records.dossier import Section, Table

if TYPE_CHECKING:
    from rich.console import RenderResult

MIN_TEXT_CELLS, MAX_TEXT_CELLS = 14, 30
"""Own estimate: a column of text is narrowed to a quarter of its longest, within these ends."""
BESIDE_CELLS = 3
"""Definition: what the terminal's library puts between two columns."""
WORDY = 3.0
"""Own estimate: a table whose cells would fill a line so often is easier to read as blocks."""
MAX_KEYS = 3  # own estimate: more columns that repeat would leave no room


def on_terminal(sections: Sequence[Section], *, short: bool = False) -> RenderableType:
    """Return sections as something to print; the short form holds only what asks to be in it."""
    return Group(*(part for section in sections for part in _parts(section, short)))


def _parts(section: Section, short: bool) -> Iterator[RenderableType]:
    brief = section.tables and all(len(one.rows) <= one.brief_rows for one in section.tables)
    if brief or not short:
        yield Text(f"\n{section.title}", style="bold underline")
        yield from (Text(text) for text in section.paragraphs)
    for table in section.tables:
        if short and not table.brief_rows:
            continue
        rows = table.rows[: table.brief_rows] if short else table.rows
        grade = f" ({GRADE_WORDS[table.evidence]})" if table.evidence else ""
        if table.title != section.title:
            yield Text(f"\n{table.title}{grade}", style="bold")
        if rows:
            yield _FittedTable(table, rows)
        if len(rows) < len(table.rows):
            yield Text(f"Rows left out: {len(table.rows) - len(rows)}.")
        if table.note and not short:
            yield Text(table.note, style="dim")


@dataclass(frozen=True)
class _FittedTable:
    """A table that is parted where the terminal is too narrow for all its columns."""

    table: Table
    rows: tuple[tuple[str, ...], ...]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield one table, some that repeat the first columns, or a block a row if all is text."""
        numeric = numeric_columns(self.table)
        bodies = [
            max((cell_len(row[at]) + 2 * (row[at] in MARKS) for row in self.rows), default=0)
            for at in range(len(numeric))
        ]
        least = [self._least(at, bodies[at], right) for at, right in enumerate(numeric)]
        most = [
            max(cell_len(head), body) for head, body in zip(self.table.columns, bodies, strict=True)
        ]
        parts = self._parted(least, options.max_width)
        if len(parts) > 1 and sum(bodies) > WORDY * options.max_width:
            yield from self._blocks()
            return
        for part in parts:
            grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
            for at, width in zip(part, _filled(part, least, most, options.max_width), strict=True):
                grid.add_column(
                    Text(self.table.columns[at]),
                    justify="right" if numeric[at] else "left",
                    overflow="fold",
                    width=width,
                )
            for row in self.rows:
                grid.add_row(*(_cell(row[at]) for at in part))
            yield grid

    def _least(self, at: int, body: int, numeric: bool) -> int:
        """Return the cells that a column needs: numbers whole, words folded."""
        head = max((cell_len(word) for word in self.table.columns[at].split()), default=0)
        folded = min(max(body // 4, MIN_TEXT_CELLS), MAX_TEXT_CELLS)
        return max(head, body if numeric else min(body, folded))

    def _parted(self, least: list[int], room: int) -> list[list[int]]:
        """Return the columns of each part; every part begins with those that tell rows apart."""
        keys = list(range(self._keys()))
        parts = [list(keys)]
        for at in range(len(keys), len(least)):
            asked = sum(least[one] + BESIDE_CELLS for one in (*parts[-1], at)) - BESIDE_CELLS
            if asked > room and len(parts[-1]) > len(keys):
                parts.append(list(keys))
            parts[-1].append(at)
        return parts

    def _keys(self) -> int:
        """Return how many leading columns tell the rows apart."""
        most = min(MAX_KEYS, len(self.table.columns))
        for count in range(1, most):
            if len({row[:count] for row in self.rows}) == len(self.rows):
                return count
        return most

    def _blocks(self) -> Iterator[RenderableType]:
        keys = self._keys()
        for row in self.rows:
            yield Text(", ".join(row[:keys]), style="bold")
            block = Grid.grid(padding=(0, 2))
            for head, text in zip(self.table.columns[keys:], row[keys:], strict=True):
                block.add_row(Text(f"  {head}"), _cell(text))
            yield block


def _filled(part: list[int], least: list[int], most: list[int], room: int) -> list[int]:
    """Return the widths of a part's columns: what is left of the line goes to who wants it."""
    widths = {at: least[at] for at in part}
    spare = max(0, room + BESIDE_CELLS - sum(width + BESIDE_CELLS for width in widths.values()))
    wanting = sorted(part, key=lambda at: most[at] - least[at])
    for place, at in enumerate(wanting):
        given = min(most[at] - least[at], spare // (len(wanting) - place))
        widths[at] += given
        spare -= given
    return [max(1, width) for width in widths.values()]


def _cell(text: str) -> Text:
    if text in MARKS:
        return Text(f"{MARKS[text].sign} {text}", style=MARKS[text].style)
    return Text(text, style="dim" if text in MISSING else "")
