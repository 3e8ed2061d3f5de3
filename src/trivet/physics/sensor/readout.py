"""What a sensor unit makes of the radiance in front of its window.

Window, noise, inversion to an apparent temperature, gain, fixed pattern, drift, steps and the ends
of the range are taken pixel by pixel in one compiled pass; the noise is drawn outside.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numba import njit
from scipy.signal import lfilter

from trivet.arrays import BoolArray, Float32Array, FloatArray, IntArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.inversion import pass_polynomials
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


@dataclass(frozen=True)
class Exposure:
    """When each pixel looks at the scene.

    ``moments_s`` (time,) of a whole frame; ``older_s`` (time,) of the pixels that were read before,
    those where ``late`` (row, col) is False.
    """

    scene_s: FloatArray
    """(scene,) even moments of the scene. [s]"""
    moments_s: FloatArray
    older_s: FloatArray
    late: BoolArray


@dataclass(frozen=True)
class Occluder:
    """What stands before the scene for a moment: hand or face.

    ``which`` (time,) row of ``cover`` that a frame has, -1 for none; ``cover`` (n, pixel) share
    hidden; ``radiance`` (n,) of what hides. [W/m2/sr]
    """

    which: IntArray
    cover: Float32Array
    radiance: FloatArray


@dataclass(frozen=True)
class SensorPath:
    """Window and state of the sensor at each frame.

    ``transmittance`` (time,); ``glow`` (time,) radiance that the window adds [W/m2/sr];
    ``housing_k`` (time,) what the gain error acts against; ``common_k`` (time,) drift that all
    pixels share.
    """

    transmittance: FloatArray
    glow: FloatArray
    housing_k: FloatArray
    common_k: FloatArray


@dataclass(frozen=True)
class OutputLimits:
    """Step of the output and range of the scene, None for an unknown end; dead pixels."""

    step_k: float
    low_k: float | None
    high_k: float | None
    dead: tuple[tuple[int, int], ...] = field(default=())


def readings_k(
    scene: Float32Array,
    *,
    exposure: Exposure,
    hidden: Occluder | None,
    path: SensorPath,
    errors: SensorErrors,
    noise: Float32Array,
    band: Band,
    limits: OutputLimits,
) -> Float32Array:
    """Return the readings of a unit over time.

    scene : (scene, pixel) radiance in front of the window, linear between its moments [W/m2/sr]
    exposure : when each pixel looks
    hidden : hands and faces
    path : window and drift
    errors : gain and fixed pattern of the unit
    noise : (time, row, col) noise of each reading [W/m2/sr]
    band : spectral response
    limits : steps, range and dead pixels
    Returns : (time, row, col) readings [K]: in whole steps counted from 0 C; -inf below the range,
        +inf at or above its end; NaN for a dead pixel and where the band's fit, -40 to 600 C, does
        not reach
    Raises : InputError if the shapes do not fit; OutOfRangeError if the step is negative, the range
        upside down or a dead pixel not there
    Notes : Within 0.3 mK of the same steps in double precision. A gain of 1 % costs 2 K on a scene
        200 K above the housing. A pan that heats at 4 K/s and bends by 0.1 K/s2 is off by 3 mK
        between scene moments 0.5 s apart.
    Source : First-order errors, as datasheets state them
    """
    _check(scene, noise, errors, limits)
    fits = pass_polynomials(band)
    centre, half = fits.inverse_map
    low = -np.inf if limits.low_k is None else limits.low_k
    high = np.inf if limits.high_k is None else limits.high_k
    numbers = np.array([1.0 / half, -centre / half, limits.step_k, low, high, *fits.inverse])
    looks = [_between(exposure.scene_s, at) for at in (exposure.moments_s, exposure.older_s)]
    rows = np.stack([row for row, _ in looks])
    shares = np.stack([share for _, share in looks]).astype(np.float32)
    alive = np.ones(noise.shape[1:], dtype=np.bool_)
    for at in limits.dead:
        alive[at] = False
    if hidden is None:
        hidden = Occluder(
            np.full(len(noise), -1), np.zeros((1, alive.size), dtype=np.float32), np.zeros(1)
        )
    state = np.stack([path.transmittance, path.glow, path.housing_k, path.common_k], axis=1)
    pattern = np.stack([errors.gain_frac + errors.pixel_gain_frac, errors.pixel_offset_k])
    out = np.empty((len(noise), alive.size), dtype=np.float32)
    look = (scene, rows, shares, exposure.late.ravel())
    cover = (hidden.which, hidden.cover, hidden.radiance.astype(np.float32))
    unit = (
        state.astype(np.float32),
        pattern.reshape(2, -1).astype(np.float32),
        noise.reshape(out.shape),
        alive.ravel(),
    )
    _read(look, cover, unit, numbers.astype(np.float32), out)
    return out.reshape(noise.shape)


def _between(scene_s: FloatArray, at: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return the scene moment before each moment, and how far it lies towards the next."""
    row = np.clip(np.searchsorted(scene_s, at, side="right"), 1, scene_s.size - 1) - 1
    share = np.clip((at - scene_s[row]) / (scene_s[row + 1] - scene_s[row]), 0.0, 1.0)
    return np.asarray(row, dtype=np.int64), np.asarray(share)


def _check(
    scene: Float32Array, noise: Float32Array, errors: SensorErrors, limits: OutputLimits
) -> None:
    shape = noise.shape[1:]
    if scene.shape[1:] != (int(np.prod(shape)),) or scene.shape[0] < 2:
        raise InputError(f"scene {scene.shape} and frames {noise.shape} do not fit")
    if errors.pixel_offset_k.shape != shape or errors.pixel_gain_frac.shape != shape:
        raise InputError(f"pixel maps of the unit must be {shape}, as its frames are")
    if not limits.step_k >= 0.0:
        raise OutOfRangeError(f"step_k is {limits.step_k}; allowed: 0 K or more")
    low, high = limits.low_k, limits.high_k
    if low is not None and high is not None and not low < high:
        raise OutOfRangeError(f"range from {low} to {high} K is upside down")
    for row, col in limits.dead:
        if not (0 <= row < shape[0] and 0 <= col < shape[1]):
            raise OutOfRangeError(
                f"dead pixel row {row} col {col}: the array has {shape[0]} x {shape[1]}"
            )


@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def _read(look: Any, hidden: Any, unit: Any, numbers: Any, out: Any) -> None:
    """Read frame after frame; every pass over the pixels is vector code."""
    scene, rows, shares, late = look
    which, cover, warm = hidden
    state, pattern, noise, alive = unit
    scale, offset, step, low, high = numbers[:5]
    b0, b1, b2, b3, b4, b5, b6, b7, b8 = numbers[5:14]
    one, zero_c, nan = np.float32(1.0), np.float32(273.15), np.float32(np.nan)
    inf = np.float32(np.inf)
    line = np.empty(out.shape[1], dtype=np.float32)
    for t in range(out.shape[0]):
        a, b = scene[rows[0, t]], scene[rows[0, t] + 1]
        c, d = scene[rows[1, t]], scene[rows[1, t] + 1]
        new, old = shares[0, t], shares[1, t]
        for p in range(line.size):
            young = a[p] + new * (b[p] - a[p])
            line[p] = young if late[p] else c[p] + old * (d[p] - c[p])
        if which[t] >= 0:
            over, glow = cover[which[t]], warm[which[t]]
            for p in range(line.size):
                line[p] += over[p] * (glow - line[p])
        tau, added, housing, common = state[t]
        for p in range(line.size):
            radiance = tau * line[p] + added + noise[t, p]
            u = np.sqrt(np.sqrt(radiance)) * scale + offset
            k = (((b8 * u + b7) * u + b6) * u + b5) * u + b4
            k = (((k * u + b3) * u + b2) * u + b1) * u + b0
            k += pattern[0, p] * (k - housing) + pattern[1, p] + common
            if step > 0:
                k = np.round((k - zero_c) / step) * step + zero_c
            k = inf if k >= high else (-inf if k < low else k)
            k = inf if (u > one) & (high < inf) else (k if (u >= -one) & (u <= one) else nan)
            out[t, p] = k if alive[p] else nan
