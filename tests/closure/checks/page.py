"""Writes and reads ``docs/simulator.md``: the page has no figure that a check did not give."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from tests.closure.checks.registry import Check, all_checks, limits_text

PAGE = Path(__file__).parents[3] / "docs" / "simulator.md"
INTRODUCTION = Path(__file__).with_name("introduction.md")
_ROW = re.compile(r"^\| (?P<name>.+?) \| (?P<figure>[-+.\de]+|never)(?P<unit> [^|]+)? \| ")


def figure_text(value: float) -> str:
    """Return a figure to three digits, as the page has it."""
    if value == float("inf"):
        return "never"
    if abs(value) >= 1000.0:
        return f"{value:.0f}"
    return f"{value:.3g}" if abs(value) >= 1e-9 else "0"


def page_text(figures: Mapping[str, float]) -> str:
    """Return the page for given figures, by the names of their checks."""
    checks = all_checks()
    parts = [INTRODUCTION.read_text("utf-8").rstrip(), "", "## Where it disagrees", ""]
    parts += _disagreements(checks, figures)
    for group in dict.fromkeys(one.group for one in checks):
        parts += ["", f"## {group}", ""]
        parts += ["| figure | simulator | to be | verdict | against | conditions |"]
        parts += ["|---|---|---|---|---|---|"]
        parts += [_row(one, figures[one.name]) for one in checks if one.group == group]
    return "\n".join(parts) + "\n"


def _row(check: Check, value: float) -> str:
    unit = f" {check.unit}" if check.unit else ""
    verdict = "agrees" if check.agrees(value) else "**disagrees**"
    cells = (
        check.name,
        f"{figure_text(value)}{unit}",
        limits_text(check),
        verdict,
        check.source,
        check.conditions,
    )
    assert not any("|" in cell for cell in cells), check.name
    return f"| {' | '.join(cells)} |"


def _disagreements(checks: list[Check], figures: Mapping[str, float]) -> list[str]:
    wrong = [one for one in checks if not one.agrees(figures[one.name])]
    if not wrong:
        return ["Nowhere among the figures below."]
    return [
        f"- {one.name}: {figure_text(figures[one.name])} {one.unit}, to be {limits_text(one)}. "
        f"{one.why or 'No reason is known.'}"
        for one in wrong
    ]


def page_figures(text: str) -> dict[str, float]:
    """Return the figures that stand in the tables of a page."""
    found = {}
    for line in text.splitlines():
        row = _ROW.match(line)
        if row:
            word = row["figure"]
            found[row["name"]] = float("inf") if word == "never" else float(word)
    return found


def write_page() -> None:
    """Measure everything and write the page."""
    figures = {}
    for one in all_checks():
        figures[one.name] = one.measure()
        print(f"{one.name}: {figure_text(figures[one.name])} {one.unit} ({limits_text(one)})")
    PAGE.write_text(page_text(figures), encoding="utf-8")
