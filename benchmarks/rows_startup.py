"""Start-up: budgets for importing the package and for its help text."""

from __future__ import annotations

import statistics
import subprocess
import sys
import time


def _median_s(command: list[str], rounds: int = 9) -> float:
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - begun)
    return statistics.median(times)


def rows() -> list[dict[str, object]]:
    """Return one row a budget; the ratio is budget over measured."""
    cases = (
        ("import trivet", 0.3, [sys.executable, "-c", "import trivet"]),
        ("trivet --help", 0.6, [sys.executable, "-m", "trivet", "--help"]),
    )
    found = []
    for name, budget_s, command in cases:
        taken_s = _median_s(command)
        found.append(
            {
                "name": name,
                "baseline": f"budget {budget_s} s",
                "ratio": budget_s / taken_s,
                "goal": 1.0,
                "detail": f"{taken_s:.3f} s, median of 9 processes",
            }
        )
    return found
