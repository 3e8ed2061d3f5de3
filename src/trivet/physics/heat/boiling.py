"""Boiling: of water on a face; of butter, its foam and browning."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import GRAVITY_M_S2, VAPOUR_J_KGK
from trivet.errors import OutOfRangeError
from trivet.physics.heat.water import (
    latent_heat_j_kg,
    saturation_pressure_pa,
    water_density_kg_m3,
    water_specific_heat_j_kgk,
)

# Water's viscosity [Pa s] and conductivity [W/m/K] at 100 C and their change a kelvin:
# Incropera et al., table A.6; surface tension: IAPWS R1-76.
WATER_VISCOSITY_PA_S = (279e-6, -2.6e-6)  # at 100 C and its change a kelvin, as the next
WATER_CONDUCTIVITY_W_MK = (0.680, 0.4e-3)  # Incropera et al., table A.6
# Surface factors for water: Incropera et al., table 10.1; finishes that it does not list
# take the nearest (judgement).
FINISH_FACTORS = {
    "polished-copper": 0.0128,
    "polished-stainless": 0.0132,
    "brushed-stainless": 0.0132,
    "heat-tinted-stainless": 0.0133,
    "ptfe-non-stick": 0.0058,
}
OTHER_FINISH = 0.0130  # scored copper of the same table; own estimate for unlisted finishes


def surface_factor(finish: str) -> float:
    """Return the factor of nucleate boiling for a pan's face.

    finish : name in the surface library
    Returns : factor for water [-]

    The flux goes with its inverse cube: from 0.0058 to 0.0132 the superheat at 20 kW/m2 goes from
    2.4 to 5.4 K. Listed faces repeat within 25 % of the superheat.

    Source: Incropera et al., Fundamentals of Heat and Mass Transfer, table 10.1 (from memory).
    """
    return FINISH_FACTORS.get(finish, OTHER_FINISH)


def _tension_n_m(t_k: float) -> float:
    """Surface tension of water (IAPWS R1-76)."""
    tau = 1.0 - t_k / 647.096
    return float(0.2358 * tau**1.256 * (1.0 - 0.625 * tau))


def nucleate_w_m2k3(boil_k: float, *, factor: float) -> float:
    """Return what the cube of the superheat is multiplied by in nucleate boiling of water.

    boil_k : boiling temperature, 353.15 to 383.15 [K]
    factor : surface factor, see :func:`surface_factor` [-]
    Returns : q / (T - T_boil)^3 [W/m2/K3]
    OutOfRangeError: if the temperature or the factor is out of range.

    151 for polished copper at 100 C, where the textbook, whose table prints a Prandtl number of
    1.76 in place of 1.73, has 143 (836 kW/m2 at 18 K). At 93.3 C (2000 m) 14 % less. The
    correlation is good to a factor of 2 in flux, 25 % in superheat: 1.4 K at 20 kW/m2.

    Source: Rohsenow, Trans. ASME 74 (1952) 969, as in Incropera et al., equation 10.5 and example
    10.1.
    """
    if not 353.15 <= boil_k <= 383.15 or not factor > 0.0:
        raise OutOfRangeError(
            f"boiling at {boil_k} K, surface factor {factor}; allowed: 353.15 to 383.15 K, above 0"
        )
    over = boil_k - 373.15
    viscosity = WATER_VISCOSITY_PA_S[0] + WATER_VISCOSITY_PA_S[1] * over
    conductivity = WATER_CONDUCTIVITY_W_MK[0] + WATER_CONDUCTIVITY_W_MK[1] * over
    heat = float(water_specific_heat_j_kgk(boil_k))
    latent = float(latent_heat_j_kg(boil_k))
    prandtl = viscosity * heat / conductivity
    bubble = np.sqrt(GRAVITY_M_S2 * _lighter_kg_m3(boil_k) / _tension_n_m(boil_k))
    return float(viscosity * latent * bubble * (heat / (factor * latent * prandtl)) ** 3)


def _vapour_kg_m3(boil_k: float) -> float:
    # 1.6 % denser than an ideal gas at 100 C (steam tables: 0.5977 kg/m3)
    return float(1.016 * saturation_pressure_pa(boil_k) / (VAPOUR_J_KGK * boil_k))


def _lighter_kg_m3(boil_k: float) -> float:
    return float(water_density_kg_m3(boil_k)) - _vapour_kg_m3(boil_k)


STEAM_KG_M3 = 0.598  # saturated at 100 C, steam tables
BUBBLE_LIFE_S = 1.0  # in milk proteins and fat: assumed, no source
COVERS_M = 1.5e-3  # foam this high hides 63 % of what lies under it: assumed, no source
# Milk solids brown within minutes from 120 C on and within tens of seconds at 150 C:
# common practice, no source.
BROWN_120_S, BROWN_PER_K = 240.0, 0.08


def foam_frac(lost_kg_m2s: ArrayLike) -> FloatArray:
    """Return the share of a butter's surface that foam hides.

    lost_kg_m2s : (...) rate at which its water boils off; negative counts as 0 [kg/m2/s]
    Returns : (...) share, 0 to 1 [-]

    The foam's height is the speed of the steam times the life of a bubble. 5 kW/m2 into the water
    (2.2 g/m2/s) make 3.7 mm, which hides 92 %; a tenth of it 22 %. Life and height are assumptions:
    a factor of two in either moves 22 % to 12 or 39 %.

    Assumed, no source.
    """
    height = np.maximum(np.asarray(lost_kg_m2s, float), 0.0) / STEAM_KG_M3 * BUBBLE_LIFE_S
    return np.asarray(-np.expm1(-height / COVERS_M))


def browned_frac(temperature_k: FloatArray, *, step_s: float) -> FloatArray:
    """Return how far the milk solids of butter have browned.

    temperature_k : (time, ...) temperature of the fat [K]
    step_s : time between samples, above 0 [s]
    Returns : (time, ...) share, 0 to 1, rising [-]
    OutOfRangeError: if the step is not above 0.

    First order: 63 % after 4 minutes at 120 C, after 22 s at 150 C. Assumed; it moves the
    emissivity of a thin fat film by 0.1 at most.

    Common practice, no source.
    """
    if not step_s > 0.0:
        raise OutOfRangeError(f"step_s is {step_s}; allowed: above 0 s")
    over = np.asarray(temperature_k, float) - 393.15
    rate = np.exp(BROWN_PER_K * np.minimum(over, 150.0)) / BROWN_120_S
    return np.asarray(-np.expm1(-np.cumsum(rate, axis=0) * step_s))
