"""The house plan, enforced: who may import whom, and strict types."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def run(*command: str) -> str:
    done = subprocess.run(
        [sys.executable, *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_import_layers_hold() -> None:
    run("-c", "from importlinter.cli import lint_imports_command; lint_imports_command()")


def test_types_are_strict() -> None:
    run("-m", "mypy", "-p", "trivet")


def test_style_holds() -> None:
    run("-m", "ruff", "check", ".")
    run("-m", "ruff", "format", "--check", ".")
