"""Water and the air above it: boiling, pressure with altitude, properties."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import CubicSpline

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError

# Region 4 of IAPWS-IF97, Table 34.
_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)

# Computed with iapws 1.5 (IAPWS-IF97): liquid at 101.325 kPa, above 99.97 C at
# saturation. Columns: C, density kg/m3, specific heat J/kg/K, latent heat J/kg.
_LIQUID = np.array(
    [
        (0.0, 999.8443, 4219.43, 2500910.0),
        (10.0, 999.7015, 4195.45, 2477208.8),
        (20.0, 998.2061, 4184.79, 2453549.6),
        (30.0, 995.6521, 4180.02, 2429838.6),
        (40.0, 992.2243, 4178.55, 2406001.4),
        (50.0, 988.0475, 4179.55, 2381974.1),
        (60.0, 983.2106, 4182.76, 2357691.0),
        (70.0, 977.7793, 4188.10, 2333080.9),
        (80.0, 971.8029, 4195.52, 2308065.7),
        (90.0, 965.3187, 4205.02, 2282560.3),
        (100.0, 958.3543, 4216.65, 2256472.9),
        (110.0, 950.9497, 4230.36, 2229704.3),
        (120.0, 943.1057, 4246.37, 2202149.7),
        (130.0, 934.8317, 4264.85, 2173700.0),
        (140.0, 926.1321, 4286.04, 2144243.7),
        (150.0, 917.0066, 4310.27, 2113667.6),
        (160.0, 907.4505, 4337.93, 2081855.9),
    ]
)


def _inside(value: ArrayLike, low: float, high: float, what: str) -> FloatArray:
    array = np.asarray(value, float)
    if np.any((array < low) | (array > high)):
        raise OutOfRangeError(f"{what} must lie from {low:g} to {high:g}")
    return array


def saturation_pressure_pa(temperature_k: ArrayLike) -> FloatArray:
    """Return the vapour pressure of water.

    temperature_k : (...) temperature, 273.15 to 647.096 [K]
    Returns : (...) pressure [Pa]
    OutOfRangeError: if a temperature lies outside the range.

    Within 0.025 % of the scientific formulation; at 100 C the slope is 3.6 kPa/K.

    Source: IAPWS R7-97(2012), region 4, equation 30.
    """
    t = _inside(temperature_k, ZERO_C_K, 647.096, "saturation pressure: temperature in K")
    theta = t + _N[8] / (t - _N[9])
    a = theta**2 + _N[0] * theta + _N[1]
    b = _N[2] * theta**2 + _N[3] * theta + _N[4]
    c = _N[5] * theta**2 + _N[6] * theta + _N[7]
    return np.asarray(1e6 * (2.0 * c / (-b + np.sqrt(b**2 - 4.0 * a * c))) ** 4)[()]


def saturation_temperature_k(pressure_pa: ArrayLike) -> FloatArray:
    """Return the boiling temperature of pure water.

    pressure_pa : (...) pressure, 611.213 Pa to 22.064 MPa [Pa]
    Returns : (...) temperature [K]
    OutOfRangeError: if a pressure lies outside the range.

    101.325 kPa boils at 99.974 C on the scale of 1990, not at 100. The slope there is 0.277 K/kPa.
    Salt raises it: 1 % by mass of NaCl about 0.17 K (from memory).

    Source: IAPWS R7-97(2012), region 4, equation 31.
    """
    p = _inside(pressure_pa, 611.2126, 22.064e6, "saturation temperature: pressure in Pa")
    beta = (p * 1e-6) ** 0.25
    e = beta**2 + _N[2] * beta + _N[5]
    f = _N[0] * beta**2 + _N[3] * beta + _N[6]
    g = _N[1] * beta**2 + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f**2 - 4.0 * e * g))
    root = np.sqrt((_N[9] + d) ** 2 - 4.0 * (_N[8] + _N[9] * d))
    return np.asarray(0.5 * (_N[9] + d - root))[()]


def standard_pressure_pa(altitude_m: ArrayLike) -> FloatArray:
    """Return the pressure of the standard atmosphere.

    altitude_m : (...) geometric altitude above sea level, -500 to 9000 [m]
    Returns : (...) pressure [Pa]
    OutOfRangeError: if an altitude lies outside the range.

    Weather moves the true pressure by about 3 kPa, which is 0.8 K of boiling point: as much as 250
    m of altitude (common practice, no source).

    Source: ISO 2533:1975, equal to the US Standard Atmosphere 1976 below 32 km.
    """
    z = _inside(altitude_m, -500.0, 9000.0, "standard pressure: altitude in m")
    geopotential = 6_356_766.0 * z / (6_356_766.0 + z)
    exponent = 9.80665 / (287.05287 * 0.0065)
    return np.asarray(101_325.0 * (1.0 - 0.0065 * geopotential / 288.15) ** exponent)[()]


def boiling_point_k(altitude_m: ArrayLike, *, weather_pa: ArrayLike = 0.0) -> FloatArray:
    """Return the boiling temperature of pure water at an altitude.

    altitude_m : (...) geometric altitude above sea level, -500 to 9000 [m]
    weather_pa : broadcastable, pressure above that of the standard atmosphere [Pa]
    Returns : (...) temperature [K]
    OutOfRangeError: if the altitude lies outside the range.

    99.97 C at 0 m, 96.65 C at 1000 m, 93.32 C at 2000 m: about -3.3 K per 1000 m.

    Source: ISO 2533:1975 and IAPWS R7-97(2012).
    """
    pressure = standard_pressure_pa(altitude_m) + np.asarray(weather_pa, float)
    return saturation_temperature_k(pressure)


_SPLINES = CubicSpline(_LIQUID[:, 0] + ZERO_C_K, _LIQUID[:, 1:])


def _property(temperature_k: ArrayLike, column: int, what: str) -> FloatArray:
    t = _inside(temperature_k, ZERO_C_K, 433.15, f"{what}: temperature in K")
    return np.asarray(_SPLINES(t)[..., column])[()]


def water_density_kg_m3(temperature_k: ArrayLike) -> FloatArray:
    """Return the density of liquid water at 1 atm, at saturation when hotter.

    temperature_k : (...) temperature, 273.15 to 433.15 [K]
    Returns : (...) density [kg/m3]
    OutOfRangeError: if a temperature lies outside the range.

    Spline through ten-kelvin steps, within 1e-4 relative (2e-5 above 10 C).

    Source: IAPWS R7-97(2012), computed with iapws 1.5.
    """
    return _property(temperature_k, 0, "water density")


def water_specific_heat_j_kgk(temperature_k: ArrayLike) -> FloatArray:
    """Return the isobaric specific heat of liquid water.

    temperature_k : (...) temperature, 273.15 to 433.15 [K]
    Returns : (...) specific heat [J/kg/K]
    OutOfRangeError: if a temperature lies outside the range.

    Spline through ten-kelvin steps, within 3e-4 relative, 1e-4 above 15 C; it moves by 1 % from 20
    to 110 C.

    Source: IAPWS R7-97(2012), computed with iapws 1.5.
    """
    return _property(temperature_k, 1, "water specific heat")


def latent_heat_j_kg(temperature_k: ArrayLike) -> FloatArray:
    """Return the heat that evaporates a kilogram of water.

    temperature_k : (...) temperature, 273.15 to 433.15 [K]
    Returns : (...) latent heat [J/kg]
    OutOfRangeError: if a temperature lies outside the range.

    Spline through ten-kelvin steps, within 1e-4 relative. 2.2565 MJ/kg at 100 C, -2.6 kJ/kg a
    kelvin: altitude to 3000 m adds 1 %.

    Source: IAPWS R7-97(2012), computed with iapws 1.5.
    """
    return _property(temperature_k, 2, "latent heat")
