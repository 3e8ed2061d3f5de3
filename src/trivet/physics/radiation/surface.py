"""Opaque grey surfaces: what leaves them, and the temperature that explains it."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)


def _emissivity(emissivity: ArrayLike, what: str) -> FloatArray:
    """Return emissivities as an array; NaN passes, anything else outside (0, 1] is refused."""
    eps = np.asarray(emissivity, float)
    if np.any((eps <= 0.0) | (eps > 1.0)):
        raise OutOfRangeError(f"{what}: emissivity must lie in (0, 1], found {_worst(eps):g}")
    return eps


def _worst(eps: FloatArray) -> float:
    bad = eps[(eps <= 0.0) | (eps > 1.0)]
    return float(bad.flat[0])


def leaving_radiance(
    temperature_k: ArrayLike, *, emissivity: ArrayLike, surround_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the in-band radiance that leaves a surface: its own and what it mirrors.

    L = eps * L_b(T) + (1 - eps) * L_b(T_s), opaque and grey, uniform surroundings.

    temperature_k : (...) surface temperature [K]
    emissivity : broadcastable; band emissivity, 0 < eps <= 1
    surround_k : broadcastable; radiative temperature of what the surface mirrors [K]
    band : spectral response
    Returns : (...) radiance [W/m2/sr]; NaN outside -60 to 700 C
    Raises : OutOfRangeError if an emissivity lies outside (0, 1]
    Notes : Grey within the band: a finish whose emissivity runs from 0.2 to 0.3 across 8-14 um is
        off by about 0.01 in the mean between 25 and 300 C. A mirror-like pan mirrors one thing, not
        the mean of the kitchen: then the surroundings are the hood or the lamp that it shows.
    Source : Grey-body radiometric equation (same form as ASTM E1862 and E1933 compensation)
    """
    eps = _emissivity(emissivity, "leaving radiance")
    own = band_radiance(temperature_k, band=band)
    return np.asarray(eps * own + (1.0 - eps) * band_radiance(surround_k, band=band))[()]


def surface_temperature_k(
    radiance: ArrayLike, *, emissivity: ArrayLike, surround_k: ArrayLike, band: Band
) -> FloatArray:
    r"""Return the surface temperature that explains an in-band radiance.

    Inverts, for an opaque grey surface in uniform surroundings, L = eps * L_b(T) + (1 - eps) *
    L_b(T_s).

    radiance : (..., row, col) radiance leaving the surface, window and path removed [W/m2/sr]
    emissivity : broadcastable; band emissivity of the surface, 0 < eps <= 1
    surround_k : broadcastable; radiative temperature of what the surface mirrors [K]
    band : spectral response
    Returns : (..., row, col) temperature [K]; NaN where no temperature from -40 to 600 C explains
        the signal
    Raises : OutOfRangeError if any emissivity lies outside (0, 1]
    Notes :
        Flat 8-14 um, 180 C, hood at 27 C: believing emissivity too high by 0.02 costs
        -2.3 K at 0.95 and -10.3 K at 0.20; believing the hood 10 K too warm costs
        -0.2 K and -18.5 K. Below an emissivity of about 0.3 a temperature should not
        be reported. Inverse of :func:`leaving_radiance` within 1e-6 K.
    Source : Grey-body radiometric equation (same form as ASTM E1862 and E1933 compensation)
    """
    eps = _emissivity(emissivity, "surface temperature")
    mirrored = (1.0 - eps) * band_radiance(surround_k, band=band)
    return radiating_temperature_k((np.asarray(radiance, float) - mirrored) / eps, band=band)


def apparent_temperature_k(
    temperature_k: ArrayLike, *, emissivity: ArrayLike, surround_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the temperature a black body would need to look like this surface.

    temperature_k : (...) surface temperature [K]
    emissivity : broadcastable; band emissivity, 0 < eps <= 1
    surround_k : broadcastable; radiative temperature of what the surface mirrors [K]
    band : spectral response
    Returns : (...) apparent temperature [K]; NaN outside -40 to 600 C
    Raises : OutOfRangeError if an emissivity lies outside (0, 1]
    Notes : Polished steel of emissivity 0.15 at 180 C, surroundings at 25 C, appears at about 59 C
        (8-14 um).
    Source : Grey-body radiometric equation (same form as ASTM E1862 and E1933 compensation)
    """
    leaving = leaving_radiance(
        temperature_k, emissivity=emissivity, surround_k=surround_k, band=band
    )
    return radiating_temperature_k(leaving, band=band)


def reference_emissivity(
    radiance: ArrayLike, *, temperature_k: ArrayLike, surround_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the emissivity that makes a radiance agree with a contact thermometer.

    eps = (L - L_b(T_s)) / (L_b(T) - L_b(T_s)).

    radiance : (...) radiance leaving the surface [W/m2/sr]
    temperature_k : broadcastable; surface temperature by contact [K]
    surround_k : broadcastable; radiative temperature of the surroundings [K]
    band : spectral response
    Returns : (...) emissivity [-]; NaN where surface and surroundings differ by less than 10 K.
        Values outside (0, 1] are returned as they are: they show a wrong input.
    Notes : At 100 C, surroundings 25 C, 8-14 um: 1 K too much at the probe makes an emissivity of
        0.84 too low by 0.014. Within 10 K of the surroundings the method fails; 20 K is better.
    Source : ASTM E1933-14(2022) contact-thermometer method; the 10 and 20 K from memory
    """
    hot = np.asarray(temperature_k, float)
    surround = np.asarray(surround_k, float)
    background = band_radiance(surround, band=band)
    with np.errstate(divide="ignore", invalid="ignore"):
        eps = (np.asarray(radiance, float) - background) / (
            band_radiance(hot, band=band) - background
        )
    return np.asarray(np.where(np.abs(hot - surround) < 10.0, np.nan, eps))[()]


def emissivity_error_k(
    temperature_k: ArrayLike, *, emissivity: ArrayLike, surround_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the error of temperature per unit of emissivity believed too high.

    temperature_k : (...) surface temperature [K]
    emissivity : broadcastable; true band emissivity, 0 < eps <= 1
    surround_k : broadcastable; radiative temperature of the surroundings [K]
    band : spectral response
    Returns : (...) dT per d eps, negative for surfaces hotter than the surroundings [K]
    Raises : OutOfRangeError if an emissivity lies outside (0, 1]
    Notes : First order: -(L_b(T) - L_b(T_s)) / (eps * dL_b/dT). Without surroundings and at
        emissivity 1 this is -T/n: 1 % costs 0.98 K at 100 C and 2.11 K at 300 C in 8-14 um. An
        error of 0.05 is overstated by 5 %: larger ones need the full inversion.
    Source : First-order propagation, JCGM 100:2008, 5.1.2
    """
    eps = _emissivity(emissivity, "emissivity error")
    excess = band_radiance(temperature_k, band=band) - band_radiance(surround_k, band=band)
    return np.asarray(-excess / (eps * band_radiance_slope(temperature_k, band=band)))[()]


def mixed_emissivity(
    covered_frac: ArrayLike, *, covered_emissivity: ArrayLike, bare_emissivity: ArrayLike
) -> FloatArray:
    """Return the emissivity of a patchwork of two finishes at one temperature.

    covered_frac : (...) share of the area that the first finish covers, 0 to 1
    covered_emissivity, bare_emissivity : broadcastable; band emissivities of cover and bare surface
    Returns : (...) area-weighted emissivity
    Raises : OutOfRangeError if a share lies outside 0 to 1 or an emissivity outside (0, 1]
    Notes : Radiance adds by area, so this is exact for patches at one temperature. Oil that
        half-wets polished steel (0.95 and 0.15) gives 0.55: read at 0.95 and 180 C it shows 52 K
        too little.
    Source : Area-weighted mean of radiances, own statement
    """
    share = np.asarray(covered_frac, float)
    if np.any((share < 0.0) | (share > 1.0)):
        raise OutOfRangeError("mixed emissivity: the covered share must lie from 0 to 1")
    covered = _emissivity(covered_emissivity, "mixed emissivity")
    bare = _emissivity(bare_emissivity, "mixed emissivity")
    return np.asarray(share * covered + (1.0 - share) * bare)[()]
