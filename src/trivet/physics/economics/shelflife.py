"""How cells run empty: load and self-discharge, linear or exponential."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import InputError

YEAR_D = 365.25

SelfDischarge = Literal["linear", "exponential"]


def shelf_factor(temperature_k: float | FloatArray, *, doubling_k: float) -> FloatArray:
    """Return how much faster cells lose charge on the shelf than at 20 C.

    Parameters
    ----------
    temperature_k : float or (...,)
        Temperature of the cells. [K]
    doubling_k : float
        Warming that doubles the loss. [K]

    Returns
    -------
    (...,)
        Factor, 1 at 20 C. [-]

    Notes
    -----
    30 K above 20 C make 1 % a year 8 %.

    References
    ----------
    Doubling rule, from memory, common practice.
    """
    rise = np.asarray(temperature_k, dtype=np.float64) - (20.0 + ZERO_C_K)
    return np.asarray(2.0 ** (rise / doubling_k), dtype=np.float64)


def days_left(
    available_j: float | FloatArray,
    *,
    load_j_per_day: float | FloatArray,
    shelf_per_year: float | FloatArray,
    law: SelfDischarge,
) -> FloatArray:
    """Return the day on which dE/dt = -load - self-discharge is at nothing.

    Parameters
    ----------
    available_j : (...,)
        Energy to begin with. [J]
    load_j_per_day : (...,)
        What the cells give a day, converter counted. [J]
    shelf_per_year : (...,)
        Share lost on the shelf, at the cells' temperature. [1/y]
    law : {"linear", "exponential"}
        Linear: of the energy to begin with; exponential: of what is left.

    Returns
    -------
    (...,)
        Days, infinite without any loss. [d]

    Raises
    ------
    InputError
        If the law is unknown.

    Notes
    -----
    3 % a year shorten 61 years to 21.6 by the linear law and to 35 by the exponential one.

    References
    ----------
    Energy balance, closed form of both laws.
    """
    if law not in ("linear", "exponential"):
        raise InputError(f"self_discharge is {law!r}: allowed linear or exponential")
    energy = np.asarray(available_j, dtype=np.float64)
    load = np.asarray(load_j_per_day, dtype=np.float64)
    rate = np.asarray(shelf_per_year, dtype=np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        if law == "linear":
            total = load + energy * rate / YEAR_D
            return np.asarray(np.where(total > 0.0, energy / total, math.inf))
        decay = -np.log1p(-np.minimum(rate, 1.0 - 1e-12)) / YEAR_D
        plain = np.where(load > 0.0, energy / load, math.inf)
        decayed = np.where(load > 0.0, np.log1p(decay * energy / load) / decay, math.inf)
        return np.asarray(np.where(decay > 0.0, decayed, plain))
