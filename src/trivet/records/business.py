"""What the design says of energy and money."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from trivet.records.figures import (
    Amount,
    Duration,
    Energy,
    Fraction,
    NumberOrZero,
    PositiveFraction,
    Power,
    Temperature,
    YearlyFraction,
    figure,
)
from trivet.records.part import Part


class Battery(Part):
    """Cells, and what each state of the product draws."""

    chemistry: Literal["lithium-iron-disulfide", "alkaline", "lithium-ion"] = (
        "lithium-iron-disulfide"
    )
    """Kind of the cells."""
    energy_j: Energy
    """Usable energy of all cells, fresh, at room temperature."""
    temperature_limit_k: Temperature = figure("60 degC", "temperature")
    """The cells' rated limit: a hard stop."""
    converter_efficiency_frac: PositiveFraction = figure("85 %", "fraction")
    """Share of the cells' energy that reaches the load."""
    self_discharge_per_s: YearlyFraction = figure("1 %/year", "fraction_per_year")
    """Share lost on the shelf."""
    sleep_w: Power
    """Power between cooks."""
    measure_w: Power
    """Sensor and processor while frames are read."""
    compute_w: Power = figure("0 W", "power")
    """Mean extra power of computing while measuring."""
    message_j: Energy
    """Energy of one radio message."""
    message_every_s: Duration
    """Time between messages while measuring."""
    sound_j: Energy = figure("0 J", "energy")
    """Energy of sounding alerts in a day."""
    poll_j: Energy = figure("0 J", "energy")
    """Energy of one look from sleep for a warming hob."""
    poll_every_s: Duration = figure("10 s", "time")
    """Time between two looks."""
    duty_frac: PositiveFraction = figure("100 %", "fraction")
    """Share of the cooking time in which the sensor runs."""


class Diary(Part):
    """How much is cooked."""

    cooking_per_day_s: Duration
    """Hours a day with at least one burner on; its range is drawn as a distribution."""


class Costs(Part):
    """Money, exact.  The channel share is a margin on the list price."""

    price: Amount
    """List price."""
    channel_frac: Fraction
    """Share of the list price that the channel keeps (a margin, not a markup)."""
    unit_cost: Amount
    """Cost of goods of one unit, sensor included."""
    duty_frac: Fraction = figure("0 %", "fraction")
    """Import duty, as a share of the unit cost."""
    freight: Amount
    """Freight of one unit."""
    warranty_frac: Fraction = figure("0 %", "fraction")
    """Share of landed cost spent on warranty."""
    returns_frac: Fraction = figure("0 %", "fraction")
    """Share of net revenue lost to returns."""
    support: Amount
    """Support and cloud cost of one unit over its life."""
    fixed: Amount
    """Tooling, certification, rigs and team until launch."""
    units_per_month: NumberOrZero
    """Units sold a month."""
    months: int = Field(default=36, ge=1, le=240)
    """Months that the ledger covers."""
    discount_rate_frac: Fraction = figure("10 %", "fraction")
    """Yearly rate of the net present value."""
