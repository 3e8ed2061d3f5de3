"""The gap between the base of a pan and the hob: how far the air in it conducts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

AIR_300K_W_MK = 0.0263  # Incropera et al., table A.4
ROUGH_M = 1.5e-4
"""Mean gap of a flat pan on flat glass: assumed, no source; 0.1 to 0.3 mm are plausible."""


def gap_conductance_w_m2k(
    radius_frac: ArrayLike, *, bow_m: float, rough_m: float = ROUGH_M
) -> FloatArray:
    """Return the conductance of the air under a bowed base at 300 K.

    Parameters
    ----------
    radius_frac : (...,)
        Distance from the centre as a share of the base's radius. [-]
    bow_m : float
        How far the middle stands higher than the rim; negative where it sags. [m]
    rough_m : float
        Gap where the base touches. [m]

    Returns
    -------
    (...,)
        Conductivity over gap; the bow is a parabola. [W/m2/K]

    Raises
    ------
    OutOfRangeError
        If the gap where the base touches is not above 0, or the bow exceeds 2 cm.

    Notes
    -----
    175 W/m2K for a flat pan, 24 W/m2K in the middle of one bowed by 1 mm.  Air
    conducts more when hot (a half more at 500 K), which the solver adds, as it
    adds radiation: 25 W/m2K between 400 and 200 C.  Convection in the gap is left
    out: under 1 cm its Rayleigh number stays under the critical 1700.

    References
    ----------
    Conduction through a thin layer; air from Incropera et al., table A.4.
    """
    if not (rough_m > 0.0 and abs(bow_m) <= 0.02):
        raise OutOfRangeError(
            f"rough_m is {rough_m}, bow_m {bow_m}; allowed: above 0, -0.02..0.02 m"
        )
    r2 = np.clip(np.asarray(radius_frac, dtype=np.float64), 0.0, 1.0) ** 2
    gap = rough_m + (bow_m * (1.0 - r2) if bow_m >= 0.0 else -bow_m * r2)
    return np.asarray(AIR_300K_W_MK / gap)
