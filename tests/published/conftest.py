"""Loader of the published check values: one CSV a source, one row a check."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

REQUIRED = ("id", "expected", "tolerance", "printed_digits", "source", "locator", "how_known")
HOW_KNOWN = ("read", "computed", "from memory", "common practice, no source")
TEXT = ("id", "printed_digits", "source", "locator", "how_known")


def _cell(column: str, text: str) -> Any:
    """Return a float where the cell reads as one, else the text; empty becomes None."""
    if column in TEXT:
        return text
    if text == "":
        return None
    try:
        return float(text)
    except ValueError:
        return text


def load_rows(name: str) -> list[dict[str, Any]]:
    """Return the rows of ``tests/published/NAME.csv``; lines that start with # are notes."""
    path = Path(__file__).with_name(f"{name}.csv")
    lines = [x for x in path.read_text("utf-8").splitlines() if x and not x.startswith("#")]
    rows = list(csv.DictReader(lines))
    assert rows, f"{path.name}: no rows"
    missing = [column for column in REQUIRED if column not in rows[0]]
    assert not missing, f"{path.name}: columns missing: {missing}"
    for row in rows:
        assert None not in row, f"{path.name}: {row['id']}: more cells than columns"
        assert row["source"], f"{path.name}: {row['id']}: a check without a source"
        assert row["how_known"].startswith(HOW_KNOWN), f"{path.name}: {row['id']}: how_known"
    return [{k: _cell(k, v.strip()) for k, v in row.items()} for row in rows]


@pytest.fixture(scope="session")
def published() -> Callable[[str], list[dict[str, Any]]]:
    """Return the loader, so that a test asks ``published("blackbody")``."""
    return load_rows
