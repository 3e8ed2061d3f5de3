"""From surfaces to what the pixels receive: a frame is one sparse product.

Everything before the detector is linear in radiance, so surfaces are rendered at
the simulator's own moments and interpolated in time as pixels, not as cells.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import csr_array

from trivet.errors import InputError
from trivet.kernels.radiation.planck import Band, band_radiance

FloatArray = NDArray[np.float64]


def mixed_radiance(
    temperature_k: ArrayLike, *, emissivity: ArrayLike, mirrored: ArrayLike, band: Band
) -> FloatArray:
    """Return the radiance that leaves surfaces which mirror a given radiance.

    Parameters
    ----------
    temperature_k : (...)
        Surface temperature. [K]
    emissivity : broadcastable
        Band emissivity, 0 to 1. [-]
    mirrored : broadcastable
        In-band radiance of what the surface mirrors. [W/m2/sr]
    band : Band
        Spectral response.

    Returns
    -------
    (...)
        Radiance. [W/m2/sr]

    Notes
    -----
    As ``surface.leaving_radiance`` with the surroundings' radiance taken once;
    1 % of emissivity at 230 C is 1 % of radiance, 1.7 K.

    References
    ----------
    Grey-body radiometric equation.
    """
    eps = np.asarray(emissivity)
    own = band_radiance(temperature_k, band=band)
    return np.asarray(eps * own + (1.0 - eps) * np.asarray(mirrored))


def pixel_radiance(matrix: csr_array, *, surfaces: FloatArray) -> FloatArray:
    """Return the radiance of each pixel.

    Parameters
    ----------
    matrix : (pixel, surface) sparse
        Share of each pixel's signal that comes from each surface.
    surfaces : (time, surface)
        Radiance of the surfaces. [W/m2/sr]

    Returns
    -------
    (time, pixel)
        Radiance. [W/m2/sr]

    Raises
    ------
    InputError
        If the numbers of surfaces differ.

    Notes
    -----
    Exact for the given matrix; its own error is stated where it is made.

    References
    ----------
    Linear superposition.
    """
    if surfaces.ndim != 2 or surfaces.shape[1] != matrix.shape[1]:
        raise InputError(f"surfaces have shape {surfaces.shape}; wanted (time, {matrix.shape[1]})")
    return np.ascontiguousarray((matrix @ np.ascontiguousarray(surfaces.T)).T)


def at_moments(values: FloatArray, *, time_s: FloatArray, moments_s: FloatArray) -> FloatArray:
    """Return rows of values interpolated to other moments, held beyond the ends.

    Parameters
    ----------
    values : (time, ...)
        Values at rising times.
    time_s : (time,)
        Times. [s]
    moments_s : (moment,)
        Moments wanted. [s]

    Returns
    -------
    (moment, ...)
        Linear between neighbours.

    Notes
    -----
    A pan that heats at 4 K/s and bends by 0.1 K/s2 is off by 3 mK at 0.5 s steps.

    References
    ----------
    Linear interpolation.
    """
    after = np.clip(np.searchsorted(time_s, moments_s), 1, time_s.size - 1)
    span = time_s[after] - time_s[after - 1]
    share = np.clip((moments_s - time_s[after - 1]) / span, 0.0, 1.0)
    share = share.reshape(-1, *(1,) * (values.ndim - 1))
    return np.asarray(values[after - 1] + share * (values[after] - values[after - 1]))


def disc_cover(
    x_m: FloatArray,
    *,
    y_m: FloatArray,
    centre_m: tuple[float, float],
    radius_m: float,
    soft_m: float,
) -> FloatArray:
    """Return how much of each pixel a disc covers, its edge softened.

    Parameters
    ----------
    x_m, y_m : (pixel,)
        Where the pixels' centres meet the disc's plane; NaN covers nothing. [m]
    centre_m : (float, float)
        Centre. [m]
    radius_m : float
        Radius. [m]
    soft_m : float
        Width of the edge, about a pixel's footprint. [m]

    Returns
    -------
    (pixel,)
        Share covered, 0 to 1. [-]

    Notes
    -----
    For hands and the like, whose outline is not known anyway: not exact.

    References
    ----------
    Own approximation.
    """
    away = np.hypot(x_m - centre_m[0], y_m - centre_m[1])
    return np.nan_to_num(np.clip(0.5 - (away - radius_m) / soft_m, 0.0, 1.0))
