"""Foam on butter, from the rate at which its water boils off, and its browning."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

STEAM_KG_M3 = 0.598  # saturated at 100 C, steam tables
BUBBLE_LIFE_S = 1.0  # in milk proteins and fat: assumed, no source
COVERS_M = 1.5e-3  # foam this high hides 63 % of what lies under it: assumed, no source
# Milk solids brown within minutes from 120 C on and within tens of seconds at 150 C:
# common practice, no source.
BROWN_120_S, BROWN_PER_K = 240.0, 0.08


def foam_frac(lost_kg_m2s: ArrayLike) -> FloatArray:
    """Return the share of a butter's surface that foam hides.

    Parameters
    ----------
    lost_kg_m2s : (...)
        Rate at which its water boils off; negative counts as 0. [kg/m2/s]

    Returns
    -------
    (...)
        Share, 0 to 1. [-]

    Notes
    -----
    The foam's height is the speed of the steam times the life of a bubble. 5 kW/m2 into
    the water (2.2 g/m2/s) make 3.7 mm, which hides 92 %; a tenth of it 22 %. Life and
    height are assumptions: a factor of two in either moves 22 % to 12 or 39 %.

    References
    ----------
    Assumed, no source.
    """
    height = np.maximum(np.asarray(lost_kg_m2s, float), 0.0) / STEAM_KG_M3 * BUBBLE_LIFE_S
    return np.asarray(-np.expm1(-height / COVERS_M))


def browned_frac(temperature_k: FloatArray, *, step_s: float) -> FloatArray:
    """Return how far the milk solids of butter have browned.

    Parameters
    ----------
    temperature_k : (time, ...)
        Temperature of the fat. [K]
    step_s : float
        Time between samples, above 0. [s]

    Returns
    -------
    (time, ...)
        Share, 0 to 1, rising. [-]

    Raises
    ------
    OutOfRangeError
        If the step is not above 0.

    Notes
    -----
    First order: 63 % after 4 minutes at 120 C, after 22 s at 150 C. Assumed; it moves
    the emissivity of a thin fat film by 0.1 at most.

    References
    ----------
    Common practice, no source.
    """
    if not step_s > 0.0:
        raise OutOfRangeError(f"step_s is {step_s}; allowed: above 0 s")
    over = np.asarray(temperature_k, float) - 393.15
    rate = np.exp(BROWN_PER_K * np.minimum(over, 150.0)) / BROWN_120_S
    return np.asarray(-np.expm1(-np.cumsum(rate, axis=0) * step_s))
