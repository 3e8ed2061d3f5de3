"""What the prediction says of energy and money."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class BatteryOption:
    """The same battery with one thing changed, and what that costs in sight and time."""

    name: str
    days_p10: float
    days_p50: float
    error_k: float
    """How much wider the interval is, since the sensor has not settled; NaN: unknown. [K]"""
    latency_s: float
    """How much later a reading may come. [s]"""
    note: str


@dataclass(frozen=True)
class Message:
    """One radio message to the byte."""

    payload_bytes: int
    air_bytes: int
    airtime_s: float
    energy_j: float
    """By airtime and joining. [J]"""
    j_per_day: float
    fits: bool
    """Whether the payload fits one message."""
    fields: tuple[tuple[str, int], ...]
    """Field and its bits in one message."""


@dataclass(frozen=True)
class BatteryLife:
    """Days of a charge."""

    days_p10: float
    days_p50: float
    days_p90: float
    mean_w: float
    shares: tuple[tuple[str, float], ...]
    """State and its share of the energy, largest first."""
    note: str
    days: tuple[float, ...] = ()
    """Percentiles 1 to 99 of the days."""
    largest: str = ""
    """The state that eats most."""
    hours_per_day: tuple[tuple[str, float], ...] = ()
    """State and its hours a day, at the nominal figures."""
    law: Literal["", "linear", "exponential"] = ""
    """How the cells lose charge on the shelf."""
    capacity_frac: float = math.nan
    """Share of the energy that the cells give at their temperature while cooking."""
    capacity_source: str = ""
    remind_day: float = math.nan
    """Day on which to remind, so that 95 % of users charge in time."""
    remind_left_frac: float = math.nan
    """Charge left on that day for the user at the tenth percentile."""
    claim_days: float = math.nan
    """Life that the product claims; NaN: none."""
    claim_met_frac: float = math.nan
    """Share of users whose charge lasts that long."""
    claim: str = ""
    """Supported or refuted, with the numbers."""
    charge_h: float = math.nan
    """Hours of charging from empty; NaN for cells that are changed."""
    aged_days_p50: float = math.nan
    """Median days at the end of the product's service; NaN for cells that are changed."""
    message: Message | None = None
    options: tuple[BatteryOption, ...] = ()


@dataclass(frozen=True)
class TornadoBar:
    """One figure moved to its ends alone; amounts as text."""

    figure: str
    low: str
    high: str
    npv_low: str
    npv_high: str
    swing: float
    """Distance of the two present values."""


@dataclass(frozen=True)
class BurnerCost:
    """What it costs to watch one burner for one year."""

    name: str
    price: str
    burners: int
    years: float
    per_burner_year: str


@dataclass(frozen=True)
class Economics:
    """Money, exact amounts as text in the design's currency."""

    currency: str
    net_revenue: str
    landed_cost: str
    contribution: str
    contribution_frac: float
    break_even_units: int | None
    """None: never."""
    break_even_month: int | None
    cash_trough: str
    trough_month: int
    npv: str
    irr_per_year: tuple[float, ...]
    payback_months: float | None
    monthly_cash: tuple[str, ...]
    """Cumulative cash, month by month."""
    unit: tuple[tuple[str, str], ...] = ()
    """One unit line by line, from list price to contribution."""
    bill: tuple[tuple[str, str], ...] = ()
    """Line of the bill and its cost in one unit, at the size of a full order."""
    fixed: str = ""
    """All one-off outlays."""
    flows: tuple[tuple[str, tuple[str, ...]], ...] = ()
    """Kind of flow and its amount in each month."""
    sign_changes: int = 0
    """More than one: no single rate of return tells the story."""
    tornado: tuple[TornadoBar, ...] = ()
    loss_frac: float = math.nan
    """Share of draws with a present value under zero; NaN where no figure has a range."""
    npv_p10: float = math.nan
    npv_p50: float = math.nan
    npv_p90: float = math.nan
    draws: int = 0
    per_burner: tuple[BurnerCost, ...] = ()
    notes: tuple[str, ...] = ()


UNKNOWN_LIFE = BatteryLife(math.nan, math.nan, math.nan, math.nan, (), "not predicted")
"""Stands where no life of a charge was predicted."""
UNKNOWN_MONEY = Economics(
    currency="",
    net_revenue="nan",
    landed_cost="nan",
    contribution="nan",
    contribution_frac=math.nan,
    break_even_units=None,
    break_even_month=None,
    cash_trough="nan",
    trough_month=0,
    npv="nan",
    irr_per_year=(),
    payback_months=None,
    monthly_cash=(),
)
"""Stands where no money was predicted."""
