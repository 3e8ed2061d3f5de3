"""Uneven films: smooth random fields on a pan, and the film thickness made from them."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError

WAVES = 24


def smooth_field(
    x_m: FloatArray, *, y_m: FloatArray, wavelength_m: float, generator: np.random.Generator
) -> FloatArray:
    """Return a smooth random field of about zero mean and unit standard deviation.

    Parameters
    ----------
    x_m, y_m : (...,)
        Places. [m]
    wavelength_m : float
        Typical distance from hill to hill. [m]
    generator : numpy.random.Generator
        Source of the draw.

    Returns
    -------
    (...,)
        Field. [-]

    Raises
    ------
    OutOfRangeError
        If the wavelength is not above 0.

    Notes
    -----
    Sum of 24 plane waves whose lengths lie within a factor 1.5 of the given one;
    close to Gaussian.

    References
    ----------
    Spectral representation of random fields; own choice of spectrum.
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

    Parameters
    ----------
    field : (cell,)
        Smooth random field.
    area_m2 : (cell,)
        Area of each cell. [m2]
    volume_m3 : float
        Liquid on the pan. [m3]
    wet_frac : float
        Share of the area that it wets, above 0 to 1. [-]
    unevenness : float
        Standard deviation of the logarithm of the thickness, about. [-]

    Returns
    -------
    (cell,)
        Thickness, 0 where dry; its integral is the volume. [m]

    Raises
    ------
    OutOfRangeError
        If volume or unevenness is negative or the share outside (0, 1].

    Notes
    -----
    Unevenness and wetting are assumptions: no map of hot oil on a pan was found.
    0.1 mm on average and 0.5 give 0.04 to 0.2 mm over most of the wet part.

    References
    ----------
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
