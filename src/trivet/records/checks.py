"""Questions of a score beside temperatures: labels, places, unevenness, shiny pans."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Statistic = Literal["mean", "p95"]


@dataclass(frozen=True)
class CheckKind:
    """One question, and what is asked of the answer."""

    name: str
    words: str
    unit: str
    statistic: Statistic = "p95"
    """Of all kept moments, which the goal limits."""
    goal: float = math.nan
    """NaN: none."""
    at_least: bool = False


CHECKS: tuple[CheckKind, ...] = (
    CheckKind("label-large", "overlap (IoU) of labels, 20 px and more", "", "mean", 0.8, True),
    CheckKind("label-small", "overlap (IoU) of labels, 8 to 20 px", "", "mean", 0.65, True),
    CheckKind("label-area", "area of a label under 8 px, error", "px"),
    CheckKind(
        "label-false", "label of 3 px and more that is not there, share of moments", "", "mean"
    ),
    CheckKind("pan-centre", "middle of the pan, error", "mm", "p95", 8.0),
    CheckKind("pan-diameter", "diameter of the pan, error", "%", "p95", 8.0),
    CheckKind(
        "cold-pan", "cold pan said to be uncertain, share of moments", "", "mean", 0.99, True
    ),
    CheckKind("uneven", "P95 - P5 over the pan, error", "K", "p95", 0.5),
    CheckKind("rings", "radial profile, error", "K"),
    CheckKind("sectors", "azimuthal profile, error", "K"),
    CheckKind("hot-spot", "place of the hot spot, error", "mm"),
    CheckKind("hot-rate", "rate of the hottest part, error", "K/s"),
    CheckKind("hand", "hand noticed within 2 s, share of hands", "", "mean", 0.95, True),
    CheckKind("steam", "steam over the pan noticed, share of moments", "", "mean", 0.95, True),
    CheckKind("steam-false", "steam said over a dry pan, share of moments", "", "mean", 0.02),
)
CHECK_WORDS = {one.name: one.words for one in CHECKS}

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
