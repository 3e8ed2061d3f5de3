"""Faults, moves and faces of a cook that cannot be are named with their place."""

from __future__ import annotations

from pathlib import Path

import pytest

from trivet.errors import DesignError
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design

LARKPANE = Path(__file__).parents[2] / "examples" / "larkpane"

PLAN = """
format = 1
[[cooks]]
name = "one"
purpose = "proof"
duration = "100 s"
{}
[[cooks.burners]]
burner = "front-left"
pan = "iron-skillet"
base = "dry"
schedule = [{{ at = "0 s", level = "90 %" }}]
"""


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("faults = { dead_pixels = [{ row = 24, col = 0 }] }", "row 24 col 0"),
        ("faults = { dead_pixels = [{ row = -1, col = 0 }] }", "dead_pixels"),
        ('faults = { dropped = "120 %" }', "dropped"),
        ('faults = { dropped = "95 %" }', "'95 %' is outside the allowed range"),
        ('faults = { gaps = [{ at = "200 s", for = "1 s" }] }', "beyond the cook's end"),
        ('window_age_weeks = "-2"', "window_age_weeks"),
        ('moves = [{ burner = "back-left", at = "10 s" }]', "back-left"),
        ('faces = [{ at = "101 s" }]', "beyond the cook's end"),
        (
            'probe_faults = [{ probe = "p", kind = "open", at = "9 s", until = "8 s" }]',
            "does not come after 9 s",
        ),
        ('mismatch = { halo = "130 %" }', "halo"),
    ],
)
def test_named(tmp_path: Path, line: str, words: str) -> None:
    path = tmp_path / "cooks.toml"
    path.write_text(PLAN.format(line), encoding="utf-8")
    with pytest.raises(DesignError) as caught:
        read_cooks(path, read_design(LARKPANE))
    assert words in str(caught.value)


def test_what_can_be_is_read(tmp_path: Path) -> None:
    path = tmp_path / "cooks.toml"
    line = 'mismatch = { plume_scale = "2" }\nmoves = [{ burner = "front-left", at = "10 s" }]'
    path.write_text(PLAN.format(line), encoding="utf-8")
    (plan,) = read_cooks(path, read_design(LARKPANE)).cooks
    assert plan.mismatch.changes() == {"plume_scale": "2"}


def test_a_thing_that_follows_nothing_is_named(tmp_path: Path) -> None:
    text = (LARKPANE / "design.toml").read_text("utf-8")
    assert 'follows = "lamp"' in text
    path = tmp_path / "design.toml"
    path.write_text(text.replace('follows = "lamp"', 'follows = "lamb"'), encoding="utf-8")
    with pytest.raises(DesignError, match="lamb"):
        read_design(path)
