"""Sensors or designs side by side: every cell says what it is and what it came from.

``stages/variants/comparison.py`` makes them::

    compare_sensors(design: Design) -> SensorComparison
    compare_designs(designs: Sequence[Design]) -> DesignComparison
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

UNKNOWN = "unknown"

Kind = Literal["fraction", "length", "number", "difference", "time", "days", "money", "words"]


@dataclass(frozen=True)
class Cell:
    """One answer: a number in SI, or words, and where it came from."""

    value: float
    """NaN when unknown or not a number; unknown is never 0."""
    text: str
    """Exact amounts and words; ``unknown`` where a figure is missing; else empty."""
    source: str
    """Path of the record or function that gave it, with its parameters."""

    @property
    def unknown(self) -> bool:
        """Whether the answer is not known."""
        return self.text == UNKNOWN


@dataclass(frozen=True)
class AnswerRow:
    """One question, answered for every column."""

    question: str
    kind: Kind
    cells: tuple[Cell, ...]


@dataclass(frozen=True)
class SensorComparison:
    """Sensor cards under one design's mounts, side by side."""

    design: str
    columns: tuple[str, ...]
    """Names of the cards; the one in use comes first."""
    rows: tuple[AnswerRow, ...]
    note: str


@dataclass(frozen=True)
class DesignComparison:
    """The main answers of several designs, side by side."""

    columns: tuple[str, ...]
    rows: tuple[AnswerRow, ...]
    note: str
