"""The registry of thresholds: its page shows it, and nothing in it is read by nobody."""

from __future__ import annotations

from pathlib import Path

from trivet.facts.thresholds import thresholds

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "thresholds.md"


def table() -> str:
    lines = ["| name | value | unit | what it does | source |", "|---|---|---|---|---|"]
    for name, one in thresholds().items():
        lines.append(
            f"| `{name}` | {one.value:g} | {one.unit} | {one.what} | {one.source} ({one.grade}) |"
        )
    return "\n".join(lines)


def test_the_page_shows_the_registry() -> None:
    assert table() in PAGE.read_text("utf-8")


def test_every_threshold_is_read_somewhere() -> None:
    source = "".join(path.read_text("utf-8") for path in (ROOT / "src").rglob("*.py"))
    assert not [name for name in thresholds() if f'"{name}"' not in source]


def test_no_kernel_freezes_a_threshold_without_knowing_the_table() -> None:
    """A compiled file names the registry, so that its cache follows the table."""
    source = ROOT / "src" / "trivet" / "physics"
    for path in source.rglob("*.py"):
        text = path.read_text("utf-8")
        assert "threshold(" not in text or "trivet.facts.thresholds" in text, path


if __name__ == "__main__":
    head = PAGE.read_text("utf-8").split("| name | value |", maxsplit=1)[0]
    PAGE.write_text(head + table() + "\n", encoding="utf-8")
