"""What a sensor adds to the signal: noise, pattern, drift, steps, limits, half frames."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.signal import lfilter

from trivet.errors import OutOfRangeError
from trivet.kernels.radiation.planck import Band, band_radiance_slope, radiating_temperature_k
from trivet.kernels.sensor.drift import drift_terms

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class SensorErrors:
    """The errors of one unit, as drawn.

    ``drift`` are the four factors of ``drift.drift_terms`` (constant [K], per
    kelvin of housing, per kelvin a second [s], after wake [K]); ``gain_frac`` acts
    on scene minus housing; the pixel maps are (row, col).
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

    Parameters
    ----------
    netd_k : float
        Standard deviation of one pixel in one frame. [K]
    at_k : float
        Scene temperature at which it is stated. [K]
    band : Band
        Spectral response.

    Returns
    -------
    float
        Standard deviation. [W/m2/sr]

    Raises
    ------
    OutOfRangeError
        If the NETD is negative.

    Notes
    -----
    Constant in radiance, hence smaller in kelvin on hot scenes: 0.28 K at 25 C
    is 0.10 K at 230 C in 8-14 um.

    References
    ----------
    Definition of NETD: noise over the slope of the response.
    """
    if not netd_k >= 0.0:
        raise OutOfRangeError(f"netd_k is {netd_k}; allowed: 0 K or more")
    return float(netd_k * band_radiance_slope(at_k, band=band))


def noisy_apparent_k(
    radiance: FloatArray, *, sigma_radiance: float, band: Band, generator: np.random.Generator
) -> FloatArray:
    """Return apparent temperatures with white noise that is constant in radiance.

    Parameters
    ----------
    radiance : (time, row, col)
        Signal. [W/m2/sr]
    sigma_radiance : float
        Standard deviation of the noise. [W/m2/sr]
    band : Band
        Spectral response.
    generator : numpy.random.Generator
        Source of the noise.

    Returns
    -------
    (time, row, col)
        Apparent temperature [K]; NaN where the band's table does not reach.

    Notes
    -----
    Drawn in single precision, whose steps are 1e-7 of a standard deviation.

    References
    ----------
    As ``netd_radiance``.
    """
    noise = generator.standard_normal(radiance.shape, dtype=np.float32)
    return radiating_temperature_k(radiance + sigma_radiance * noise, band=band)


def wander_k(
    count: int, *, step_s: float, sigma_k: float, tau_s: float, generator: np.random.Generator
) -> FloatArray:
    """Return a slow common drift: a first-order autoregressive series.

    Parameters
    ----------
    count : int
        Moments.
    step_s, tau_s : float
        Time between moments and correlation time. [s]
    sigma_k : float
        Standard deviation. [K]
    generator : numpy.random.Generator
        Source of the series.

    Returns
    -------
    (count,)
        Drift, stationary from its first value on. [K]

    Raises
    ------
    OutOfRangeError
        If a time is not above 0 or the deviation negative.

    Notes
    -----
    Stands for the 1/f part of the noise between 1/(100 tau) and 1/tau only.

    References
    ----------
    Ornstein-Uhlenbeck process, sampled exactly.
    """
    if not (step_s > 0.0 and tau_s > 0.0 and sigma_k >= 0.0):
        raise OutOfRangeError("wander: times must be above 0 s, the deviation 0 K or more")
    keep = np.exp(-step_s / tau_s)
    draws = generator.standard_normal(count) * np.sqrt(1.0 - keep**2)
    draws[:1] /= np.sqrt(1.0 - keep**2)
    return np.asarray(sigma_k * lfilter([1.0], [1.0, -keep], draws))


def with_errors_k(
    apparent_k: FloatArray,
    *,
    errors: SensorErrors,
    housing_k: FloatArray,
    housing_rate_kps: FloatArray,
    awake_s: FloatArray,
    common_k: ArrayLike = 0.0,
) -> FloatArray:
    """Return what a unit with its errors makes of true apparent temperatures.

    Parameters
    ----------
    apparent_k : (time, row, col)
        Without errors. [K]
    errors : SensorErrors
        The unit.
    housing_k, housing_rate_kps, awake_s : (time,)
        State of the sensor. [K], [K/s], [s]
    common_k : (time,), optional
        Further drift that all pixels share. [K]

    Returns
    -------
    (time, row, col)
        With drift, gain and fixed pattern. [K]

    Notes
    -----
    A gain of 1 % costs 2 K on a scene 200 K above the housing; a wake offset of
    3 K has 0.15 K left after three time constants.

    References
    ----------
    First-order terms; the same that datasheets state.
    """
    terms = drift_terms(
        housing_k,
        housing_rate_kps=housing_rate_kps,
        awake_s=awake_s,
        housing_ref_k=errors.housing_ref_k,
        tau_s=errors.wake_tau_s,
    )
    common = (terms @ np.array(errors.drift) + common_k)[:, None, None]
    gain = errors.gain_frac + errors.pixel_gain_frac
    return np.asarray(
        apparent_k + gain * (apparent_k - housing_k[:, None, None]) + errors.pixel_offset_k + common
    )


def digitised_k(
    apparent_k: FloatArray, *, step_k: float, low_k: float | None, high_k: float | None
) -> NDArray[np.float32]:
    """Return readings in whole steps, -inf below the range and +inf at or above its end.

    Parameters
    ----------
    apparent_k : (...)
        Readings. [K]
    step_k : float
        Step of the output, counted from 0 C; 0 for none. [K]
    low_k, high_k : float or None
        Range of the scene; None for an unknown end. [K]

    Returns
    -------
    (...)
        Single precision. [K]

    Raises
    ------
    OutOfRangeError
        If the step is negative or the range upside down.

    Notes
    -----
    A NaN, where the band's table does not reach, stays NaN.

    References
    ----------
    Definition.
    """
    if not step_k >= 0.0:
        raise OutOfRangeError(f"step_k is {step_k}; allowed: 0 K or more")
    if low_k is not None and high_k is not None and not low_k < high_k:
        raise OutOfRangeError(f"range from {low_k} to {high_k} K is upside down")
    out = np.asarray(apparent_k, dtype=np.float64)
    if step_k > 0.0:
        out = np.round((out - 273.15) / step_k) * step_k + 273.15
    if high_k is not None:
        out = np.where(out >= high_k, np.inf, out)
    if low_k is not None:
        out = np.where(out < low_k, -np.inf, out)
    return out.astype(np.float32)
