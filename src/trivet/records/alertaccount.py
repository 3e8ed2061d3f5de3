"""What the alerts did over many cooks: leads, misses, nuisances, and what was injected."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trivet.records.requirement import AlertKind, Evidence
from trivet.records.scoring import MetricValue

CaseEnd = Literal[
    "in time", "late", "missed", "blindness told", "impossible", "censored", "no event"
]


@dataclass(frozen=True)
class AlertCase:
    """One alert on one burner of one cook."""

    cook: str
    plan: str
    """Cook plan or combination; repeats of one count once."""
    evidence: Evidence
    style: str
    """Kind of ordinary cooking; empty for a cook that is none."""
    burner: str
    alert: str
    kind: AlertKind
    end: CaseEnd
    on_s: float
    """When it came on first; infinite if never. [s]"""
    due_s: float
    """The latest moment in time; infinite if the event never came. [s]"""
    lead_s: float
    """From the alert to the event; NaN without either. [s]"""
    rate_kps: float
    """True heating rate of the hottest 5 cm2 at the latest moment; NaN without. [K/s]"""
    oily: bool
    """Oil or butter in the pan."""
    nuisance: bool
    """It came on without its cause."""
    judged: bool
    """Whether anything tells if the cause was there."""
    chatters: int
    """How often it went on again within the design's chatter time."""

    @property
    def turned(self) -> bool:
        """Whether an ordinary cook was warned, rightly at its rate, of what never came."""
        heard = bool(self.style) and math.isfinite(self.on_s)
        return heard and self.end == "no event" and not self.nuisance


@dataclass(frozen=True)
class AlertRow:
    """What one alert did over the cooks of one grade of evidence."""

    alert: str
    evidence: Evidence
    figures: dict[str, MetricValue]
    """By the name under which ``scoring`` registers them."""

    def __getitem__(self, name: str) -> MetricValue:
        """Return a figure by its name."""
        return self.figures[name]


@dataclass(frozen=True)
class RateRow:
    """How the alerts of the pan's limit did in oil cooks of one span of heating rates."""

    low_kps: float
    high_kps: float
    figures: dict[str, MetricValue]

    def __getitem__(self, name: str) -> MetricValue:
        """Return a figure by its name."""
        return self.figures[name]


@dataclass(frozen=True)
class Goal:
    """A goal of the house for alerts, and what the proof cooks say of it."""

    text: str
    found: str
    decision: Literal["met", "not met", "not proven"]


@dataclass(frozen=True)
class FaultRow:
    """What was announced after a fault was put into a cook."""

    fault: str
    announced_s: float
    """From the fault to the first announcement; infinite if none came. [s]"""
    by: str
    """Which alert."""
    within_s: float
    """Time declared by the design. [s]"""
    lost: int
    """Alerts of the whole cook that a fault or restart made miss."""


@dataclass(frozen=True)
class AlertStudy:
    """The account of all alerts of a design."""

    cooks: int
    independent: int
    styles: tuple[tuple[str, int], ...]
    """Ordinary cooks by kind."""
    rows: tuple[AlertRow, ...]
    rates: tuple[RateRow, ...]
    """Of simulated oil cooks, by the true rate of the hottest 5 cm2 when the alert was due."""
    goals: tuple[Goal, ...]
    faults: tuple[FaultRow, ...]
    cases: tuple[AlertCase, ...]
    """Missed, late and nuisance ones, and those in which blindness was told."""
