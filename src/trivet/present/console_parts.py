"""Parts of what a terminal shows: tables, lines and numbers as text."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from trivet.records.design import Display
from trivet.units import show_difference, show_temperature

if TYPE_CHECKING:
    from rich.console import RenderableType
    from rich.table import Table

SIGNS = {"met": "●", "not met": "✕", "not proven": "◇"}
STYLES = {"met": "bold blue", "not met": "bold magenta", "not proven": "bold yellow"}


def text_table(title: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> Table:
    """Return a table; a column headed with a trailing ``>`` is set flush right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(title=Text(title), title_justify="left", box=box.SIMPLE_HEAD, pad_edge=False)
    for column in columns:
        right = column.endswith(">")
        table.add_column(
            Text(column.removesuffix(">")), justify="right" if right else "left", overflow="fold"
        )
    for row in rows:
        table.add_row(*(Text(cell, style=STYLES.get(cell[2:], "")) for cell in row))
    return table


def text_group(*parts: RenderableType | None) -> RenderableType:
    """Return the parts below one another, without those that are None."""
    from rich.console import Group

    return Group(*(part for part in parts if part is not None))


def text_line(text: str) -> RenderableType:
    """Return a line of plain text; nothing in it acts as markup."""
    from rich.text import Text

    return Text(text)


def share_text(value_frac: float) -> str:
    """Return a share in per cent."""
    if not math.isfinite(value_frac):
        return "unknown"
    if value_frac < 1 <= round(value_frac, 3):
        return "> 99.9 %"
    return f"{100 * value_frac:.1f} %"


def temperature_text(value_k: float, display: Display) -> str:
    """Return a temperature in the design's unit."""
    if not math.isfinite(value_k):
        return "unknown"
    return show_temperature(value_k, display.temperature)


def difference_text(value_k: float, display: Display) -> str:
    """Return a temperature difference in the design's unit."""
    return show_difference(value_k, display.temperature)


def rate_text(value_kps: float, display: Display) -> str:
    """Return a heating rate in the design's unit."""
    if display.temperature == "degF":
        return f"{value_kps * 9 / 5:.1f} °F/s"
    return f"{value_kps:.1f} K/s"
