"""From burner on to the first reading, and from the first reading to the alert."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import erf

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import OutOfRangeError

HOT_SPOT_M2 = 5e-4  # own estimate: 5 cm2, the hottest part of a pan that counts


def crossing_s(
    rate_kps: ArrayLike, *, rise_k: ArrayLike, seen_rise: ArrayLike = 1.0, lag_s: ArrayLike = 0.0
) -> FloatArray:
    """Return when a lagging sensor has risen by a given amount over a ramp.

    The reading of a first-order sensor that sees a share of a ramp is share x rate x (t - tau (1 -
    exp(-t / tau))).

    rate_kps : (...,) heating rate of what warms, above 0 [K/s]
    rise_k : (...,) rise of the reading that is waited for, 0 or more [K]
    seen_rise : (...,) rise of the reading for one kelvin of what warms, above 0
    lag_s : (...,) time constant of the sensor, 0 or more [s]
    Returns : (...,) time since the ramp's start [s]
    Raises : OutOfRangeError if a rate or a share is not positive, or a rise or lag negative
    Notes : Newton from above on a convex function: 30 steps reach 1e-9 s. A lag of 3 s costs
        between sqrt(2 tau rise / rate), early, and the full 3 s, late: 3 K seen at 0.3 of 1 K/s is
        crossed at 13.0 s instead of 10.0 s.
    Source : Response of a first-order system to a ramp, textbook form
    """
    rate, rise, seen, lag = (
        np.asarray(one, dtype=np.float64) for one in (rate_kps, rise_k, seen_rise, lag_s)
    )
    if not (np.all(rate > 0.0) and np.all(seen > 0.0)):
        raise OutOfRangeError("rate_kps and seen_rise: allowed more than 0")
    if not (np.all(rise >= 0.0) and np.all(lag >= 0.0)):
        raise OutOfRangeError("rise_k and lag_s: allowed 0 or more")
    plain = rise / (seen * rate)
    tau = np.maximum(lag, 1e-9)
    time = plain + lag
    for _ in range(30):
        gone = -np.expm1(-time / tau)
        excess = time - tau * gone - plain
        time = np.maximum(time - excess / np.maximum(gone, 1e-12), plain)
    return np.asarray(np.where(rise > 0.0, time, 0.0), dtype=np.float64)


@dataclass(frozen=True, eq=False)
class Starts:
    """Drawn starts of a cook: what the waking sensor meets. (draw,)

    ``phase_frac`` is where in the period between two looks the burner goes on; ``caught`` says
    whether a motion detector woke the unit at once.
    """

    rate_kps: FloatArray
    seen_rise: FloatArray
    phase_frac: FloatArray
    caught: BoolArray


@dataclass(frozen=True, eq=False)
class FirstReading:
    """Moments since burner on. (draw,) [s]"""

    tripped_s: FloatArray
    awake_s: FloatArray
    reading_s: FloatArray


def first_reading_s(
    starts: Starts,
    *,
    kind: str,
    trip_k: float,
    lag_s: float,
    poll_s: float,
    boot_s: float,
    frame_s: float,
) -> FirstReading:
    """Return when a sleeping unit has its first reading after a burner goes on.

    starts : (draw,) rates, shares, phases
    kind : {"polling", "motion", "thermal-trip"}: what wakes the unit
    trip_k : rise of the waking sensor that wakes it [K]
    lag_s : time constant of the waking sensor [s]
    poll_s : time between two looks; 0 or less where there are none [s]
    boot_s : from waking to the first order to the sensor [s]
    frame_s : from that order to the first whole frame [s]
    Returns : (draw,) when the level was passed, when the unit woke, when it could read; infinite
        where nothing wakes it
    Raises : OutOfRangeError if the kind is unknown, or a time negative
    Notes : Polling adds between nothing and a whole period, uniformly: 10 s between looks cost 5 s
        in the mean and 9.5 s for 95 % of the starts. A comparator that is always on adds nothing. A
        caught motion wakes with the hand at the knob.
    Source : Renewal argument for a uniform phase, textbook form
    """
    if kind not in ("polling", "motion", "thermal-trip"):
        raise OutOfRangeError(f"kind {kind!r}: allowed polling, motion, thermal-trip")
    if min(boot_s, frame_s, lag_s, trip_k) < 0.0:
        raise OutOfRangeError("boot_s, frame_s, lag_s and trip_k: allowed 0 or more")
    tripped = crossing_s(starts.rate_kps, rise_k=trip_k, seen_rise=starts.seen_rise, lag_s=lag_s)
    if kind == "thermal-trip":
        awake = tripped
    elif poll_s > 0.0:
        first = starts.phase_frac * poll_s
        looks = np.maximum(np.ceil((tripped - first) / poll_s), 0.0)
        awake = first + looks * poll_s
    else:
        awake = np.full_like(tripped, math.inf)
    if kind == "motion":
        tripped = np.where(starts.caught, 0.0, tripped)
        awake = np.where(starts.caught, 0.0, awake)
    return FirstReading(tripped, awake, awake + boot_s + frame_s)


def settling_k(awake_s: ArrayLike, *, offset_k: float, settle_s: float) -> FloatArray:
    """Return how far a sensor may still be off after waking.

    awake_s : (...,) time since waking [s]
    offset_k : offset right after waking [K]
    settle_s : time after which the maker calls it settled; 0 means at once [s]
    Returns : (...,) offset left, without its sign [K]
    Raises : OutOfRangeError if the settling time is negative
    Notes : Exponential with a third of the settling time: 5 % is left when it is called settled. 3
        K and 4 min leave 2.3 K after 20 s, 1.4 K after 1 min.
    Source : Common practice, no source: three time constants
    """
    if settle_s < 0.0:
        raise OutOfRangeError(f"settle_s is {settle_s}: allowed 0 or more")
    since = np.maximum(np.asarray(awake_s, dtype=np.float64), 0.0)
    if settle_s == 0.0:
        return np.zeros_like(since)
    return np.asarray(abs(offset_k) * np.exp(-3.0 * since / settle_s), dtype=np.float64)


def spot_share_frac(side_m: float, *, footprint_m: float, blur_px: float) -> float:
    """Return the share of a pixel's signal that comes from a square spot at its middle.

    side_m : side of the spot [m]
    footprint_m : side of what one pixel sees without blur [m]
    blur_px : standard deviation of the blur [px]
    Returns : share, 0 to 1
    Raises : OutOfRangeError if spot or footprint are not positive or the blur is negative
    Notes : The pixel sits best, at the spot's middle: the largest share. A spot of 5 cm2 (22.4 mm)
        under a footprint of 20.5 mm fills a sharp pixel; a blur of half a pixel leaves 0.42 of its
        signal.
    Source : Box convolved with a normal density, integrated over the spot: closed form
    """
    if not (side_m > 0.0 and footprint_m > 0.0 and blur_px >= 0.0):
        raise OutOfRangeError("side_m and footprint_m: allowed more than 0; blur_px: 0 or more")
    half = side_m / footprint_m / 2.0
    if blur_px < 1e-6:
        return min(1.0, 2.0 * half) ** 2
    scale = blur_px * math.sqrt(2.0)

    def once(x: float) -> float:
        z = x / scale
        return x * float(erf(z)) + scale / math.sqrt(math.pi) * math.exp(-z * z)

    return float(once(half + 0.5) - once(half - 0.5)) ** 2


def seen_of_hottest(hot_ratio: float, *, spot_share: float, beside_frac: float = 0.0) -> float:
    """Return the rise that a reading has for one kelvin of the hottest part's rise.

    hot_ratio : rise of the hottest part over the rise of the pan's mean, 1 or more
    spot_share : share of the pixel's signal that comes from the hottest part
    beside_frac : how far what lies beside it is from the mean towards the hottest part
    Returns : rise of the reading over the rise of the hottest part
    Raises : OutOfRangeError if the ratio is under 1 or a share outside 0 to 1
    Notes : With the pan at its mean beside the hottest part, the worst case, a ratio of 1.3 seen by
        half is 0.885: at a rise of 250 K the reading trails by 29 K; half-way between both it is
        0.942 and 14 K.
    Source : Linear mixing; within 3 % of mixing radiances at these differences
    """
    if not (hot_ratio >= 1.0 and 0.0 <= spot_share <= 1.0 and 0.0 <= beside_frac <= 1.0):
        raise OutOfRangeError(
            f"hot_ratio {hot_ratio}: 1 or more; spot_share {spot_share}, beside_frac "
            f"{beside_frac}: 0 to 1"
        )
    share = spot_share + (1.0 - spot_share) * beside_frac
    return (1.0 + share * (hot_ratio - 1.0)) / hot_ratio


def needed_trip_k(limit_k: ArrayLike, *, rate_kps: ArrayLike, lead_s: ArrayLike) -> FloatArray:
    """Return the temperature at which an alert must come to leave a lead.

    limit_k : (...,) limit [K]
    rate_kps : (...,) heating rate [K/s]
    lead_s : (...,) lead asked for [s]
    Returns : (...,) temperature of what heats at that rate [K]
    Notes : 60 s before 371 C at 1, 2, 3 and 4.4 K/s: 311, 251, 191 and 107 C.
    Source : A straight ramp; real pans slow down towards the limit, which is the safe side
    """
    limit, rate, lead = (np.asarray(one, dtype=np.float64) for one in (limit_k, rate_kps, lead_s))
    return np.asarray(limit - rate * lead, dtype=np.float64)
