"""Water that leaves the boil as no water can: the pot may be dry, or something cold went in.

Water on a stove cools by fractions of a kelvin a second; a bare bottom that mirrors the room
where the water stood reads tens of kelvin less within seconds, and one that has
become dull reads over the boiling point. What such a surface is, one band cannot tell, so
it is not known until the surface boils again for a while or the pot is taken off.
"""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.facts.thresholds import threshold

NEAR_BOIL_K, ABOVE_BOIL_K = threshold("boil_near_k"), threshold("boil_above_k")
LEFT_BOIL_K = threshold("boil_left_k")
"""Water that read from 12 K below the boiling point on and falls by 8 K faster than water cools,
or whose whole interval lies 5 K above it, may be a dry pot; assumed, no source."""
WATER_COOLING_KPS = threshold("boil_cooling_kps")
"""No pot of water cools faster: 0.2 kg lose 420 W at it, twice what evaporation and convection
take from a pot of 0.03 m2 just off the boil (own estimate)."""
BACK_S = threshold("boil_back_s")
"""How long it has to read as before until it is water again; assumed, no source."""
LONGEST_STEP_S = threshold("boil_longest_step_s")
TOP, LEFT, BACK, BEFORE = range(4)


def never_boiled() -> FloatArray:
    """Return the memory of a pot of which nothing has been seen.

    Returns : (4,) what it has cooled to at most, where it left, since when it is back, last moment
    """
    return np.full(4, np.nan)


def left_boil(
    middle_k: FloatArray,
    *,
    low_k: FloatArray,
    absent: BoolArray,
    time_s: FloatArray,
    boiling_k: float,
    memory: FloatArray,
) -> BoolArray:
    """Return where what was told to be water has left the boil as no water can.

    middle_k : (time,) temperature read as water; NaN where hidden [K]
    low_k : (time,) lower end of its interval [K]
    absent : (time,) whether the pot is taken off, which begins anew
    time_s : (time,) rising [s]
    boiling_k : [K]
    memory : (4,) of :func:`never_boiled`, continued in place
    Returns : (time,) true until it has read as before for 20 s

    Cold water or food that cools a boiling pot by over 8 K is taken for it as well. A dry bottom
    that reads within 12 K of the boil all the while is not noticed.

    Source: Own estimates, see the constants.
    """
    top, left, back, before = (float(one) for one in memory)
    found = np.zeros(time_s.size, dtype=np.bool_)
    for t, now in enumerate(time_s.tolist()):
        step = 0.0 if math.isnan(before) else min(max(now - before, 0.0), LONGEST_STEP_S)
        before = now
        if absent[t]:
            top = left = math.nan
        if math.isnan(middle_k[t]):
            found[t] = not math.isnan(left)
            top -= WATER_COOLING_KPS * step
            continue
        if math.isnan(left):
            top = float(np.fmax(middle_k[t], top - WATER_COOLING_KPS * step))
            fell = top > boiling_k - NEAR_BOIL_K and middle_k[t] < top - LEFT_BOIL_K
            if fell or low_k[t] > boiling_k + ABOVE_BOIL_K:
                left, back = min(top, boiling_k + ABOVE_BOIL_K), math.nan
        elif low_k[t] > boiling_k + ABOVE_BOIL_K or middle_k[t] < left - LEFT_BOIL_K / 2:
            back = math.nan
        elif math.isnan(back):
            back = now
        elif now - back >= BACK_S:
            top, left = middle_k[t], math.nan
        found[t] = not math.isnan(left)
    memory[:] = top, left, back, before
    return found
