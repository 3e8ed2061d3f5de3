"""``python -m benchmarks``: run every ``rows_*`` module, print the table, write latest.json."""

from __future__ import annotations

import argparse
import importlib
import json
import pkgutil
from pathlib import Path

from rich.console import Console
from rich.table import Table

FOLDER = Path(__file__).parent


def main() -> None:
    """Collect the rows of all modules, or of those whose name holds a given word."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks")
    parser.add_argument("word", nargs="?", default="", help="only modules whose name holds this")
    word = parser.parse_args().word
    rows: list[dict[str, object]] = []
    for module in sorted(pkgutil.iter_modules([str(FOLDER)]), key=lambda one: one.name):
        if module.name.startswith("rows_") and word in module.name:
            Console(stderr=True).print(f"measuring {module.name}")
            rows += importlib.import_module(f"benchmarks.{module.name}").rows()
    table = Table("name", "baseline", "ratio", "goal", "", "detail", title="benchmarks")
    for row in rows:
        ratio, goal = float(str(row["ratio"])), float(str(row["goal"]))
        table.add_row(
            str(row["name"]),
            str(row["baseline"]),
            f"{ratio:.3g}",
            f"{goal:.3g}",
            "reached" if ratio >= goal else "short",
            str(row["detail"]),
        )
    Console(width=180).print(table)
    if not word:
        (FOLDER / "latest.json").write_text(json.dumps(rows, indent=1) + "\n")


if __name__ == "__main__":
    main()
