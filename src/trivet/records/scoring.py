"""A score: readings beside what was so, stratum by stratum, one grade of evidence a sheet.

Strata come from the truth or the bench sheet alone.  ``scoring`` makes a score.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trivet.arrays import FloatArray
from trivet.records.checks import CheckScore, ConfusionRow
from trivet.records.requirement import Evidence

ScoreDecision = Literal["met", "not met", "too few"]
LARGE_K = 15.0
"""An error beyond this is a large one. [K]"""


@dataclass(frozen=True)
class StratumKind:
    """One kind of moment, by what was really there, and what is asked of readings in it."""

    name: str
    words: str
    low_k: float
    """Temperature of the surface seen from which it counts. [K]"""
    high_k: float
    median_k: float = math.nan
    """Goal for the median absolute error; NaN: none. [K]"""
    p95_k: float = math.nan
    """Goal for the 95th percentile of valid readings' absolute error. [K]"""
    valid_frac: float = math.nan
    """Goal for the share of moments with a reading. [-]"""
    none_large: bool = False
    """Whether no valid reading may be wrong by over 15 K, whatever its accuracy."""


def _kelvin(low_c: float, high_c: float) -> tuple[float, float]:
    return low_c + 273.15, high_c + 273.15


STRATA: tuple[StratumKind, ...] = (
    StratumKind("liquid", "liquid surface, 60 to 100 °C", *_kelvin(60, 101), 2.0, 5.0, 0.85),
    StratumKind(
        "dark-pan",
        "dry dark pan (emissivity 0.85 and more), 120 to 230 °C",
        *_kelvin(120, 230),
        4.0,
        10.0,
        0.85,
    ),
    StratumKind(
        "oil",
        "oil film or pool of 0.1 mm and more, 120 to 230 °C",
        *_kelvin(120, 230),
        5.0,
        12.0,
        0.85,
    ),
    StratumKind("thin-oil", "thinner or patchy oil, 120 to 230 °C", *_kelvin(120, 230)),
    StratumKind(
        "seasoned",
        "lightly seasoned or worn pan (emissivity 0.30 to 0.85), dry, 120 to 230 °C",
        *_kelvin(120, 230),
    ),
    StratumKind(
        "shiny",
        "bare shiny pan (emissivity under 0.30), dry, heated",
        -math.inf,
        math.inf,
        none_large=True,
    ),
    StratumKind("food", "food on the pan, heated", -math.inf, math.inf),
    StratumKind("other", "any other heated moment", -math.inf, math.inf),
)
"""Every heated moment falls into exactly one; the last one takes what is left."""


STRATUM_WORDS: dict[str, str] = {one.name: one.words for one in STRATA}
STRATUM_WORDS["all strata"] = "all heated moments"


@dataclass(frozen=True)
class StratumPiece:
    """The moments of one burner of one cook in one stratum."""

    cook: str
    plan: str
    """Cooks of one plan are one independent cook."""
    unit: str
    burner: str
    stratum: str
    labels: dict[str, str]
    """Rim whole or cut, sensor, window and what else the plan varies."""
    moments: int
    valid: int
    """Moments with a reading of a surface that is there."""
    astray: int
    """Moments with a reading of a surface that is not there."""
    large: int
    """Moments with a reading wrong by over 15 K."""
    large_any: int
    """Moments at which the number, shown or withheld, is wrong by over 15 K."""
    large_withheld: int
    """Of these, withheld."""
    small_any: int
    """Moments at which the number, shown or withheld, is right within 15 K."""
    small_withheld: int
    """Of these, withheld."""
    blind_s: float
    """Longest stretch without a reading. [s]"""
    lag_s: float
    """By how much the reading comes later; NaN where no feature tells. [s]"""
    score_k: float
    """Mean interval score of valid readings; NaN without one. [K]"""
    drawn: int
    """1 if the drawn moment's interval holds what was so, 0 if not, -1 without a reading."""
    so_k: tuple[float, ...]
    """What was so, at moments evenly over the valid ones. [K]"""
    error_k: tuple[float, ...]
    """Reading minus what was so, at the same. [K]"""
    u95_k: tuple[float, ...]
    """Half-width of the 95 % interval, at the same. [K]"""


@dataclass(frozen=True)
class MetricValue:
    """What a metric gives over some cooks, in its unit; NaN where nothing tells."""

    value: float
    low: float = math.nan
    high: float = math.nan
    """Ends of its 95 % interval, or the limits that its documentation names."""
    count: int = 0
    """Of a share of cooks: how many."""
    of: int = 0
    """Cooks that tell."""


@dataclass(frozen=True)
class PartScore:
    """The figures of a stratum, or of a part of it by one label."""

    name: str
    part: str
    """``label: value``, empty for the whole."""
    cooks: int
    """Independent cooks."""
    moments: int
    figures: dict[str, MetricValue]
    """By the name under which ``scoring`` registers them."""

    def __getitem__(self, name: str) -> MetricValue:
        """Return a figure by its name."""
        return self.figures[name]


@dataclass(frozen=True)
class StratumScore:
    """One stratum as a whole and some of its moments, for a picture."""

    whole: PartScore
    """Shares and errors with 95 % percentile intervals over resampled cooks, from 5 cooks on."""
    so_k: FloatArray
    """(point,) What was so. [K]"""
    error_k: FloatArray
    """(point,) [K]"""


@dataclass(frozen=True)
class GoalLine:
    """One goal in one stratum."""

    stratum: str
    what: str
    goal: str
    found: str
    decision: ScoreDecision
    text: str
    """What the decision rests on."""


@dataclass(frozen=True)
class ScoreSheet:
    """All strata under one condition and one grade of evidence; nothing is pooled over sheets."""

    condition: str
    """Which cooks: the project's own, short random ones, or those under a mismatch."""
    evidence: Evidence
    cooks: int
    independent: int
    units: int
    failed: tuple[str, ...]
    """Cooks that gave nothing, and why."""
    strata: tuple[StratumScore, ...]
    parts: tuple[PartScore, ...]
    goals: tuple[GoalLine, ...]
    checks: tuple[CheckScore, ...] = ()
    """Labels, place, unevenness, hands and steam; only simulated cooks have their truth."""
    confusion: tuple[ConfusionRow, ...] = ()
    """What was said of bare pans, dark and shiny."""


@dataclass(frozen=True)
class Score:
    """How good the readings of a project are, by stratum."""

    design: str
    sheets: tuple[ScoreSheet, ...]

    @property
    def met(self) -> bool:
        """Whether every goal on every sheet is met."""
        return all(one.decision == "met" for sheet in self.sheets for one in sheet.goals)
