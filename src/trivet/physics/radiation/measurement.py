"""The measurement equation: from a surface to the apparent temperature of a pixel, and back.

One equation for everybody: the error budget, the calibration and the estimate use these two
functions, so that what one calls an error the others can remove.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.radiation.planck import Band, band_radiance, radiating_temperature_k


@dataclass(frozen=True, eq=False)
class LineOfSight:
    """Everything between a surface and the number of a pixel; fields broadcast.

    signal   = tau L_path + m L_b(T_housing) + (1 - tau - m) L_b(T_window)
    L_path   = c [s L_pan + (1 - s) L_b(T_around)] + (1 - c) L_b(T_column)
    L_pan    = eps L_b(T) + (1 - eps) L_b(T_reflected)
    apparent = A + offset + gain (A - T_housing), with A the black body of the signal

    emissivity : (...) band emissivity of what is seen, 0 < eps <= 1
    reflected_k : (...) radiative temperature of what the surface mirrors [K]
    transmittance : (...) band transmittance of the window, 0 < tau <= 1
    window_k : (...) temperature of the window [K]
    source_frac : (...) share of the signal before the window that comes from the surface, 0 < s <=
        1
    around_k : (...) radiative temperature of what lies around the surface in the picture [K]
    offset_k : (...) error of the sensor's offset [K]
    gain : (...) error of the sensor's gain on scene minus housing, above -1
    housing_k : (...) temperature of the sensor's housing [K]
    column_frac : (...) transmittance c of a column of fog before the window, 0 < c <= 1
    column_k : (...) temperature of that fog [K]
    mirrored_frac : (...) share m that the window mirrors of the housing, 0 <= m <= 1 - tau
    """

    emissivity: ArrayLike
    reflected_k: ArrayLike
    transmittance: ArrayLike = 1.0
    window_k: ArrayLike = 295.15
    source_frac: ArrayLike = 1.0
    around_k: ArrayLike = 295.15
    offset_k: ArrayLike = 0.0
    gain: ArrayLike = 0.0
    housing_k: ArrayLike = 295.15
    column_frac: ArrayLike = 1.0
    column_k: ArrayLike = 333.15
    mirrored_frac: ArrayLike = 0.0

    def __post_init__(self) -> None:
        """Refuse shares that no surface, window or optics can have; NaN passes."""
        for name in ("emissivity", "transmittance", "source_frac", "column_frac"):
            share = np.asarray(getattr(self, name), float)
            if np.any((share <= 0.0) | (share > 1.0)):
                raise OutOfRangeError(f"sight: {name} must lie in (0, 1]")
        mirrored = np.asarray(self.mirrored_frac, float)
        if np.any(mirrored < 0.0) or np.any(
            mirrored + np.asarray(self.transmittance, float) > 1.0 + 1e-12
        ):
            raise OutOfRangeError(
                "sight: the share a window mirrors must not be negative, nor with its"
                " transmittance over 1"
            )
        if np.any(np.asarray(self.gain, float) <= -1.0):
            raise OutOfRangeError("sight: gain must lie above -1")


def sighted_apparent_k(temperature_k: ArrayLike, *, sight: LineOfSight, band: Band) -> FloatArray:
    """Return the apparent temperature that a sensor states of a surface.

    temperature_k : (...) surface temperature [K]
    sight : what lies between, with the sensor's own errors
    band : spectral response
    Returns : broadcast shape; apparent temperature [K]; NaN outside -40 to 600 C
    Notes : Flat 8-14 um at 230 C: 5 % of the signal from 60 C around the pan reads 6.5 K low, 5 %
        of window loss not known of 7 K low; a gain error of 2 % at a housing of 32 C is 4.0 K.
    Source : Grey-body radiometric equation with window (same form as ASTM E1862 and E1897)
    """
    eps, share = np.asarray(sight.emissivity, float), np.asarray(sight.source_frac, float)
    tau = np.asarray(sight.transmittance, float)
    own = eps * band_radiance(temperature_k, band=band)
    own = own + (1.0 - eps) * band_radiance(sight.reflected_k, band=band)
    seen = share * own + (1.0 - share) * band_radiance(sight.around_k, band=band)
    signal = tau * _fogged(seen, sight, band) + _window_glow(sight, band)
    black = radiating_temperature_k(signal, band=band)
    gained = np.asarray(sight.gain, float) * (black - np.asarray(sight.housing_k, float))
    return np.asarray(black + np.asarray(sight.offset_k, float) + gained)[()]


def _fogged(seen: FloatArray, sight: LineOfSight, band: Band) -> FloatArray:
    """Return the radiance behind a column of fog; itself where there is none."""
    clear = np.asarray(sight.column_frac, float)
    if not np.any(clear != 1.0):
        return seen
    return np.asarray(clear * seen + (1.0 - clear) * band_radiance(sight.column_k, band=band))


def _window_glow(sight: LineOfSight, band: Band) -> FloatArray:
    """Return what a window adds: its own radiation, and the housing that it mirrors."""
    tau, mirrored = np.asarray(sight.transmittance, float), np.asarray(sight.mirrored_frac, float)
    glow = (1.0 - tau - mirrored) * band_radiance(sight.window_k, band=band)
    if np.any(mirrored != 0.0):
        glow = glow + mirrored * band_radiance(sight.housing_k, band=band)
    return np.asarray(glow)


def explained_radiance(apparent_k: ArrayLike, *, sight: LineOfSight, band: Band) -> FloatArray:
    """Return the black-body radiance of the surface that explains an apparent temperature.

    apparent_k : (...) apparent temperature as the sensor states it [K]
    sight : what is believed to lie between
    band : spectral response
    Returns : broadcast shape; radiance [W/m2/sr]; negative where no surface explains the signal,
        NaN where the apparent temperature is none of -60 to 700 C
    Notes : Kept apart from the temperature so that a caller can tell a signal too weak from one too
        strong.
    Source : As :func:`sighted_apparent_k`
    """
    gain = np.asarray(sight.gain, float)
    stated = np.asarray(apparent_k, float) - np.asarray(sight.offset_k, float)
    black = (stated + gain * np.asarray(sight.housing_k, float)) / (1.0 + gain)
    tau, share = np.asarray(sight.transmittance, float), np.asarray(sight.source_frac, float)
    eps = np.asarray(sight.emissivity, float)
    seen = (band_radiance(black, band=band) - _window_glow(sight, band)) / tau
    clear = np.asarray(sight.column_frac, float)
    if np.any(clear != 1.0):
        seen = (seen - (1.0 - clear) * band_radiance(sight.column_k, band=band)) / clear
    own = (seen - (1.0 - share) * band_radiance(sight.around_k, band=band)) / share
    return np.asarray((own - (1.0 - eps) * band_radiance(sight.reflected_k, band=band)) / eps)[()]


def sighted_surface_k(apparent_k: ArrayLike, *, sight: LineOfSight, band: Band) -> FloatArray:
    """Return the surface temperature that explains an apparent temperature.

    apparent_k : (...) apparent temperature as the sensor states it [K]
    sight : what is believed to lie between
    band : spectral response
    Returns : broadcast shape; surface temperature [K]; NaN where no temperature from -40 to 600 C
        explains it
    Notes : Inverse of :func:`sighted_apparent_k` within 1e-6 K. An emissivity believed 0.95 that is
        0.90 reads 7.6 K low at 230 C with surroundings at 25 C.
    Source : As :func:`sighted_apparent_k`
    """
    return radiating_temperature_k(
        explained_radiance(apparent_k, sight=sight, band=band), band=band
    )
