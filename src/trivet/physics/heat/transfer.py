"""Heat transfer of a pan: through a clad base, across the gap to the hob, and to the air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import GRAVITY_M_S2
from trivet.errors import InputError, OutOfRangeError


@dataclass(frozen=True)
class CladSheet:
    """What the pan simulator needs of a base.

    ``sheet_w_k`` conducts along [W/K], ``areal_j_m2k`` stores [J/m2/K].  With
    the flux ``q`` entering below and ``p`` leaving above, the upper face is
    ``cross * q + face * p`` colder than the mean [m2 K/W].
    """

    sheet_w_k: float
    areal_j_m2k: float
    face_m2k_w: float
    cross_m2k_w: float


def clad_sheet(
    thickness_m: ArrayLike,
    *,
    conductivity_w_mk: ArrayLike,
    density_kg_m3: ArrayLike,
    specific_heat_j_kgk: ArrayLike,
) -> CladSheet:
    r"""Return sheet figures and through-thickness resistances of layers, lowest first.

    Quasi-steady: all depths warm at one rate, so the flux falls from q to p as
    the heat capacity below, s = c(z) / C, grows.  Then
    face = int s^2 / k dz, cross = int s (1 - s) / k dz.

    thickness_m : (layer,) thickness, from the heated face up [m]
    conductivity_w_mk, density_kg_m3, specific_heat_j_kgk : (layer,) properties of each layer
        [W/m/K], [kg/m3], [J/kg/K]
    Returns : CladSheet: sums over the layers
    InputError: if a figure is not above 0 or the lists differ in length.

    Of one material: face = d / 3k, cross = d / 6k. Steady flux through 5 mm of cast iron (k
    50) at 26 kW/m2: 2.6 K between the faces; half of it while the pan is dry and only warms. The
    profile settles within d^2 / (pi^2 a), 0.2 s there and 0.6 s for 6 mm of stainless steel.

    Source: Carslaw and Jaeger, Conduction of Heat in Solids, section 3.8 (slab under constant flux,
    late times); the layered form is our own calculation.
    """
    given = [
        np.atleast_1d(np.asarray(one, dtype=np.float64))
        for one in (thickness_m, conductivity_w_mk, density_kg_m3, specific_heat_j_kgk)
    ]
    if len({one.shape for one in given}) != 1 or given[0].ndim != 1:
        raise InputError("a clad base needs one thickness, k, density and heat for each layer")
    if not all(np.all(np.isfinite(one) & (one > 0.0)) for one in given):
        raise InputError("a layer of a clad base has a figure that is not above 0")
    thick, k, density, heat = given
    areal = density * heat * thick
    edge = np.concatenate(([0.0], np.cumsum(areal))) / areal.sum()
    low, high, slab = edge[:-1], edge[1:], thick / k
    square = (low**2 + low * high + high**2) / 3.0
    middle = 0.5 * (low + high)
    return CladSheet(
        sheet_w_k=float((k * thick).sum()),
        areal_j_m2k=float(areal.sum()),
        face_m2k_w=float((slab * square).sum()),
        cross_m2k_w=float((slab * (middle - square)).sum()),
    )


AIR_300K_W_MK = 0.0263  # Incropera et al., table A.4
ROUGH_M = 1.5e-4
"""Mean gap of a flat pan on flat glass: assumed, no source; 0.1 to 0.3 mm are plausible."""


def gap_conductance_w_m2k(
    radius_frac: ArrayLike, *, bow_m: float, rough_m: float = ROUGH_M
) -> FloatArray:
    """Return the conductance of the air under a bowed base at 300 K.

    radius_frac : (...,) distance from the centre as a share of the base's radius [-]
    bow_m : how far the middle stands higher than the rim; negative where it sags [m]
    rough_m : gap where the base touches [m]
    Returns : (...,) conductivity over gap; the bow is a parabola [W/m2/K]
    OutOfRangeError: if the gap where the base touches is not above 0, or the bow exceeds 2 cm.

    175 W/m2K for a flat pan, 24 W/m2K in the middle of one bowed by 1 mm. Air conducts more when
    hot (a half more at 500 K), which the solver adds, as it adds radiation: 25 W/m2K between 400
    and 200 C. Convection in the gap is left out: under 1 cm its Rayleigh number stays under the
    critical 1700.

    Source: Conduction through a thin layer; air from Incropera et al., table A.4.
    """
    if not (rough_m > 0.0 and abs(bow_m) <= 0.02):
        raise OutOfRangeError(
            f"rough_m is {rough_m}, bow_m {bow_m}; allowed: above 0, -0.02..0.02 m"
        )
    r2 = np.clip(np.asarray(radius_frac, dtype=np.float64), 0.0, 1.0) ** 2
    gap = rough_m + (bow_m * (1.0 - r2) if bow_m >= 0.0 else -bow_m * r2)
    return np.asarray(AIR_300K_W_MK / gap)


Facing = Literal["up", "down", "side"]
LINE_FROM_K, LINE_TO_K = 30.0, 350.0  # own estimate: the rises that pans have over a room
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

    rise_k : (...,) temperature of the face over that of the air [K]
    ambient_k : temperature of the air [K]
    length_m : a quarter of the diameter for a level disc, the height for a wall [m]
    facing : {"up", "down", "side"}, where the hot face looks
    Returns : (...,) coefficient; air properties at the mean of face and air [W/m2/K]
    OutOfRangeError: if the length is not above 0.

    Valid for Rayleigh numbers of 1e4 to 1e11 (up), 1e5 to 1e10 (down), up to 1e13 (side); a 26 cm
    pan 180 K over the air is at 1.5e6. Such correlations hold to about 15 %, in rooms without
    draught. Below the range the same law is used: low by up to a fifth at 1e3.

    Source: Incropera et al., Fundamentals of Heat and Mass Transfer, section 9.6: McAdams and
    Lloyd-Moran for plates (0.54 Ra^1/4, 0.15 Ra^1/3; 0.27 Ra^1/4 facing down), Churchill-Chu for
    walls (equation 9.26); from memory.
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

    ambient_k, length_m, facing : as of ``convection_w_m2k``
    Returns : ConvectionLine: coefficient at no rise, slope, and the largest error of the line
    OutOfRangeError: if the length is not above 0.

    The line is within 10 % of the law (worst at the cold end, where the flux is a twentieth of that
    at 350 K) and within 4 % from 60 K on: less than the 15 % that the correlations themselves leave
    open.

    Source: Least squares of the relative error at evenly spaced rises.
    """
    rise = np.linspace(LINE_FROM_K, LINE_TO_K, 65)
    law = convection_w_m2k(rise, ambient_k=ambient_k, length_m=length_m, facing=facing)
    rows = np.stack([1.0 / law, rise / law], axis=1)
    value, slope = np.linalg.lstsq(rows, np.ones(rise.size), rcond=None)[0]
    error = np.abs(rows @ np.array([value, slope]) - 1.0).max()
    return ConvectionLine(float(value), float(slope), float(error))
