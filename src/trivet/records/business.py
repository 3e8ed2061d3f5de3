"""What the design says of money."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import Field

from trivet.records.energy import Battery, Diary, Radio, Wake
from trivet.records.figures import (
    Amount,
    Broken,
    Duration,
    Fraction,
    NumberOrZero,
    Part,
    PositiveDuration,
    PositiveFraction,
    figure,
)

__all__ = [
    "Alternative",
    "Battery",
    "BillLine",
    "Costs",
    "Diary",
    "Radio",
    "VolumeBreak",
    "Wake",
]


class VolumeBreak(Part):
    """A price for orders of a given size."""

    at_least: int = Field(ge=1, alias="from")
    """Least units of an order."""
    at_most: int | None = Field(default=None, ge=1, alias="to")
    """Most units of an order; no end when left out."""
    price: Amount
    """Price of one piece at that size."""


class BillLine(Part):
    """One line of the bill of materials."""

    name: str
    """What it is."""
    price: Amount | None = None
    """Price of one piece; for the sensor the card's board price when left out."""
    pieces: int = Field(default=1, ge=1)
    """Pieces in one unit; for the sensor in each head."""
    sensor: bool = False
    """Whether it is the sensor: another card then changes its price."""
    board_share_frac: Fraction = figure("100 %", "fraction")
    """Share of the card's board price that is paid in volume."""
    breaks: tuple[VolumeBreak, ...] = ()
    """Prices by size of an order."""

    def broken(self) -> Iterator[Broken]:
        """Yield a line without a price that no sensor card can give."""
        if self.price is None and not self.sensor:
            yield "price", f"no price of {self.name!r}", "an amount"


class Alternative(Part):
    """Another way to watch a hob, to compare the cost with."""

    name: str
    """What it is."""
    price: Amount
    """What a household pays for it."""
    burners: int = Field(ge=1)
    """Burners that it watches."""
    life_s: Duration = figure("5 year", "time")
    """How long it lasts."""
    yearly: Amount | None = None
    """Cells, filters or fees a year."""


class Costs(Part):
    """Money, exact."""

    price: Amount
    """List price."""
    channel_kind: Literal["margin", "markup", "amount"] = "margin"
    """Margin: a share of the list price; markup: on what we get; amount: money a unit."""
    channel_frac: Fraction = figure("0 %", "fraction")
    """The channel's margin on the list price, or its markup on the net price."""
    channel_amount: Amount | None = None
    """What the channel keeps of one unit, where it is an amount."""
    unit_cost: Amount | None = None
    """Cost of goods of one unit, sensor included: a bill of one line."""
    bill: tuple[BillLine, ...] = ()
    """The bill of materials, instead of unit_cost."""
    yield_frac: PositiveFraction = figure("100 %", "fraction")
    """Share of the units built that can be sold."""
    duty_frac: Fraction = figure("0 %", "fraction")
    """Import duty, as a share of the cost of goods."""
    freight: Amount
    """Freight of one unit."""
    warranty_frac: Fraction = figure("0 %", "fraction")
    """Share of units replaced at landed cost within the warranty."""
    returns_frac: Fraction = figure("0 %", "fraction")
    """Share of net revenue lost to returns."""
    returns_short_life_frac: Fraction = figure("0 %", "fraction")
    """Share returned in addition by users whose charge lasts less than is claimed."""
    returns_blind_frac: Fraction = figure("0 %", "fraction")
    """Share returned in addition if nothing were measurable, in proportion to what is not."""
    support: Amount
    """Support of one unit over its life."""
    cloud_month: Amount | None = None
    """Cloud cost of one unit a month."""
    cloud_months: int = Field(default=0, ge=0, le=240)
    """Months that a unit uses it."""
    fixed: Amount | None = None
    """One-off outlays until launch that have no key of their own."""
    tooling: Amount | None = None
    """Tooling, once."""
    certification: Amount | None = None
    """Certification, once."""
    team_month: Amount | None = None
    """Team a month, over all months of the ledger."""
    launch_month: int = Field(default=1, ge=0, le=120)
    """Month of the first sales; outlays begin in month 0."""
    units_per_month: NumberOrZero
    """Units sold a month at full capacity."""
    ramp: tuple[Fraction, ...] = ()
    """Share of full capacity in the first year, the second, and so on; full after."""
    months: int = Field(default=36, ge=1, le=240)
    """Months of sales that the ledger covers."""
    minimum_order: int = Field(default=0, ge=0)
    """Least units that an order to the factory holds."""
    deposit_frac: Fraction = figure("0 %", "fraction")
    """Share of the goods paid when ordered; the balance is due at shipping."""
    order_months: int = Field(default=0, ge=0, le=24)
    """Months from order to shipping."""
    receivable_months: int = Field(default=0, ge=0, le=12)
    """Months from sale until the channel pays; 60 to 90 days are 2 to 3."""
    discount_rate_frac: Fraction = figure("10 %", "fraction")
    """Yearly rate of the net present value."""
    price_spread_frac: Fraction = figure("0 %", "fraction")
    """Half-width of the price, for the sensitivity."""
    goods_spread_frac: Fraction = figure("0 %", "fraction")
    """Half-width of the cost of goods."""
    fixed_spread_frac: Fraction = figure("0 %", "fraction")
    """Half-width of all one-off outlays and of the team."""
    life_s: PositiveDuration = figure("5 year", "time")
    """How long a unit lasts in a kitchen, for the cost of a burner watched."""
    yearly: Amount | None = None
    """What a household pays a year for cells or fees."""

    def broken(self) -> Iterator[Broken]:
        """Yield costs that are said twice or never, and months that contradict one another."""
        if (self.unit_cost is None) == (not self.bill):
            found = "unit_cost beside a bill" if self.bill else "nothing says what the goods cost"
            yield "unit_cost", found, "unit_cost, or [[costs.bill]], not both"
        share, amount = "channel_frac" in self.model_fields_set, self.channel_amount is not None
        if (amount, share) != ((True, False) if self.channel_kind == "amount" else (False, True)):
            wanted = "channel_amount" if self.channel_kind == "amount" else "channel"
            found = f"channel_kind = {self.channel_kind!r}"
            yield "channel_kind", found, f"the key {wanted!r} alone"
        if self.order_months > self.launch_month:
            found = f"goods are ordered {self.order_months} months ahead of sales that begin in"
            yield "order_months", f"{found} month {self.launch_month}", "a later launch_month"
        if self.cloud_month is not None and self.cloud_months == 0:
            found = "a cloud cost a month for 0 months"
            yield "cloud_month", found, "cloud_months of 1 or more"
