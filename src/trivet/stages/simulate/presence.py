"""Who is in the kitchen, and what the product's presence channel answers."""

from __future__ import annotations

import numpy as np

from trivet.records.cook import CookPlan
from trivet.records.product import PresenceChannel
from trivet.records.recording import Event, PresenceSeries

KITCHEN = "kitchen"
"""What the events of somebody in the kitchen are marked with."""


def presence(
    channel: PresenceChannel | None,
    *,
    plan: CookPlan,
    until_s: float,
    generator: np.random.Generator,
) -> PresenceSeries | None:
    """Return a presence channel's answers over a cook, with the errors that it declares.

    Answers err independently of one another; a real channel may err in a row.
    """
    if channel is None:
        return None
    at = np.arange(0.0, until_s, float(channel.period_s))
    there = np.ones(at.size, dtype=np.bool_)
    for one in plan.away:
        start = float(one.at_s)
        there &= ~((at >= start) & (at < start + float(one.for_s)))
    u = generator.uniform(size=at.size)
    seen = np.where(there, u >= float(channel.miss_frac), u < float(channel.false_frac))
    return PresenceSeries(tuple(at.tolist()), tuple(bool(one) for one in seen))


def away_events(plan: CookPlan, burner: str) -> list[Event]:
    """Return when the kitchen is left and entered, for those who check what was noticed."""
    found = []
    for one in plan.away:
        start = float(one.at_s)
        found.append(Event(start, burner, "person_out", KITCHEN))
        found.append(Event(start + float(one.for_s), burner, "person_in", KITCHEN))
    return found
