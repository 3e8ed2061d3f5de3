"""The program as a user runs it."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def trivet() -> Callable[..., subprocess.CompletedProcess[str]]:
    """Run ``trivet`` with these arguments in a process of its own."""

    def run(*arguments: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "trivet", *arguments],
            capture_output=True,
            text=True,
            cwd=cwd,
            check=False,
        )

    return run
