"""Pool boiling of water: nucleate boiling on a face, and the flux at which it ends."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.heat.water import (
    latent_heat_j_kg,
    saturation_pressure_pa,
    water_density_kg_m3,
    water_specific_heat_j_kgk,
)

GRAVITY_M_S2 = 9.81
VAPOUR_J_KGK = 461.5
WATER_MOLAR_KG_KMOL = 18.015
WATER_CRITICAL_PA = 22.064e6
# Water's viscosity [Pa s] and conductivity [W/m/K] at 100 C and their change a kelvin:
# Incropera et al., table A.6; surface tension: IAPWS R1-76.
_VISCOSITY, _VISCOSITY_1_K = 279e-6, -2.6e-6
_CONDUCTIVITY, _CONDUCTIVITY_1_K = 0.680, 0.4e-3
# Surface factors for water: Incropera et al., table 10.1; finishes that it does not list
# take the nearest (judgement).
_FACTORS = {
    "polished-copper": 0.0128,
    "polished-stainless": 0.0132,
    "brushed-stainless": 0.0132,
    "heat-tinted-stainless": 0.0133,
    "ptfe-non-stick": 0.0058,
}
_FACTOR = 0.0130


def surface_factor(finish: str) -> float:
    """Return the factor of nucleate boiling for a pan's face.

    Parameters
    ----------
    finish : str
        Name in the surface library.

    Returns
    -------
    float
        Factor for water. [-]

    Notes
    -----
    The flux goes with its inverse cube: from 0.0058 to 0.0132 the superheat at
    20 kW/m2 goes from 2.4 to 5.4 K. Listed faces repeat within 25 % of the superheat.

    References
    ----------
    Incropera et al., Fundamentals of Heat and Mass Transfer, table 10.1 (from memory).
    """
    return _FACTORS.get(finish, _FACTOR)


def _tension_n_m(t_k: float) -> float:
    """Surface tension of water (IAPWS R1-76)."""
    tau = 1.0 - t_k / 647.096
    return float(0.2358 * tau**1.256 * (1.0 - 0.625 * tau))


def nucleate_w_m2k3(boil_k: float, *, factor: float) -> float:
    """Return what the cube of the superheat is multiplied by in nucleate boiling of water.

    Parameters
    ----------
    boil_k : float
        Boiling temperature, 353.15 to 383.15. [K]
    factor : float
        Surface factor, see :func:`surface_factor`. [-]

    Returns
    -------
    float
        q / (T - T_boil)^3. [W/m2/K3]

    Raises
    ------
    OutOfRangeError
        If the temperature or the factor is out of range.

    Notes
    -----
    151 for polished copper at 100 C, where the textbook, whose table prints a Prandtl
    number of 1.76 in place of 1.73, has 143 (836 kW/m2 at 18 K). At 93.3 C (2000 m) 14 %
    less. The correlation is good to a factor of 2 in flux, 25 % in superheat: 1.4 K
    at 20 kW/m2.

    References
    ----------
    Rohsenow, Trans. ASME 74 (1952) 969, as in Incropera et al., equation 10.5 and
    example 10.1.
    """
    if not 353.15 <= boil_k <= 383.15 or not factor > 0.0:
        raise OutOfRangeError(
            f"boiling at {boil_k} K, surface factor {factor}; allowed: 353.15 to 383.15 K, above 0"
        )
    over = boil_k - 373.15
    viscosity = _VISCOSITY + _VISCOSITY_1_K * over
    heat = float(water_specific_heat_j_kgk(boil_k))
    latent = float(latent_heat_j_kg(boil_k))
    prandtl = viscosity * heat / (_CONDUCTIVITY + _CONDUCTIVITY_1_K * over)
    bubble = np.sqrt(GRAVITY_M_S2 * _lighter_kg_m3(boil_k) / _tension_n_m(boil_k))
    return float(viscosity * latent * bubble * (heat / (factor * latent * prandtl)) ** 3)


def _vapour_kg_m3(boil_k: float) -> float:
    # 1.6 % denser than an ideal gas at 100 C (steam tables: 0.5977 kg/m3)
    return float(1.016 * saturation_pressure_pa(boil_k) / (VAPOUR_J_KGK * boil_k))


def _lighter_kg_m3(boil_k: float) -> float:
    return float(water_density_kg_m3(boil_k)) - _vapour_kg_m3(boil_k)


def cooper_w_m2k(flux_w_m2: ArrayLike, *, boil_k: float, roughness_m: float = 1.0e-6) -> FloatArray:
    """Return the coefficient of nucleate boiling of water by Cooper's correlation.

    Parameters
    ----------
    flux_w_m2 : (...)
        Heat flux, above 0. [W/m2]
    boil_k : float
        Boiling temperature. [K]
    roughness_m : float
        Roughness of the face. [m]

    Returns
    -------
    (...)
        Heat transfer coefficient. [W/m2/K]

    Raises
    ------
    OutOfRangeError
        If a flux or the roughness is not above 0.

    Notes
    -----
    Knows the pressure and the roughness, not the material: a second opinion on
    :func:`nucleate_w_m2k3`. At 20 kW/m2 and 100 C: 3.2 kW/m2/K or 6.2 K (a copper face:
    5.2 K); a factor of 2 is its scatter.

    References
    ----------
    Cooper, Adv. Heat Transfer 16 (1984) 157; from memory: 55 pr^(0.12 - 0.2 log Rp)
    (-log pr)^-0.55 M^-0.5 q^0.67.
    """
    flux = np.asarray(flux_w_m2, dtype=np.float64)
    if np.any(flux <= 0.0) or not roughness_m > 0.0:
        raise OutOfRangeError("Cooper's correlation: flux and roughness must be above 0")
    reduced = float(saturation_pressure_pa(boil_k)) / WATER_CRITICAL_PA
    power = 0.12 - 0.2 * np.log10(roughness_m * 1e6)
    factor = 55.0 * reduced**power * (-np.log10(reduced)) ** -0.55
    return np.asarray(factor * WATER_MOLAR_KG_KMOL**-0.5 * flux**0.67)


def critical_w_m2(boil_k: float, *, coefficient: float = 0.149) -> float:
    """Return the flux beyond which a face is dry under its water.

    Parameters
    ----------
    boil_k : float
        Boiling temperature. [K]
    coefficient : float
        0.149 for a large plate, 0.131 in the first derivation. [-]

    Returns
    -------
    float
        Critical flux. [W/m2]

    Notes
    -----
    1.26 MW/m2 at 100 C: twenty times the strongest burner's.

    References
    ----------
    Zuber, AEC report 4439 (1959), as in Incropera et al., equation 10.6 and example 10.1.
    """
    vapour, liquid = _vapour_kg_m3(boil_k), float(water_density_kg_m3(boil_k))
    rise = (_tension_n_m(boil_k) * GRAVITY_M_S2 * (liquid - vapour) / vapour**2) ** 0.25
    return float(coefficient * float(latent_heat_j_kg(boil_k)) * vapour * rise)
