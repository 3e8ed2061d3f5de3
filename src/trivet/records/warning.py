"""The alert timeline: from burner on, with a cold and sleeping unit, to the alert."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Outcome = Literal[
    "in time", "short", "too late", "never", "asleep", "ordinary cooking", "impossible"
]
"""What is left of the lead that was asked for.

in time            the lead asked for is left, error and latency counted
short              some lead is left, less than asked for
too late           it may trip only after the limit
never              it cannot trip by its number: the sensor saturates below its trip
asleep             the trip is needed before the unit can have its first reading
ordinary cooking   the needed trip is no different from ordinary cooking
impossible         from cold to the limit takes less than the lead
"""


@dataclass(frozen=True)
class WakeStep:
    """One step from burner on to the first reading, over the drawn starts. [s]"""

    name: str
    p5_s: float
    p50_s: float
    p95_s: float
    """Time since burner on at the step's end."""


@dataclass(frozen=True)
class WarningCase:
    """One alert at one heating rate of the hottest 5 cm2, from a cold pan."""

    alert: str
    limit: str
    limit_k: float
    rate_kps: float
    lead_asked_s: float
    needed_trip_k: float
    """Where the hottest part is when the alert must come. [K]"""
    needed_at_s: float
    """When that is, since burner on. [s]"""
    needed_mean_k: float
    """Mean of the pan at that moment. [K]"""
    needed_set_k: float
    """Set point that would leave the lead with this design's error and latency. [K]"""
    settling_k: float
    """By how much the interval is wider at the trip, since the sensor settles. [K]"""
    error_k: float
    """How far the reading may be low at the trip, settling counted. [K]"""
    lag_k: float
    """How far the reading trails the hottest part by blur and footprint. [K]"""
    latency_s: float
    trip_k: float
    """Where the hottest part is when the alert comes at the latest. [K]"""
    trip_at_s: float
    """When that is; NaN where it never comes. [s]"""
    limit_at_s: float
    """When the hottest part reaches the limit. [s]"""
    lead_s: float
    outcome: Outcome
    reason: str


@dataclass(frozen=True)
class WarningTimeline:
    """How soon a cold, sleeping unit reads, and what that leaves of each alert's lead."""

    kind: str
    """What wakes the unit."""
    steps: tuple[WakeStep, ...]
    first_reading_s: tuple[float, ...]
    """Percentiles 1 to 99 of the first reading that can alert. [s]"""
    settle_s: float
    """Time after waking until the card calls the sensor settled; NaN: unknown. [s]"""
    settle_k: float
    """How much wider the interval is right after waking; NaN: unknown. [K]"""
    start_k: float
    """Temperature of the cold pan. [K]"""
    cases: tuple[WarningCase, ...]
    notes: tuple[str, ...]

    def first_reading_at_s(self, share: float) -> float:
        """Return the time within which a share of the starts has its first reading. [s]"""
        if not self.first_reading_s:
            return float("nan")
        place = min(max(int(-(-share * 100 // 1)), 1), len(self.first_reading_s))
        return self.first_reading_s[place - 1]
