"""Lids on pans: what the contents lose to, and what an eye above sees in their place."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

# Density x specific heat [J/m3/K]: soda-lime glass 2500 x 750 (Incropera table A.3, plate
# glass), stainless 304 7900 x 477 (table A.1); from memory.
GLASS_J_M3K = 1.9e6
STEEL_J_M3K = 3.8e6
# Dropwise to film condensation from air-laden steam: 200 to 1000, from memory.
CONDENSE_W_M2K = 500.0
LEAK_FRAC = 0.1  # vapour that finds the gap at the rim: assumed, no source


@dataclass(frozen=True)
class Lid:
    """A lid: each figure a scalar or one value a cook; no lid where ``areal_j_m2k`` is 0."""

    areal_j_m2k: ArrayLike = 0.0
    emissivity: ArrayLike = 0.9
    """Total, of its outer face."""
    outer_w_m2k: ArrayLike = 8.0
    """Convection from its outer face."""
    start_k: ArrayLike = 293.15
    condense_w_m2k: ArrayLike = CONDENSE_W_M2K
    leak_frac: ArrayLike = LEAK_FRAC


def lid_areal_j_m2k(thickness_m: float, *, glass: bool) -> float:
    """Return the heat capacity of a lid per area.

    Parameters
    ----------
    thickness_m : float
        Thickness, above 0. [m]
    glass : bool
        Glass, or stainless steel.

    Returns
    -------
    float
        Heat capacity. [J/m2/K]

    Raises
    ------
    OutOfRangeError
        If the thickness is not above 0.

    Notes
    -----
    4 mm of glass store 7.6 kJ/m2/K, 0.8 mm of steel 3.0: over boiling water they
    reach 90 C within two minutes of the first vapour. Rim and knob are left out
    (10 to 30 % of the mass, common practice, no source).

    References
    ----------
    Constants and their sources stand at the head of this file.
    """
    if not thickness_m > 0.0:
        raise OutOfRangeError(f"lid thickness_m is {thickness_m}; allowed: above 0 m")
    return thickness_m * (GLASS_J_M3K if glass else STEEL_J_M3K)


def stack_lids(lids: list[Lid | None]) -> Lid | None:
    """Return the lids of single cooks as one with arrays over cooks, None where no one has one.

    Parameters
    ----------
    lids : list of Lid or None
        One a cook.

    Returns
    -------
    Lid or None
        Figures are (cook,).

    Notes
    -----
    Exact.
    """
    if all(one is None for one in lids):
        return None
    full = [one or Lid() for one in lids]

    def column(name: str) -> FloatArray:
        return np.array([float(np.asarray(getattr(one, name))) for one in full])

    names = ("areal_j_m2k", "emissivity", "outer_w_m2k", "start_k", "condense_w_m2k", "leak_frac")
    return Lid(**{name: column(name) for name in names})
