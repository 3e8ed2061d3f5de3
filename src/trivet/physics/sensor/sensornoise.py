"""What a sensor adds to the signal: noise and drift, and the errors of one unit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.radiation.planck import Band, band_radiance_slope
from trivet.physics.sensor.drift import drift_terms


@dataclass(frozen=True)
class SensorErrors:
    """The errors of one unit, as drawn.

    ``drift`` are the four factors of ``drift.drift_terms`` (constant [K], per kelvin of housing,
    per kelvin a second [s], after wake [K]); ``gain_frac`` acts on scene minus housing; the pixel
    maps are (row, col).
    """

    drift: tuple[float, float, float, float]
    housing_ref_k: float
    wake_tau_s: float
    gain_frac: float
    pixel_offset_k: FloatArray
    pixel_gain_frac: FloatArray
    wander_k: float = 0.0
    wander_s: float = 30.0


def netd_radiance(netd_k: float, *, at_k: float, band: Band) -> float:
    """Return the noise of a pixel as radiance, from its NETD at a scene temperature.

    netd_k : standard deviation of one pixel in one frame [K]
    at_k : scene temperature at which it is stated [K]
    band : spectral response
    Returns : standard deviation [W/m2/sr]
    Raises : OutOfRangeError if the NETD is negative
    Notes : Constant in radiance, hence smaller in kelvin on hot scenes: 0.28 K at 25 C is 0.10 K at
        230 C in 8-14 um.
    Source : Definition of NETD: noise over the slope of the response
    """
    if not netd_k >= 0.0:
        raise OutOfRangeError(f"netd_k is {netd_k}; allowed: 0 K or more")
    return float(netd_k * band_radiance_slope(at_k, band=band))


def wander_k(
    count: int, *, step_s: float, sigma_k: float, tau_s: float, generator: np.random.Generator
) -> FloatArray:
    """Return a slow common drift: a first-order autoregressive series.

    count : moments
    step_s, tau_s : time between moments and correlation time [s]
    sigma_k : standard deviation [K]
    generator : source of the series
    Returns : (count,) drift, stationary from its first value on [K]
    Raises : OutOfRangeError if a time is not above 0 or the deviation negative
    Notes : Stands for the 1/f part of the noise between 1/(100 tau) and 1/tau only.
    Source : Ornstein-Uhlenbeck process, sampled exactly
    """
    if not (step_s > 0.0 and tau_s > 0.0 and sigma_k >= 0.0):
        raise OutOfRangeError("wander: times must be above 0 s, the deviation 0 K or more")
    keep = np.exp(-step_s / tau_s)
    draws = generator.standard_normal(count) * np.sqrt(1.0 - keep**2)
    draws[:1] /= np.sqrt(1.0 - keep**2)
    return np.asarray(sigma_k * lfilter([1.0], [1.0, -keep], draws))


def drift_k(
    errors: SensorErrors,
    *,
    housing_k: FloatArray,
    housing_rate_kps: FloatArray,
    awake_s: FloatArray,
) -> FloatArray:
    """Return the drift that all pixels of a unit share.

    errors : the unit
    housing_k, housing_rate_kps, awake_s : (time,) state of the sensor. [K], [K/s], [s]
    Returns : (time,) drift [K]
    Notes : A wake offset of 3 K has 0.15 K left after three time constants; 5 s times a housing
        that warms at 0.02 K/s are 0.1 K.
    Source : First-order terms; the same that datasheets state
    """
    terms = drift_terms(
        housing_k,
        housing_rate_kps=housing_rate_kps,
        awake_s=awake_s,
        housing_ref_k=errors.housing_ref_k,
        tau_s=errors.wake_tau_s,
    )
    return np.asarray(terms @ np.array(errors.drift))
