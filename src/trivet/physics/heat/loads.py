"""What lies on a pan: water, oil or butter as a layer, and lids.

Each builder returns figures of one cook; ``stack_layers`` and ``stack_lids`` join them for a
batch.  Constants of the liquids stand here with their source; those of a
project come from its design and the cited tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike

from trivet.constants import GRAVITY_M_S2
from trivet.errors import OutOfRangeError

# Water at 80 to 100 C: IAPWS-IF97 saturated liquid (4.19 to 4.22 kJ/kg/K) and
# latent heat at 100 C.
WATER_J_KGK = 4205.0  # IAPWS-IF97, as above
WATER_LATENT_J_KG = 2.2565e6  # IAPWS-IF97, as above
# q = C (T - T_boil)^3: pool boiling of water on copper, 836 kW/m2 at 18 K
# (Incropera et al., Example 10.1), and the critical flux of that example.
NUCLEATE_W_M2K3 = 143.3  # Incropera, as above
CRITICAL_W_M2 = 1.26e6  # the same example
WATER_STIRRED_W_M2K = 800.0  # natural convection under 100 C; 500 to 1500, from memory
WATER_FILM_KG_M2 = 0.3  # under 0.3 mm the film breaks into patches; assumed
WATER_SKIN_M2K_W = 1.0 / 1000.0  # bulk to surface, same convection; assumed
WATER_TOTAL_EMISSIVITY = 0.95  # common practice, no source
AIR_VAPOUR_KG_M3 = 0.010  # room air, 20 C and 58 %
EVAPORATION_M_S = 0.002  # mass transfer over an open pan; 0.001 to 0.004, assumed
# Vegetable oil at 100 to 200 C: Choi and Okos 1986 fat components.
OIL_KG_M3 = 865.0  # Choi and Okos, as above
OIL_J_KGK = 2085.0  # likewise
OIL_W_MK = 0.14  # likewise
OIL_EXPANSION_1_K = 7.5e-4  # from memory
OIL_VISCOSITY_M2_S = 4.6e-6  # at 140 C, from memory; 66e-6 at 20, 3e-6 at 180 C
OIL_TOTAL_EMISSIVITY = 0.9  # deep oil; assumed
NUSSELT_PER_K = 0.004  # viscosity^-0.26 between 100 and 200 C
# Density x specific heat [J/m3/K]: soda-lime glass 2500 x 750 (Incropera table A.3, plate
# glass), stainless 304 7900 x 477 (table A.1); from memory.
GLASS_J_M3K = 1.9e6  # Incropera, as above
STEEL_J_M3K = 3.8e6  # Incropera, as above
# Dropwise to film condensation from air-laden steam: 200 to 1000, from memory.
CONDENSE_W_M2K = 500.0  # from memory, as above
LEAK_FRAC = 0.1  # vapour that finds the gap at the rim: assumed, no source


@dataclass(frozen=True)
class Layer:
    """A liquid on the base: each figure a scalar or one value a cook.

    ``mass_kg`` is water, ``areal_j_m2k`` the capacity of what is no water.  A layer
    with ``film_kg_m2 > 0`` is water alone; one with ``release_1_ks > 0`` is butter,
    whose water boils off at that rate for each kelvin above ``boil_k``; otherwise
    nothing evaporates.
    """

    mass_kg: ArrayLike = 0.0
    start_k: ArrayLike = 293.15
    specific_heat_j_kgk: ArrayLike = WATER_J_KGK
    areal_j_m2k: ArrayLike = 0.0
    cover_frac: ArrayLike = 0.0
    conductance_w_m2k: ArrayLike = 0.0
    surface_m2k_w: ArrayLike = 0.0
    emissivity: ArrayLike = 0.0
    boil_k: ArrayLike = 1e6
    latent_j_kg: ArrayLike = WATER_LATENT_J_KG
    film_kg_m2: ArrayLike = 0.0
    nucleate_w_m2k3: ArrayLike = 0.0
    critical_w_m2: ArrayLike = 0.0
    evaporation_m_s: ArrayLike = 0.0
    air_vapour_kg_m3: ArrayLike = 0.0
    mixing_s: ArrayLike = np.inf
    nusselt: ArrayLike = 0.0
    release_1_ks: ArrayLike = 0.0


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


def water_layer(
    mass_kg: float,
    *,
    start_k: float = 293.15,
    boil_k: float = 373.124,
    evaporation_m_s: float = EVAPORATION_M_S,
    stirred_w_m2k: float = WATER_STIRRED_W_M2K,
) -> Layer:
    """Return water on the base, stirred, boiling at ``boil_k``.

    mass_kg : water at the start [kg]
    start_k, boil_k : temperature at the start and boiling point at the altitude [K]
    evaporation_m_s : mass transfer coefficient to the air; 0 under a lid [m/s]
    stirred_w_m2k : pan to water below boiling [W/m2/K]
    Returns : Layer: figures of one cook
    OutOfRangeError: if the mass is negative or not a number.

    Halving the coefficient moves the pan 15 K up at 12 kW/m2 but the water by nothing; boil-off
    depends on flux and losses alone.

    Sources of the constants: head of this file.
    """
    _refuse_negative("mass_kg", mass_kg)
    _refuse_negative("evaporation_m_s", evaporation_m_s)
    return Layer(
        mass_kg=mass_kg,
        start_k=start_k,
        cover_frac=1.0,
        conductance_w_m2k=stirred_w_m2k,
        surface_m2k_w=WATER_SKIN_M2K_W,
        emissivity=WATER_TOTAL_EMISSIVITY,
        boil_k=boil_k,
        film_kg_m2=WATER_FILM_KG_M2,
        nucleate_w_m2k3=NUCLEATE_W_M2K3,
        critical_w_m2=CRITICAL_W_M2,
        evaporation_m_s=evaporation_m_s,
        air_vapour_kg_m3=AIR_VAPOUR_KG_M3,
        mixing_s=0.0,
    )


def oil_layer(
    thickness_m: float,
    *,
    start_k: float = 293.15,
    cover_frac: float = 1.0,
    emissivity: float = OIL_TOTAL_EMISSIVITY,
    mixing_s: float = 60.0,
) -> Layer:
    """Return oil of a mean thickness on the wetted share of the base.

    thickness_m : thickness where wetted [m]
    start_k : temperature at the start [K]
    cover_frac : wetted share of the base [-]
    emissivity : total emissivity of film and pan together [-]
    mixing_s : time in which the layer evens out sideways [s]
    Returns : Layer: figures of one cook
    OutOfRangeError: if the thickness is negative or the share outside 0 to 1.

    Conduction k/d, raised by cell convection Nu = 0.069 Ra^(1/3) Pr^0.074 where that exceeds 1;
    stated for rigid plates, Ra 1.5e5 to 6.8e8: an upper free surface carries somewhat more. At 5 mm
    and 2 K/s the pan is some tens of kelvin above the surface; at 0.1 mm about 3 K at 200 C.

    Source: Globe and Dropkin, J. Heat Transfer 81 (1959) 24, from memory; oil constants at the head
    of this file.
    """
    _refuse_negative("thickness_m", thickness_m)
    if not 0.0 <= cover_frac <= 1.0:
        raise OutOfRangeError(f"cover_frac is {cover_frac}; allowed: 0 to 1")
    if thickness_m == 0.0 or cover_frac == 0.0:
        return Layer(start_k=start_k)
    diffusivity = OIL_W_MK / (OIL_KG_M3 * OIL_J_KGK)
    rayleigh_1_k = (
        GRAVITY_M_S2 * OIL_EXPANSION_1_K * thickness_m**3 / (OIL_VISCOSITY_M2_S * diffusivity)
    )
    prandtl = OIL_VISCOSITY_M2_S / diffusivity
    return Layer(
        start_k=start_k,
        areal_j_m2k=OIL_KG_M3 * OIL_J_KGK * thickness_m * cover_frac,
        cover_frac=cover_frac,
        conductance_w_m2k=2.0 * OIL_W_MK / thickness_m,
        surface_m2k_w=thickness_m / (2.0 * OIL_W_MK),
        emissivity=emissivity,
        mixing_s=mixing_s,
        nusselt=0.069 * rayleigh_1_k ** (1.0 / 3.0) * prandtl**0.074,
    )


def stack_layers(layers: Sequence[Layer]) -> Layer:
    """Return the layers of single cooks as one layer with arrays over cooks.

    layers : sequence of Layer, one a cook
    Returns : Layer: figures are (cook,)

    Exact; water, oil and dry pans may stand side by side.
    """
    return _stacked(layers)


Figures = TypeVar("Figures", Layer, Lid)


def _stacked(parts: Sequence[Figures]) -> Figures:
    """Return the figures of single cooks as arrays over cooks."""
    kind = type(parts[0])
    return kind(
        **{
            one.name: np.array([float(np.asarray(getattr(part, one.name))) for part in parts])
            for one in fields(kind)
        }
    )


def _refuse_negative(name: str, value: float) -> None:
    if not (value >= 0.0 and np.isfinite(value)):
        raise OutOfRangeError(f"{name} is {value}; allowed: a finite value of 0 or more")


def lid_areal_j_m2k(thickness_m: float, *, glass: bool) -> float:
    """Return the heat capacity of a lid per area.

    thickness_m : thickness, above 0 [m]
    glass : glass, or stainless steel
    Returns : heat capacity [J/m2/K]
    OutOfRangeError: if the thickness is not above 0.

    4 mm of glass store 7.6 kJ/m2/K, 0.8 mm of steel 3.0: over boiling water they reach 90 C within
    two minutes of the first vapour. Rim and knob are left out (10 to 30 % of the mass, common
    practice, no source).

    Sources of the constants: head of this file.
    """
    if not thickness_m > 0.0:
        raise OutOfRangeError(f"lid thickness_m is {thickness_m}; allowed: above 0 m")
    return thickness_m * (GLASS_J_M3K if glass else STEEL_J_M3K)


def stack_lids(lids: list[Lid | None]) -> Lid | None:
    """Return the lids of single cooks as one with arrays over cooks, None where no one has one.

    lids : list of Lid or None, one a cook
    Returns : Lid or None: figures are (cook,)
    """
    if all(one is None for one in lids):
        return None
    return _stacked([one or Lid() for one in lids])
