"""Natural convection of hot plates and walls in air, and the straight line through it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

Facing = Literal["up", "down", "side"]
GRAVITY_M_S2 = 9.81
LINE_FROM_K, LINE_TO_K = 30.0, 350.0
# Air at 1 bar: Incropera et al., table A.4 [K], [W/m/K], [m2/s], [m2/s].
AIR_K = np.array([300.0, 350.0, 400.0, 450.0, 500.0, 550.0, 600.0])
AIR_W_MK = np.array([26.3, 30.0, 33.8, 37.3, 40.7, 43.9, 46.9]) * 1e-3
AIR_NU_M2_S = np.array([15.89, 20.92, 26.41, 32.39, 38.79, 45.57, 52.69]) * 1e-6
AIR_ALPHA_M2_S = np.array([22.5, 29.9, 38.3, 47.2, 56.7, 66.7, 76.9]) * 1e-6


@dataclass(frozen=True)
class ConvectionLine:
    """A coefficient as ``at_rest_w_m2k + slope_w_m2k2 x rise``, and its largest relative error."""

    at_rest_w_m2k: float
    slope_w_m2k2: float
    error_frac: float

    def at(self, rise_k: float) -> float:
        """Return the coefficient at a rise over the air."""
        return self.at_rest_w_m2k + self.slope_w_m2k2 * rise_k


def convection_w_m2k(
    rise_k: ArrayLike, *, ambient_k: float, length_m: float, facing: Facing
) -> FloatArray:
    """Return the coefficient of natural convection of a hot face.

    Parameters
    ----------
    rise_k : (...,)
        Temperature of the face over that of the air. [K]
    ambient_k : float
        Temperature of the air. [K]
    length_m : float
        A quarter of the diameter for a level disc, the height for a wall. [m]
    facing : {"up", "down", "side"}
        Where the hot face looks.

    Returns
    -------
    (...,)
        Coefficient; air properties at the mean of face and air. [W/m2/K]

    Raises
    ------
    OutOfRangeError
        If the length is not above 0.

    Notes
    -----
    Valid for Rayleigh numbers of 1e4 to 1e11 (up), 1e5 to 1e10 (down), up to
    1e13 (side); a 26 cm pan 180 K over the air is at 1.5e6.  Such correlations
    hold to about 15 %, in rooms without draught.  Below the range the same law
    is used: low by up to a fifth at 1e3.

    References
    ----------
    Incropera et al., Fundamentals of Heat and Mass Transfer, section 9.6:
    McAdams and Lloyd-Moran for plates (0.54 Ra^1/4, 0.15 Ra^1/3; 0.27 Ra^1/4
    facing down), Churchill-Chu for walls (equation 9.26); from memory.
    """
    if not length_m > 0.0:
        raise OutOfRangeError(f"length_m is {length_m}; allowed: above 0 m")
    rise = np.maximum(np.asarray(rise_k, dtype=np.float64), 1e-6)
    film = ambient_k + 0.5 * rise
    k, nu, alpha = (
        np.interp(film, AIR_K, table) for table in (AIR_W_MK, AIR_NU_M2_S, AIR_ALPHA_M2_S)
    )
    rayleigh = GRAVITY_M_S2 / film * rise * length_m**3 / (nu * alpha)
    if facing == "up":
        nusselt = np.where(rayleigh < 1e7, 0.54 * rayleigh**0.25, 0.15 * rayleigh ** (1 / 3))
    elif facing == "down":
        nusselt = 0.27 * rayleigh**0.25
    else:
        prandtl = (1.0 + (0.492 * alpha / nu) ** (9 / 16)) ** (8 / 27)
        nusselt = (0.825 + 0.387 * rayleigh ** (1 / 6) / prandtl) ** 2
    return np.asarray(nusselt * k / length_m)


def convection_line(*, ambient_k: float, length_m: float, facing: Facing) -> ConvectionLine:
    """Return the straight line through the coefficient from 30 to 350 K of rise.

    Parameters
    ----------
    ambient_k, length_m, facing
        As ``convection_w_m2k``.

    Returns
    -------
    ConvectionLine
        Coefficient at no rise, slope, and the largest error of the line.

    Raises
    ------
    OutOfRangeError
        If the length is not above 0.

    Notes
    -----
    The line is within 10 % of the law (worst at the cold end, where the flux is
    a twentieth of that at 350 K) and within 4 % from 60 K on: less than the
    15 % that the correlations themselves leave open.

    References
    ----------
    Least squares of the relative error at evenly spaced rises.
    """
    rise = np.linspace(LINE_FROM_K, LINE_TO_K, 65)
    law = convection_w_m2k(rise, ambient_k=ambient_k, length_m=length_m, facing=facing)
    rows = np.stack([1.0 / law, rise / law], axis=1)
    value, slope = np.linalg.lstsq(rows, np.ones(rise.size), rcond=None)[0]
    error = np.abs(rows @ np.array([value, slope]) - 1.0).max()
    return ConvectionLine(float(value), float(slope), float(error))
