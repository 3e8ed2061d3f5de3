"""Every fact and every published check has its source beside it."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FACTS = sorted((ROOT / "src" / "trivet" / "facts").glob("*.csv"))
PUBLISHED = sorted((ROOT / "tests" / "published").glob("*.csv"))


def rows(path: Path) -> list[dict[str, str]]:
    lines = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


@pytest.mark.parametrize("path", FACTS, ids=lambda path: path.name)
def test_facts_have_source_and_grade(path: Path) -> None:
    found = rows(path)
    assert found
    for row in found:
        assert row["source"].strip(), row
        assert row["grade"] in ("solid", "fair", "shaky", "assumed"), row


@pytest.mark.parametrize("path", PUBLISHED, ids=lambda path: path.name)
def test_published_checks_have_a_source(path: Path) -> None:
    found = rows(path)
    assert found
    for row in found:
        assert row["source"].strip(), row


def test_sensor_cards_have_a_source() -> None:
    text = (ROOT / "src" / "trivet" / "facts" / "sensors.toml").read_text("utf-8")
    for card in tomllib.loads(text)["sensors"]:
        assert card["source"].strip()
