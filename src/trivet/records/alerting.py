"""What all alerts share: what is told of the oil, who is in the kitchen, what must be announced."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from trivet.records.figures import (
    DifferenceOrZero,
    Duration,
    Figure,
    Fraction,
    Quantity,
    figure,
)
from trivet.records.part import Part


class PresenceChannel(Part):
    """How the product knows that somebody is in the kitchen: a sensor with errors of its own."""

    name: str
    """What it is."""
    period_s: Annotated[Figure, Quantity("time", gt=0)] = figure("2 s", "time")
    """Time between two answers."""
    miss_frac: Fraction = figure("5 %", "fraction")
    """Share of answers that miss somebody who is there."""
    false_frac: Fraction = figure("1 %", "fraction")
    """Share of answers that see somebody where nobody is."""
    hold_s: Duration = figure("20 s", "time")
    """An answer counts for this long."""


class Alerting(Part):
    """What all alerts share."""

    smoke_quantile_frac: Fraction = figure("5 %", "fraction")
    """Place in the distribution of an oil's smoke or ignition point at which a limit is set."""
    untold_uses: int = Field(default=0, ge=0)
    """Uses of the oil before, where the cook does not tell them."""
    announce_within_s: Duration = figure("20 s", "time")
    """Within this time of a fault the product says that it cannot watch."""
    even_frame_delta_k: DifferenceOrZero = figure("4 K", "difference")
    """A frame with less between its coldest and hottest pixel shows no kitchen: a covered lens."""
    hand_counts_s: Duration = figure("60 s", "time")
    """A hand seen over the hob counts as somebody there for this long."""
    handled_s: Duration = figure("10 s", "time")
    """For this long after a hand was seen, a pot that reads cooler was filled up, not dry."""
    chatter_s: Duration = figure("60 s", "time")
    """An alert that goes on again within this time of going off chatters."""
    presence: PresenceChannel | None = None
    """Who is there, as the product knows it; only hands over the hob when left out."""
