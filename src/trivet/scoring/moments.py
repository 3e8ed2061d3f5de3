"""At which moments of a cook labels and unevenness are held against what was so."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.records.cook import CookPlan

EVENLY = 12
FIRST_S = 1.0
HAND_MIDDLE_S = 1.0
"""A hand is there for 2 s: at its middle it lies farthest in."""


def label_moments(plan: CookPlan, *, from_s: float, until_s: float) -> FloatArray:
    """Return the moments of a planned cook at which pixels are looked at.

    Parameters
    ----------
    plan : CookPlan
        Its hands have a moment each.
    from_s, until_s : float
        When its frames begin and end. [s]

    Returns
    -------
    (moment,)
        Twelve evenly from the first second on, and the middle of each hand's stay. [s]

    Notes
    -----
    From the plan alone, so no label can choose when it is looked at.

    References
    ----------
    House rule.
    """
    evenly = np.linspace(min(max(FIRST_S, from_s), until_s), until_s, EVENLY)
    hands = [float(at) + HAND_MIDDLE_S for at in plan.hands_at_s]
    found = np.unique(np.concatenate([evenly, hands]))
    return np.asarray(found[(found >= from_s) & (found <= until_s)])
