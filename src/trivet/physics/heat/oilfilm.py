"""Thin films of oil on a hot base: how uneven, how they flow, and how slowly they go away."""

from __future__ import annotations

from dataclasses import dataclass

import numba
import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import GAS_J_MOLK, GRAVITY_M_S2, ZERO_C_K
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat.loads import OIL_KG_M3

WAVES = 24  # own estimate: enough for a field close to Gaussian


def smooth_field(
    x_m: FloatArray, *, y_m: FloatArray, wavelength_m: float, generator: np.random.Generator
) -> FloatArray:
    """Return a smooth random field of about zero mean and unit standard deviation.

    x_m, y_m : (...,) places [m]
    wavelength_m : typical distance from hill to hill [m]
    generator : source of the draw
    Returns : (...,) field [-]
    OutOfRangeError: if the wavelength is not above 0.

    Sum of 24 plane waves whose lengths lie within a factor 1.5 of the given one; close to Gaussian.

    Source: Spectral representation of random fields; own choice of spectrum.
    """
    if not wavelength_m > 0.0:
        raise OutOfRangeError(f"wavelength_m is {wavelength_m}; allowed: above 0 m")
    angle = generator.uniform(0.0, 2.0 * np.pi, WAVES)
    phase = generator.uniform(0.0, 2.0 * np.pi, WAVES)
    number = 2.0 * np.pi / (wavelength_m * generator.uniform(1 / 1.5, 1.5, WAVES))
    flat = np.stack([np.ravel(x_m), np.ravel(y_m)], axis=1)
    waves = np.cos(flat @ np.stack([np.cos(angle), np.sin(angle)]) * number + phase)
    return np.asarray(waves.sum(axis=1) * np.sqrt(2.0 / WAVES)).reshape(np.shape(x_m))


def film_thickness_m(
    field: FloatArray, *, area_m2: FloatArray, volume_m3: float, wet_frac: float, unevenness: float
) -> FloatArray:
    """Return the thickness of a liquid that wets the high parts of a field.

    field : (cell,) smooth random field
    area_m2 : (cell,) area of each cell [m2]
    volume_m3 : liquid on the pan [m3]
    wet_frac : share of the area that it wets, above 0 to 1 [-]
    unevenness : standard deviation of the logarithm of the thickness, about [-]
    Returns : (cell,) thickness, 0 where dry; its integral is the volume [m]
    OutOfRangeError: if volume or unevenness is negative or the share outside (0, 1].

    Unevenness and wetting are assumptions: no map of hot oil on a pan was found. 0.1 mm on average
    and 0.5 give 0.04 to 0.2 mm over most of the wet part.

    Assumed, no source.
    """
    if not (volume_m3 >= 0.0 and unevenness >= 0.0 and 0.0 < wet_frac <= 1.0):
        raise OutOfRangeError(
            f"film of {volume_m3} m3, wetted share {wet_frac}, unevenness {unevenness}; allowed: "
            "volume and unevenness 0 or more, share above 0 to 1"
        )
    order = np.argsort(field)
    reached = np.cumsum(area_m2[order]) / area_m2.sum()
    dry = np.zeros(field.size, dtype=bool)
    dry[order] = reached <= 1.0 - wet_frac
    shape = np.where(dry, 0.0, np.exp(unevenness * field))
    return np.asarray(shape * (volume_m3 / float((shape * area_m2).sum())))


# Surface tension of vegetable oil falls by 0.06 to 0.08 mN/m a kelvin: from memory.
TENSION_SLOPE_N_MK = 7.0e-5  # from memory, as above
# Viscosity [Pa s]: 0.060 at 20 C, 0.0044 at 140, 0.0023 at 200 C (from memory), as
# A exp(B / (T - T0)) through the three.
OIL_VISCOSITY_LAW = (9.218e-5, 1150.2, 115.6)
STAYS_M = 5.0e-6  # what a surface holds back: assumed, no source
WETTING_EDGE_M = 1.5e-4  # height at which an edge advances over a dry place: assumed, no source
# Fuel vapour needed for a flame to hold at the fire point, 1 to 4 g/m2/s (Drysdale, An
# Introduction to Fire Dynamics, from memory); slope of an evaporating and breaking fat,
# 150 to 220 kJ/mol, from memory.
FIRE_POINT_KG_M2S = 2.5e-3  # Drysdale, from memory, as above
ACTIVATION_J_MOL = 1.8e5  # own estimate: the middle of that range
MAX_KG_M2S = 2.0 * FIRE_POINT_KG_M2S  # more would take most of a burner's heat: assumed
FLOW_STEP_S = 1.0  # own estimate: a cell passes at most a quarter of what it holds in it


@dataclass(frozen=True)
class FilmBase:
    """What a film lies on: a polar grid and the height of its surface.

    ``height_m`` (r, theta) is bow and tilt together, of any zero.
    """

    radius_m: float
    height_m: FloatArray


def oil_viscosity_pa_s(temperature_k: ArrayLike) -> FloatArray:
    """Return the viscosity of vegetable oil.

    temperature_k : (...) temperature, 273 to 700 [K]
    Returns : (...) viscosity [Pa s]
    OutOfRangeError: if a temperature lies outside the range.

    Oils differ by 20 % (from memory); above 200 C it is extrapolated. A film flows inversely to it:
    ten times faster at 140 C than at 20 C.

    Source: Three points from memory, see the head of this file.
    """
    t = np.asarray(temperature_k, dtype=np.float64)
    if np.any((t < 270.0) | (t > 900.0)):
        raise OutOfRangeError("oil viscosity: temperature must lie from 270 to 900 K")
    a, b, t0 = OIL_VISCOSITY_LAW
    return np.asarray(a * np.exp(b / (t - t0)))


def oil_vapour_kg_m2s(temperature_k: ArrayLike, *, fire_k: float) -> FloatArray:
    """Return the mass that hot oil loses as vapour and smoke.

    temperature_k : (...) temperature of its surface [K]
    fire_k : its fire point: there the vapour just feeds a flame [K]
    Returns : (...) loss [kg/m2/s]

    One Arrhenius law through 2.5 g/m2/s at the fire point: with 354 C it gives 0.15 mg at the smoke
    point (216 C), 0.10 g at 300 C. A film of 0.1 mm lasts weeks at 200 C, a quarter of an hour at
    300 C, under a minute at 360 C. Anchor and slope are from memory: take a factor of 3. Heat taken
    along (1 MJ/kg, from memory) is 2 % of a burner's at 330 C and is not in the heat balance.

    Source: See the head of this file.
    """
    t = np.asarray(temperature_k, dtype=np.float64)
    rate = FIRE_POINT_KG_M2S * np.exp(-ACTIVATION_J_MOL / GAS_J_MOLK * (1.0 / t - 1.0 / fire_k))
    return np.asarray(np.minimum(rate, MAX_KG_M2S))


def flowed_film_m(
    thickness_m: FloatArray,
    *,
    temperature_k: FloatArray,
    base: FilmBase,
    seconds: float,
    lost_kg_m2s: ArrayLike = 0.0,
) -> FloatArray:
    """Return the thickness of a film after it has flowed and lost mass for a while.

    It runs down the slope of base and film, and from hot to cold places because
    surface tension falls with temperature; it wets a dry place only where its edge is
    high enough, and a surface keeps 5 um of what flows off.

    thickness_m : (r, theta) thickness now [m]
    temperature_k : (r, theta) temperature of the base meanwhile [K]
    base : FilmBase, size and height of what it lies on
    seconds : how long, 0 or more [s]
    lost_kg_m2s : broadcastable, mass lost meanwhile [kg/m2/s]
    Returns : (r, theta) thickness; without losses its integral does not change [m]
    InputError: if shapes do not fit or a value is negative.

    At 140 C 0.1 mm moves at 0.1 mm/s on one degree of tilt and at 0.4 mm/s where the pan is 5 K
    hotter a centimetre away: heat thins the middle of a pan over its burner within minutes and tilt
    pools the rest. No edge tension, no waves, no rupture law: edge and residue are assumptions,
    shapes are plausible and not predictions. A cell passes at most a quarter of what it holds or of
    what would level it in 1 s.

    Source: Lubrication flow of thin films with thermocapillary stress, as in Oron, Davis and
    Bankoff, Rev. Mod. Phys. 69 (1997) 931; seen in heated oil by Fedorchenko and Hruby, Phys.
    Fluids 33 (2021) 023601; both from memory.
    """
    film = np.array(thickness_m, dtype=np.float64)
    shape = film.shape
    if film.ndim != 2 or temperature_k.shape != shape or base.height_m.shape != shape:
        raise InputError(
            f"film {shape}, temperature {temperature_k.shape}, base {base.height_m.shape}: "
            "all must be (r, theta)"
        )
    if np.any(film < 0.0) or not (np.isfinite(seconds) and seconds >= 0.0):
        raise InputError("a film's thickness and the time must be 0 or more")
    mobility = 1.0 / (3.0 * oil_viscosity_pa_s(np.clip(temperature_k, ZERO_C_K, 850.0)))
    loss_m_s = np.broadcast_to(np.asarray(lost_kg_m2s) / OIL_KG_M3, shape)
    steps = max(1, round(seconds / FLOW_STEP_S)) if seconds > 0.0 else 0
    for _ in range(steps):
        _flow(film, temperature_k, base.height_m, mobility, (base.radius_m, seconds / steps))
        film = np.maximum(film - loss_m_s * (seconds / steps), 0.0)
    return film


@numba.njit(cache=True)
def _passed(here: float, there: float, rise: float, warmer: float, mobility: float) -> float:
    """Return the flow [m2/s] from one cell to the next for a unit of distance.

    ``rise`` is the fall of the level from here to there over the distance, ``warmer``
    that of the temperature.
    """
    pull = OIL_KG_M3 * GRAVITY_M_S2 * rise
    drag = 1.5 * TENSION_SLOPE_N_MK * warmer
    up = here if pull * here + drag >= 0.0 else there
    flow = mobility * up * up * (up * pull + drag)
    return flow


@numba.njit(cache=True)
def _flow(
    film: FloatArray,
    hot: FloatArray,
    height: FloatArray,
    mobility: FloatArray,
    size: tuple[float, float],
) -> None:
    """Move the film for one short step, in place."""
    radius, step_s = size
    n_r, n_t = film.shape
    dr, dt = radius / n_r, 2.0 * np.pi / n_t
    change = np.zeros((n_r, n_t))
    for i in range(n_r):
        mid = (i + 0.5) * dr
        area = mid * dr * dt
        for j in range(n_t):
            for side in range(2):
                if side == 0:
                    if i == n_r - 1:
                        continue
                    a, b, gap, edge = i + 1, j, dr, (i + 1) * dr * dt
                    other = (mid + dr) * dr * dt
                else:
                    a, b, gap, edge, other = i, (j + 1) % n_t, mid * dt, dr, area
                level = film[i, j] + height[i, j] - film[a, b] - height[a, b]
                slope = 0.5 * (mobility[i, j] + mobility[a, b])
                flow = _passed(
                    film[i, j], film[a, b], level / gap, (hot[i, j] - hot[a, b]) / gap, slope
                )
                give, take = (film[i, j], film[a, b]) if flow > 0.0 else (film[a, b], film[i, j])
                if give <= STAYS_M or (take <= STAYS_M and give < WETTING_EDGE_M):
                    continue
                volume = abs(flow) * edge * step_s
                own = area if flow > 0.0 else other
                volume = min(volume, 0.25 * (give - STAYS_M) * own)
                # levelling by the film's own height may not overshoot
                if flow * level > 0.0:
                    volume = min(volume, 0.25 * max(abs(level), 0.1 * give) * min(area, other))
                sign = 1.0 if flow > 0.0 else -1.0
                change[i, j] -= sign * volume / area
                change[a, b] += sign * volume / other
    for i in range(n_r):
        for j in range(n_t):
            film[i, j] = max(0.0, film[i, j] + change[i, j])
