"""Compile every kernel once, so that no user waits for it later: ``python -m trivet.warm``."""

from __future__ import annotations

import tempfile
import time
from functools import cached_property
from pathlib import Path
from typing import get_args

from rich.console import Console

from trivet.files.newproject import new_project
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import Reader, decided
from trivet.records.cook import CookPlan
from trivet.records.figures import figure


class _ShortProject(ProjectFolder):
    """The demo's cooks, a few seconds of each."""

    @cached_property
    def plans(self) -> tuple[CookPlan, ...]:
        """One short calibration cook and one short proof cook."""
        short = {"duration_s": figure("4 s", "time"), "repeats": 1}
        chosen: dict[str, CookPlan] = {}
        for plan in super().plans:
            chosen.setdefault(plan.purpose, plan.model_copy(update=short))
        return tuple(chosen.values())


def warm() -> float:
    """Run a few seconds of the demo through the whole chain; return how long it took. [s]"""
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        new_project(Path(folder) / "warm")
        project = _ShortProject(Path(folder) / "warm")
        with Console(stderr=True).status("compiling kernels, once"):
            for reader in get_args(Reader):
                decided(project, reader)
    return time.monotonic() - begun


if __name__ == "__main__":
    print(f"kernels ready after {warm():.0f} s")
