"""A prediction: what the design alone says, sealed before any recording is read.

``stages/predict.py`` makes one::

    predict(design: Design) -> Prediction
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from trivet.records.business_result import BatteryLife, Economics
from trivet.records.requirement import Of
from trivet.records.warning import WarningTimeline

__all__ = [
    "AlertMargin",
    "BatteryLife",
    "Budget",
    "BudgetLine",
    "Economics",
    "PanView",
    "Prediction",
    "RangeCheck",
    "WarningTimeline",
]


@dataclass(frozen=True)
class PanView:
    """How a head sees one pan centred on one burner."""

    head: str
    burner: str
    pan: str
    rim_in_view_frac: float
    """Share of the rim, with the 10 mm margin, inside the field."""
    margin_m: float
    """Signed distance of the rim with margin to the field's edge; negative outside. [m]"""
    pixels_across: float
    footprint_m: float
    """Footprint of the pixel at the pan's centre, geometric mean of both ways. [m]"""
    visible_base_frac: float
    """Share of the base that the walls do not hide."""
    view_angle_rad: float
    size_of_source_frac: float
    """Share of a central pixel's signal that comes from within the pan."""


@dataclass(frozen=True)
class BudgetLine:
    """One term of an error budget."""

    term: str
    u_k: float
    """Standard uncertainty that the term contributes. [K]"""
    distribution: str
    source: str


@dataclass(frozen=True)
class Budget:
    """Error budget for one base, pan and temperature."""

    base: str
    pan: str
    of: Of
    temperature_k: float
    emissivity: float
    lines: tuple[BudgetLine, ...]
    u_gum_k: float
    """Combined standard uncertainty, first order. [K]"""
    u95_gum_k: float
    u95_mc_k: float
    """Half of the 95 % interval by Monte Carlo. [K]"""
    low_mc_k: float
    high_mc_k: float
    """Ends of the 95 % interval of the error by Monte Carlo. [K]"""
    unexplained_frac: float
    """Share of draws that no temperature explains."""
    measurable: bool
    reason: str
    """Why not measurable, or the dominant term."""
    note: str
    """Where the two methods differ by more than 5 %, why."""

    @property
    def u95_k(self) -> float:
        """Half-width that holds 95 % by either method; the longer side where it is lopsided."""
        return max(self.u95_gum_k, self.u95_mc_k, -self.low_mc_k, self.high_mc_k)


@dataclass(frozen=True)
class RangeCheck:
    """A limit against the range of a head's sensor."""

    head: str
    limit: str
    limit_k: float
    range_high_k: float
    """NaN when the card does not say."""
    headroom_k: float
    apparent_at_limit_k: float
    """What the sensor reads at the limit through the window, emissivity 0.95. [K]"""


@dataclass(frozen=True)
class AlertMargin:
    """What is left of the time to a limit at one heating rate."""

    alert: str
    limit: str
    rate_kps: float
    needed_trip_k: float
    """Where it must trip for its lead. [K]"""
    trip_k: float
    """Where it trips at the latest, error and range counted. [K]"""
    lead_s: float
    """Lead left in the worst case. [s]"""
    possible: bool
    note: str
    error_k: float = math.nan
    """How far the reading may be too low at the trip, settled, 95 %. [K]"""
    latency_s: float = math.nan
    """One frame and the on-delay. [s]"""


@dataclass(frozen=True)
class Prediction:
    """All predictions of a design."""

    views: tuple[PanView, ...]
    budgets: tuple[Budget, ...]
    ranges: tuple[RangeCheck, ...]
    margins: tuple[AlertMargin, ...]
    battery: BatteryLife
    economics: Economics
    assumed: tuple[str, ...]
    """Figures of the design with no origin: key, value, note."""
    cautions: tuple[str, ...]
    warning: WarningTimeline | None = None
    """From a cold, sleeping unit to the alert."""
