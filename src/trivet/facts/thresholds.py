"""The registry of thresholds: every tuned number of the reading and of the alerts, once.

The table is ``facts/thresholds.csv``; docs/thresholds.md shows it. Kernels that freeze a value
into compiled code are compiled anew when the table changes (``physics/compiled.py``).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from trivet.facts.tables import number, read_table

TABLE = Path(__file__).with_suffix(".csv")


@dataclass(frozen=True)
class Threshold:
    """One tuned number: its value in SI (or the unit named), where it is from, what it does."""

    value: float
    unit: str
    source: str
    grade: str
    what: str


@lru_cache(maxsize=1)
def thresholds() -> dict[str, Threshold]:
    """Return all thresholds by name, in the order of the table."""
    return {
        row["name"]: Threshold(
            number(row, "value"), row["unit"], row["source"], row["grade"], row["what"]
        )
        for row in read_table(TABLE.name)
    }


def threshold(name: str) -> float:
    """Return the value of one threshold; KeyError where the table has none of that name."""
    return thresholds()[name].value
