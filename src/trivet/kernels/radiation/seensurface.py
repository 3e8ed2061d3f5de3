"""What is seen on a burner, as weighed hypotheses: contents, finish, emissivity, temperature.

One band cannot tell a cool dark surface from a hot shiny one.  What can is told
by the cook or follows from physics: no burner heats a pan faster than its power
allows, water does not pass its boiling point, and a hold at the boiling point
speaks for water.  Each hypothesis turns the same apparent temperature into its
own temperature; the weights say which of them still stand, and the interval
spans all that do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from trivet.kernels.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Hypothesis:
    """One way to read a burner."""

    label: str
    of: int
    """Index in OF_WORDS."""
    is_water: bool
    emissivity: float
    emissivity_u: float
    prior: float
    """Weight before any frame; need not be normalised."""
    fastest_kps: float
    """Fastest heating that the burner can give this surface. [K/s]"""


@dataclass(frozen=True)
class SurfaceReading:
    """Temperature under each hypothesis, arrays (time, hypothesis)."""

    temperature_k: FloatArray
    u_k: FloatArray
    """Standard uncertainty, emissivity included. [K]"""
    slope: FloatArray
    """Kelvin of surface for one kelvin of apparent temperature."""


def read_surface(
    scene_k: FloatArray,
    *,
    hypotheses: tuple[Hypothesis, ...],
    surround_k: float,
    surround_u_k: float,
    scene_u_k: FloatArray,
    band: Band,
) -> SurfaceReading:
    """Return temperature and uncertainty of a burner's surface under each hypothesis.

    Inverts L = eps L_b(T) + (1 - eps) L_b(T_s) for each hypothesis and propagates
    to first order the emissivity, the surroundings and the apparent temperature.

    Parameters
    ----------
    scene_k : (time,)
        Apparent temperature before the window. [K]
    hypotheses : tuple of Hypothesis
    surround_k, surround_u_k : radiative temperature of the surroundings and its u. [K]
    scene_u_k : (time,)
        Standard uncertainty of the apparent temperature. [K]
    band : Band

    Returns
    -------
    SurfaceReading
        NaN where no temperature explains the signal under a hypothesis.

    Notes
    -----
    Flat 8-14 um, 230 C, surroundings 30 C: u(eps) of 0.02 gives 1.5 K at 0.95 and
    16 K at 0.20; 10 K of surroundings gives 0.2 K and 21 K.

    References
    ----------
    JCGM 100:2008, 5.1.2, for the propagation.
    """
    eps = np.array([one.emissivity for one in hypotheses])
    eps_u = np.array([one.emissivity_u for one in hypotheses])
    radiance = band_radiance(scene_k, band=band)[:, None]
    mirrored = float(band_radiance(surround_k, band=band))
    emitted = (radiance - (1 - eps) * mirrored) / eps
    temperature = radiating_temperature_k(emitted, band=band)
    slope_t = band_radiance_slope(np.nan_to_num(temperature, nan=300.0), band=band)
    slope_t = np.where(np.isfinite(temperature), slope_t, np.nan)
    slope_scene = band_radiance_slope(scene_k, band=band)[:, None]
    slope_mirror = float(band_radiance_slope(surround_k, band=band))
    by_eps = (mirrored - emitted) / slope_t / eps
    by_mirror = -(1 - eps) / eps * slope_mirror / slope_t
    by_scene = slope_scene / (eps * slope_t)
    u = np.sqrt(
        (by_eps * eps_u) ** 2
        + (by_mirror * surround_u_k) ** 2
        + (by_scene * scene_u_k[:, None]) ** 2
    )
    return SurfaceReading(temperature, u, by_scene)


def weigh(
    reading: SurfaceReading,
    *,
    hypotheses: tuple[Hypothesis, ...],
    scene_rate_kps: FloatArray,
    boiling_k: float,
    plateau_s: FloatArray,
    hottest_k: float = 700.0,
) -> FloatArray:
    """Return the weight of each hypothesis at every moment, from evidence up to then.

    Three pieces of physics speak. A hypothesis whose surface would have heated
    faster than its burner can is penalised by the largest excess so far; water
    hotter than its boiling point likewise; a hold of the apparent temperature
    near boiling raises water by up to e^4.

    Parameters
    ----------
    reading : SurfaceReading
    hypotheses : tuple of Hypothesis
    scene_rate_kps : (time,)
        Slope of the apparent temperature over a trailing span, NaN withheld. [K/s]
    boiling_k : boiling point at the altitude. [K]
    plateau_s : (time,)
        For how long the apparent temperature has held still. [s]
    hottest_k : temperature above which no pan is believed to be. [K]

    Returns
    -------
    (time, hypothesis)
        Weights that sum to 1.

    Notes
    -----
    The excess is judged against a standard deviation of 20 % of the fastest rate
    plus 0.05 K/s, and each penalty is capped at e^-18, so no piece of evidence
    alone decides against all others for good.

    References
    ----------
    Bayes' rule; the energy balance of a pan with no losses bounds its rate.
    """
    fastest = np.array([one.fastest_kps for one in hypotheses])
    water = np.array([one.is_water for one in hypotheses])
    prior = np.array([one.prior for one in hypotheses])
    rate = np.nan_to_num(scene_rate_kps, nan=0.0)[:, None] * np.nan_to_num(reading.slope)
    log_weight = np.log(prior / prior.sum())[None, :] - _excess(
        rate - fastest, 0.2 * fastest + 0.05
    )
    above = reading.temperature_k - boiling_k
    over = _excess(np.where(water, np.nan_to_num(above), -1.0), 1.0 + np.nan_to_num(reading.u_k))
    log_weight -= over
    log_weight -= _excess(
        np.nan_to_num(reading.temperature_k) - hottest_k, np.full_like(fastest, 20.0)
    )
    near = np.exp(-0.5 * (above / (2.0 + np.nan_to_num(reading.u_k, nan=1e3))) ** 2)
    held = np.minimum(plateau_s / 10.0, 4.0)[:, None]
    log_weight += np.where(water, held * np.nan_to_num(near), 0.0)
    log_weight = np.where(np.isfinite(reading.temperature_k), log_weight, -40.0)
    log_weight -= log_weight.max(axis=1, keepdims=True)
    weight = np.exp(log_weight)
    return np.asarray(weight / weight.sum(axis=1, keepdims=True))


def _excess(excess: FloatArray, sigma: FloatArray) -> FloatArray:
    """Half the squared largest excess so far, in standard deviations, capped at 18."""
    z = np.maximum(excess, 0.0) / sigma
    return np.asarray(np.minimum(np.maximum.accumulate(0.5 * z**2, axis=0), 18.0))


def mixture_interval(
    reading: SurfaceReading, *, weight: FloatArray, level: float = 0.95
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return median and ends of the central interval of the weighed hypotheses.

    Parameters
    ----------
    reading : SurfaceReading
    weight : (time, hypothesis)
    level : probability that the interval holds. [-]

    Returns
    -------
    middle, low, high : (time,)
        [K]; NaN where no hypothesis stands.

    Notes
    -----
    Solved by 40 bisections of the mixture's distribution, within 1 mK of a 1,000 K
    bracket. For one hypothesis it is T and T -/+ 1.96 u.

    References
    ----------
    Finite mixture of normal distributions, textbook form.
    """
    centre = np.nan_to_num(reading.temperature_k, nan=0.0)
    u = np.maximum(np.nan_to_num(reading.u_k, nan=1.0), 1e-3)
    share = np.where(np.isfinite(reading.temperature_k), weight, 0.0)
    total = share.sum(axis=1)
    ends = []
    for quantile in (0.5, (1 - level) / 2, (1 + level) / 2):
        low = np.where(share > 0, centre - 8 * u, 1e4).min(axis=1)
        high = np.where(share > 0, centre + 8 * u, 0.0).max(axis=1)
        for _ in range(40):
            middle = 0.5 * (low + high)
            reached = (share * ndtr((middle[:, None] - centre) / u)).sum(axis=1)
            above = reached > quantile * total
            low, high = np.where(above, low, middle), np.where(above, middle, high)
        ends.append(np.where(total > 0, 0.5 * (low + high), np.nan))
    return ends[0], ends[1], ends[2]
