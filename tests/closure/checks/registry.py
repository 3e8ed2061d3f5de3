"""What a check is, and the list of them in the order of the page.

A check that is *held* fails the tests outside its limits: it compares with closed
forms, other solvers or balances, where there is a right answer.  A check that is
*compared* stands beside figures of other kitchens: the page says whether it agrees,
and where it does not, why.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Check:
    """One figure of the simulator and what it is held to."""

    name: str
    group: str
    measure: Callable[[], float]
    unit: str
    low: float
    high: float
    source: str
    conditions: str
    kind: Literal["held", "compared"] = "held"
    within: float = 0.1
    """Share of the limits' scale by which a run elsewhere may differ from the page."""
    slow: bool = False
    why: str = ""
    """Why a compared figure disagrees; empty as long as it agrees."""

    def agrees(self, value: float) -> bool:
        """Return whether a figure lies within the limits."""
        return self.low <= value <= self.high

    def same(self, page: float, value: float) -> bool:
        """Return whether page and present run say the same."""
        ends = [abs(end) for end in (self.low, self.high) if math.isfinite(end)]
        return abs(page - value) <= self.within * max(ends) + 0.005 * abs(page)


def limits_text(check: Check) -> str:
    """Return the limits as they stand on the page."""
    unit = f" {check.unit}" if check.unit else ""
    if not math.isfinite(check.low) or check.low == 0.0:
        return f"at most {check.high:.4g}{unit}"
    if not math.isfinite(check.high):
        return f"at least {check.low:.4g}{unit}"
    return f"{check.low:.4g} to {check.high:.4g}{unit}"


def all_checks() -> list[Check]:
    """Return every check in the order of the page."""
    from tests.closure.checks import balances, conduction, food, ignition, kitchen, water

    rooms = (conduction, balances, water, food, kitchen, ignition)
    found = [one for room in rooms for one in room.CHECKS]
    names = [one.name for one in found]
    assert len(set(names)) == len(names), "two checks have one name"
    return found
