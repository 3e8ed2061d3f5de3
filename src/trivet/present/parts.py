"""Parts of sections, and what their words mean to whoever draws them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from trivet.records.dossier import Claim, Grade, Section, Table

ALL = 10_000
"""Definition: rows of a table that stands whole in the short form."""
GRADE_WORDS: dict[Grade, str] = {
    "simulated": "simulated, within the simulator",
    "bench": "bench",
    "predicted": "predicted",
}
"""How a grade of evidence is written beside what rests on it."""


@dataclass(frozen=True)
class DecisionMark:
    """How a decision looks: no meaning rests on colour alone."""

    sign: str
    css: str
    style: str
    """Of the terminal's library."""


_GOOD = DecisionMark("●", "met", "bold blue")
_BAD = DecisionMark("✕", "not-met", "bold magenta")
_OPEN = DecisionMark("◇", "not-proven", "bold yellow")
MARKS = {
    "met": _GOOD,
    "inside": _GOOD,
    "not met": _BAD,
    "not inside": _BAD,
    "outside": _BAD,
    "not proven": _OPEN,
    "not judged": _OPEN,
    "too few": _OPEN,
    "undecided": _OPEN,
}
"""Decisions as they stand in cells, and how each is marked."""
MISSING = frozenset({"not measurable", "no reading", "no value", "unknown", "no bound", "no alert"})
_BLANK = MISSING | {"", "–", "never", "calculated", "none", "none due"}
_NUMBER = re.compile(
    r"^[±≤≥<>~+−-]?\s?\d[\d\s.,\u202f]*\s?"
    r"(%|K|°C|°F|°|mm|in|px|s|min|h|d|W|mW|(K|°F)/s|[A-Z]{3}|units|months)?( / \d[\d.]*)?$"
)

T = TypeVar("T")


def tabulate(
    title: str,
    items: Iterable[T],
    columns: Mapping[str, Callable[[T], str]],
    *,
    note: str = "",
    evidence: Grade = "",
    brief_rows: int = 0,
) -> Table:
    """Return a table with a row for each item and a heading for each way to show one."""
    rows = tuple(tuple(show(item) for show in columns.values()) for item in items)
    return Table(title, tuple(columns), rows, note, evidence, brief_rows)


def definition_table(
    title: str, rows: Sequence[tuple[str, str]], *, note: str = "", evidence: Grade = ""
) -> Table:
    """Return a table of quantities and their values."""
    return Table(title, ("Quantity", "Value"), tuple(rows), note, evidence)


def claim_section(summary: str, claims: Sequence[Claim]) -> Section:
    """Return the first page as a section, for whoever has no page."""
    table = tabulate(
        "Verdict by requirement",
        claims,
        {
            "Requirement": lambda one: one.id,
            "Decision": lambda one: one.decision,
            "What must hold": lambda one: one.text,
            "Limit": lambda one: one.limit,
            "Why so decided": lambda one: one.reason,
            "Evidence": lambda one: one.evidence,
        },
        brief_rows=ALL,
    )
    return Section("Verdict", (summary,), (table,))


def numeric_columns(table: Table) -> list[bool]:
    """Return for each column whether it holds numbers and blanks only, and at least one number."""
    return [_is_numeric([row[at] for row in table.rows]) for at in range(len(table.columns))]


def _is_numeric(texts: list[str]) -> bool:
    numbers = [text for text in texts if text not in _BLANK]
    if not numbers:
        return "not measurable" in texts
    return all(_NUMBER.match(text) for text in numbers)
