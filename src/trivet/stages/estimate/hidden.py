"""A pan under food or a hand: what is still seen of it against what a model carries on.

Two witnesses, each with an interval. The open part is reported as long as it is enough of
the pan; beyond that the carried temperature, whose interval grows until it is withheld.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from trivet.arrays import FlagArray, FloatArray, IntArray
from trivet.physics.heat.carriedpan import carry
from trivet.physics.image import panreading
from trivet.quality import BLOCKING, Quality, flag, has
from trivet.records.requirement import OF_WORDS
from trivet.stages.estimate.burnerview import BurnerView
from trivet.stages.estimate.seen import Seen

U95 = 1.96
NEW_SHARE = 0.08
"""Share of the pan that is newly covered when something goes in or is turned."""
PAST = Quality.COVERED | Quality.TOO_FEW_PIXELS | Quality.UNCERTAIN
"""What a carried reading goes past: the pan is there, but not or not wholly seen."""


@dataclass(frozen=True)
class Reported:
    """What would be reported, arrays (time,)."""

    of: IntArray
    temperature_k: FloatArray
    u95_k: FloatArray
    flags: FlagArray


@dataclass(frozen=True)
class Carried:
    """A pan that is not seen whole, arrays (time,); NaN where nothing is known."""

    temperature_k: FloatArray
    u95_k: FloatArray
    growth: FloatArray
    """Height over the room in terms of that when last seen whole."""

    def widened(
        self, u95_k: FloatArray, *, reading_k: FloatArray, hidden_u95_k: FloatArray
    ) -> FloatArray:
        """Return the half-width of the interval of the open part beside food.

        A pan that heats under food gets more uneven than it was when last seen whole,
        and the intervals of the two witnesses have to meet.
        """
        more = hidden_u95_k * np.sqrt(np.nan_to_num(self.growth, nan=1.0) ** 2 - 1.0)
        wide = np.hypot(u95_k, more)
        return np.asarray(np.fmax(wide, np.abs(reading_k - self.temperature_k) - self.u95_k))

    def taken_over(self, seen: Reported, *, hidden: FloatArray, bound_k: float) -> Reported:
        """Return what is reported: the carried pan where food hides too much of it."""
        taken = has(seen.flags, BLOCKING) & ~has(seen.flags, BLOCKING & ~PAST)
        taken &= (hidden > 0.0) & np.isfinite(self.temperature_k) & (self.u95_k <= bound_k)
        flags = np.where(taken, seen.flags & ~np.uint32(PAST), seen.flags)
        return Reported(
            of=np.where(taken, OF_WORDS.index("hidden_pan"), seen.of),
            temperature_k=np.where(taken, self.temperature_k, seen.temperature_k),
            u95_k=np.where(taken, self.u95_k, seen.u95_k),
            flags=flags | flag(Quality.CARRIED, taken),
        )


def carried_pan(
    view: BurnerView, *, seen: Seen, read: Reported, time_s: FloatArray, memory: FloatArray
) -> Carried:
    """Return the pan as it is carried on from when it was last seen whole."""
    reading_k = read.temperature_k
    whole = ~has(read.flags, BLOCKING) & (seen.hidden == 0.0) & np.isfinite(reading_k)
    pan_k = reading_k + seen.slope * (seen.whole_k - seen.mean_k)
    found = carry(
        np.where(whole, pan_k, np.nan),
        u_k=read.u95_k / U95,
        time_s=time_s,
        covered_frac=seen.hidden,
        fresh=seen.trace.read(panreading.NEW_COVERED_FRAC) > NEW_SHARE,
        rule=view.carry,
        memory=memory,
    )
    return Carried(found[:, 0], U95 * found[:, 1], found[:, 2])
