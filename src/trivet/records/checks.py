"""Questions of a score beside temperatures: labels, places, unevenness, shiny pans."""

from __future__ import annotations

from dataclasses import dataclass

SAID = ("a number", "shiny", "uncertain", "nothing for another reason")
"""What a product can say of a pan, in the order of a confusion matrix's columns."""
EVIDENCE = ("all evidence", "without heating rate", "not told", "neither rate nor told")


@dataclass(frozen=True)
class Check:
    """The answers of one cook to one question."""

    cook: str
    plan: str
    kind: str
    part: str
    """Which moments, by what was so."""
    off: tuple[float, ...]
    """Errors or shares at some moments, in the kind's unit."""
    u95: tuple[float, ...] = ()
    """Half-widths stated for them; none where none is."""


@dataclass(frozen=True)
class CheckScore:
    """All cooks' answers to one question."""

    kind: str
    part: str
    cooks: int
    moments: int
    bias: float
    median: float
    p95: float
    found: float
    """The statistic that the goal limits."""
    low: float
    high: float
    """Its 95 % interval from whole cooks drawn again; NaN under 5 cooks."""
    covered: int
    drawn: int
    """One drawn moment a cook: how many stated intervals hold what was so."""
    covered_low_frac: float
    covered_high_frac: float
    """Exact 95 % interval of that share; NaN where no interval is stated."""


@dataclass(frozen=True)
class PanWord:
    """What was said of one bare pan at an apparent temperature that dark and shiny ones share."""

    cook: str
    plan: str
    truth: str
    """Stratum of the pan."""
    evidence: str
    said: str
    """The commonest word over these moments."""


@dataclass(frozen=True)
class ConfusionRow:
    """Cooks with one kind of pan, by what was said of it."""

    truth: str
    evidence: str
    cooks: int
    counts: tuple[int, ...]
    """In the order of SAID."""
    low_frac: tuple[float, ...]
    high_frac: tuple[float, ...]
    """Exact 95 % intervals of the shares."""
