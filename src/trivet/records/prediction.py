"""A prediction: what the design alone says, sealed before any recording is read.

``stages/predict`` makes one, whole or in part::

    predict(design: Design) -> Prediction
    predict_parts(design: Design, *, asked: PredictionAsked) -> PartialPrediction
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from trivet.records.business_result import BatteryLife, Economics
from trivet.records.requirement import Of
from trivet.records.seeing import Seeing
from trivet.records.warning import WarningTimeline

__all__ = [
    "AlertMargin",
    "BatteryLife",
    "Budget",
    "BudgetCase",
    "BudgetLine",
    "Economics",
    "PanView",
    "PartialPrediction",
    "Prediction",
    "PredictionAsked",
    "PredictionPart",
    "RangeCheck",
    "WarningTimeline",
]


MIN_PIXELS_ACROSS = 10.0
"""Own estimate: with fewer pixels across a pan hardly one lies clear of its rim and the blur."""


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
    total_share_frac: float = math.nan
    """Share of the variance in which the term takes part (Sobol, total order); NaN unknown."""
    sign: int = 0
    """Whether the reading rises (1) or falls (-1) with the input; 0 when it does not move."""


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
    second_order_k: float = 0.0
    """Standard uncertainty of the terms of second order. [K]"""
    correlated: tuple[str, ...] = ()
    """Pairs of terms that err together, with their coefficients."""
    clipped_frac: float = 0.0
    """Share of draws that the end of the sensor's range clips."""
    unknown: tuple[str, ...] = ()
    """Terms of unknown size, which are not in the sum."""
    burner: str = ""
    """Burner on which it is worst, for which it is stated."""

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
class UnitError:
    """95 % error of single units at one case, half-widths. [K]"""

    base: str
    pan: str
    temperature_k: float
    median_k: float
    """Of the middle unit as built."""
    p95_k: float
    """Of the 95th-percentile unit as built."""
    p95_calibrated_k: float
    """The same after the end of the line; NaN without one."""
    p95_recalibrated_k: float
    """The same after the recalibration in the kitchen; NaN without one."""


@dataclass(frozen=True)
class UnitPopulation:
    """How units differ, and what calibrating them brings and costs."""

    errors: tuple[UnitError, ...]
    units: int
    """Units drawn."""
    yield_frac: float
    """Share of units that the end of the line lets pass; 1 without one."""
    yield_low_frac: float
    """Lower 95 % bound of it, from the number of units drawn."""
    time_s: float
    """Time for one unit at the end of the line."""
    cost_per_good_unit: str
    """What the end of the line adds to each good unit, scrap included; exact text."""
    currency: str
    note: str


@dataclass(frozen=True)
class Remedy:
    """What one declared change does to one requirement that fails."""

    option: str
    requirement: str
    metric: str
    limit: float
    before: float
    """Value of the design as it is, in SI; infinite: not measurable or never; NaN: unknown."""
    after: float
    """Value with the change."""
    inside: bool
    note: str
    """Where the worst lies after the change, or why the change cannot be made."""


@dataclass(frozen=True)
class Remedies:
    """Every declared change against every predicted requirement that fails."""

    tried: tuple[Remedy, ...]
    """Requirement by requirement; changes that bring it inside first, then by what they gain."""
    failing: tuple[str, ...]
    """Requirements that fail as the design stands."""
    unhelped: tuple[str, ...]
    """Failing requirements that no single declared change brings inside."""


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
    seeing: Seeing = field(default_factory=Seeing)
    """What can be seen, beyond the views: spots, shadows, seams, tolerance, poses."""
    population: UnitPopulation | None = None
    """How units differ and what calibrating them brings."""
    warning: WarningTimeline | None = None
    """From a cold, sleeping unit to the alert."""


PredictionPart = Literal[
    "seeing", "budgets", "ranges", "margins", "battery", "population", "economics", "warning"
]
"""A part of a prediction that can be made without the others; the views are always made."""


@dataclass(frozen=True)
class BudgetCase:
    """A case whose error budget is asked for beside those that the design calls for."""

    base: str
    pan: str
    temperature_k: float


@dataclass(frozen=True)
class PredictionAsked:
    """What is asked of a design."""

    parts: tuple[PredictionPart, ...]
    """Parts that a part rests on are made too."""
    cases: tuple[BudgetCase, ...] = ()
    unknown: dict[PredictionPart, str] = field(default_factory=dict)
    """Parts that cannot be known of this design, and why; what rests on them does without."""


@dataclass(frozen=True)
class PartialPrediction:
    """What a design says of the parts that were asked for."""

    prediction: Prediction
    """Parts not asked for, or missing, are empty or NaN."""
    budgets: tuple[Budget, ...]
    """Of the cases asked for, in their order."""
    missing: dict[PredictionPart, str]
    """Parts that are unknown or failed, and why."""
