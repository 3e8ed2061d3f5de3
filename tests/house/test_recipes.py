"""The recipes of CONTRIBUTING.md work: each is followed to the letter on a copy of the sources."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "CONTRIBUTING.md"
BLOCK = re.compile(
    r"^```\w+ (?P<verb>append|new|after|replace|check)"
    r"(?: (?P<file>\S+))?(?: \"(?P<line>[^\n]*)\")?\n"
    r"(?P<text>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)
ASKED = {"sensor card", "oil", "burner kind", "metric", "frame format", "threshold"}


@dataclass(frozen=True)
class Recipe:
    name: str
    steps: tuple[re.Match[str], ...]


def recipes() -> tuple[Recipe, ...]:
    parts = re.split(r"^### ", PAGE.read_text("utf-8"), flags=re.MULTILINE)[1:]
    return tuple(
        Recipe(part.splitlines()[0].strip(), tuple(BLOCK.finditer(part))) for part in parts
    )


def follow(step: re.Match[str], root: Path) -> None:
    """Write a block where its heading says: at the end, into a new file, or after a line."""
    path, text = root / step["file"], step["text"]
    if step["verb"] == "new":
        assert not path.exists()
        path.write_text(text, encoding="utf-8")
        return
    before = path.read_text("utf-8")
    if step["verb"] == "append":
        path.write_text(before.rstrip("\n") + "\n" + text, encoding="utf-8")
        return
    lines = before.splitlines(keepends=True)
    at = [number for number, line in enumerate(lines) if line.rstrip("\n") == step["line"]]
    assert len(at) == 1, f"{step['file']}: {step['line']!r} stands on {len(at)} lines"
    kept = at[0] + (step["verb"] == "after")
    path.write_text("".join([*lines[:kept], text, *lines[at[0] + 1 :]]), encoding="utf-8")


def test_every_recipe_that_was_asked_for_stands_on_the_page() -> None:
    named = " ".join(one.name.lower() for one in recipes())
    assert not {one for one in ASKED if one not in named}


@pytest.mark.parametrize("recipe", recipes(), ids=lambda one: one.name)
def test_a_recipe_works_as_written(recipe: Recipe, tmp_path: Path) -> None:
    shutil.copytree(ROOT / "src", tmp_path / "src", ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(ROOT / "examples", tmp_path / "examples", ignore=lambda *_: {"results"})
    checks = [step for step in recipe.steps if step["verb"] == "check"]
    assert checks, f"{recipe.name}: no check"
    for step in recipe.steps:
        if step["verb"] != "check":
            follow(step, tmp_path)
    for step in checks:
        done = subprocess.run(
            [sys.executable, "-W", "error", "-c", step["text"]],
            cwd=tmp_path,
            env={**os.environ, "PYTHONPATH": str(tmp_path / "src")},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{recipe.name}: {done.stdout}{done.stderr}"
