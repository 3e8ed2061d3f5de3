"""Carry a pan's mean temperature on while food hides it: a Kalman filter of three states.

While the pan is seen whole, temperature T, heating rate q and loss rate k of

    dT/dt = q - k (T - T_room)

follow from its readings. Under food the model runs on without readings. Food takes heat
from the pan, at most as a half space in contact does,

    f (T - T_food) / (1 / a_c + sqrt(pi t) / a_e),

with f the covered share of the base, a_c contact conductance and a_e effusivity, each
times area over heat capacity. What it took lies between nothing and that and is the less
likely the more it is (a triangular distribution: a third, standard deviation 1 / sqrt(18)): a
hand takes nothing, food that has curled or crusted little.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.physics.compiled import family

compiled = family(Path(__file__))

MEAT_EFFUSIVITY = 1300.0
"""sqrt(k rho c) of lean meat, W s^0.5/m2/K: k 0.45 W/m/K, 1,050 kg/m3, 3,500 J/kg/K."""
CONTACT_W_M2K = 1000.0
"""Most that a pan gives to meat lying in it; contact coefficients of griddles run from 200 to
1,200 W/m2/K (from memory of the grilling literature)."""
KNOB_THIRD, KNOB_S = 1.0 / 3.0, 120.0
"""A knob is turned by about a third of full heat every two minutes; assumed, no source."""
LOSS_W_M2K = 40.0
"""Both faces of a pan together, convection and radiation; 20 W/m2/K a face (common practice)."""
LOSS_SHARE = 0.5
"""Standard uncertainty of it, as a share; own estimate: lids, fans and finishes."""
NOISE_K = 0.5
"""Scatter of a frame's reading about its smooth course."""
LEARN_S = 10.0
"""Shortest history from which a rate is taken."""
GAP_S = 5.0
"""After a longer gap between frames all is forgotten."""
SURPRISE = 25.0
"""Squared innovation over its variance from which the knob was turned: five sigma."""
# Places of a memory; the covariance follows.
T, Q, K, LAST_S, LEARNT_S, SINCE_S, TAKEN_K, OWN_U, OWN_RISE, P = range(10)
SIZE = P + 9  # the places above, P with the nine of a 3 x 3 covariance


class CarryRule(NamedTuple):
    """Constants of one pan on one burner; NaN in ``store_jk`` where the pan was not told."""

    store_jk: float
    """Heat capacity of pan and contents. [J/K]"""
    area_m2: float
    full_kps: float
    """Heating rate at full heat. [K/s]"""
    room_k: float
    food_k: float


def nothing_carried() -> FloatArray:
    """Return the memory of a pan of which nothing has been learnt.

    Returns : (SIZE,)

    144 bytes.
    """
    memory = np.zeros(SIZE)
    memory[[T, LAST_S, SINCE_S]] = np.nan
    return memory


def carry(
    pan_k: FloatArray,
    *,
    u_k: FloatArray,
    time_s: FloatArray,
    covered_frac: FloatArray,
    fresh: BoolArray,
    rule: CarryRule,
    memory: FloatArray,
) -> FloatArray:
    """Return what has become of a pan while it is not seen whole.

    pan_k : (time,) mean of the pan as read; NaN where it is not seen whole [K]
    u_k : (time,) standard uncertainty of it [K]
    time_s : (time,) moments [s]
    covered_frac : (time,) share of the pan under food [-]
    fresh : (time,) whether food has just gone in or been turned: its cold side lies below
    memory : (SIZE,) from :func:`nothing_carried`, continued in place from block to block
    Returns : (time, 3) temperature and its standard uncertainty [K], NaN while the pan is seen and
        where fewer than 10 s of it were; by what factor its height over the room may have grown

    1 mm more of aluminium under 0.02 m2 of food at 100 K changes what food may take by a quarter. A
    pan of 500 J/K loses its interval of 25 K within 20 to 40 s, one of 1,500 J/K within two
    minutes. The interval is never narrower than that of the last reading.

    Source: Kalman (1960), J. Basic Eng. 82, 35; half space in contact: Carslaw and Jaeger (1959),
    Conduction of Heat in Solids, 2.7 (both from memory).
    """
    out = np.full((time_s.size, 3), np.nan)
    if math.isfinite(rule.store_jk):
        _carry((pan_k, u_k, time_s, covered_frac, fresh), rule, memory, out)
    return out


@compiled
def _carry(seen: Any, rule: Any, memory: Any, out: Any) -> None:
    pan, u, time, covered, fresh = seen
    for t in range(time.size):
        step = time[t] - memory[LAST_S]
        if not step <= GAP_S:
            memory[T] = np.nan
        memory[LAST_S] = time[t]
        whole = math.isfinite(pan[t]) and math.isfinite(u[t])
        if math.isnan(memory[T]):
            if whole:
                _begin(pan[t], rule, memory)
            continue
        _predict(step, rule, memory)
        if whole:
            _learn(pan[t], memory, rule)
            memory[LEARNT_S] += step
            memory[SINCE_S], memory[TAKEN_K] = np.nan, 0.0
            memory[OWN_U], memory[OWN_RISE] = u[t], max(memory[T] - rule.room_k, 1.0)
            continue
        if math.isnan(memory[SINCE_S]) or fresh[t]:
            memory[SINCE_S] = time[t]
        memory[TAKEN_K] += step * _taken(covered[t], time[t] - memory[SINCE_S], rule, memory)
        if memory[OWN_RISE] > 0.0:
            out[t, 2] = max((memory[T] - rule.room_k) / memory[OWN_RISE], 1.0)
        if memory[LEARNT_S] >= LEARN_S:
            at = memory[T] - memory[TAKEN_K] / 3.0
            own = memory[OWN_U] * max((at - rule.room_k) / memory[OWN_RISE], 1.0)
            out[t, 0] = at
            out[t, 1] = math.sqrt(memory[P] + memory[TAKEN_K] ** 2 / 18.0 + own * own)


@compiled
def _begin(pan: float, rule: Any, memory: Any) -> None:
    memory[:] = 0.0
    memory[T], memory[SINCE_S] = pan, np.nan
    memory[K] = LOSS_W_M2K * rule.area_m2 / rule.store_jk
    memory[P] = NOISE_K * NOISE_K
    memory[P + 4] = rule.full_kps * rule.full_kps
    memory[P + 8] = (LOSS_SHARE * memory[K]) ** 2


@compiled
def _predict(step: float, rule: Any, memory: Any) -> None:
    above = memory[T] - rule.room_k
    a, b, c = 1.0 - memory[K] * step, step, -above * step
    memory[T] += step * (memory[Q] - memory[K] * above)
    p = memory[P:]
    # F P F', with F = [[a, b, c], [0, 1, 0], [0, 0, 1]]
    tq = a * p[1] + b * p[4] + c * p[7]
    tk = a * p[2] + b * p[5] + c * p[8]
    tt = a * p[0] + b * p[3] + c * p[6]
    p[0] = a * tt + b * tq + c * tk
    p[1], p[3] = tq, tq
    p[2], p[6] = tk, tk
    p[4] += (KNOB_THIRD * rule.full_kps) ** 2 / KNOB_S * step


@compiled
def _learn(pan: float, memory: Any, rule: Any) -> None:
    p = memory[P:]
    miss, spread = pan - memory[T], p[0] + NOISE_K * NOISE_K
    if miss * miss > SURPRISE * spread:
        p[4] += rule.full_kps * rule.full_kps
        p[0] += miss * miss
        spread = p[0] + NOISE_K * NOISE_K
    gain_t, gain_q, gain_k = p[0] / spread, p[3] / spread, p[6] / spread
    memory[T] += gain_t * miss
    memory[Q] = max(memory[Q] + gain_q * miss, 0.0)  # a burner does not cool
    memory[K] = max(memory[K] + gain_k * miss, 0.0)
    t0, t1, t2 = p[0], p[1], p[2]
    for k in range(3):
        gain = gain_t if k == 0 else (gain_q if k == 1 else gain_k)
        p[3 * k] -= gain * t0
        p[3 * k + 1] -= gain * t1
        p[3 * k + 2] -= gain * t2


@compiled
def _taken(share: float, age: float, rule: Any, memory: Any) -> float:
    """Fastest fall that food lying in the pan for ``age`` seconds can bring it. [K/s]"""
    hot = max(memory[T] - memory[TAKEN_K] / 3.0 - rule.food_k, 0.0)
    per_m2 = hot / (1.0 / CONTACT_W_M2K + math.sqrt(math.pi * age) / MEAT_EFFUSIVITY)
    fall: float = share * rule.area_m2 / rule.store_jk * per_m2
    return fall
