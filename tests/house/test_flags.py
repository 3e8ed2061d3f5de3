"""The table of quality flags in the documentation is the registry's."""

from __future__ import annotations

from pathlib import Path

from trivet.quality import FLAGS, Quality

PAGE = Path(__file__).parents[2] / "docs" / "quality-flags.md"


def table() -> str:
    lines = ["| flag | reading | meaning |", "|---|---|---|"]
    for entry in FLAGS:
        reading = "withheld" if entry.blocks else "given"
        lines.append(f"| `{entry.word}` | {reading} | {entry.meaning} |")
    return "\n".join(lines)


def test_every_flag_has_a_meaning() -> None:
    assert {entry.flag for entry in FLAGS} == set(Quality) - {Quality.OK}


def test_the_page_shows_the_registry() -> None:
    assert table() in PAGE.read_text("utf-8")
