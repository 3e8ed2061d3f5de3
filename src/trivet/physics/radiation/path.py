"""What lies between surface and sensor: window, slab, grease, fog."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.radiation.planck import Band, band_radiance


def _transmittance(transmittance: ArrayLike, what: str) -> FloatArray:
    tau = np.asarray(transmittance, float)
    if np.any((tau <= 0.0) | (tau > 1.0)):
        raise OutOfRangeError(f"{what}: transmittance must lie in (0, 1]")
    return tau


def through_window(
    radiance: ArrayLike, *, transmittance: ArrayLike, window_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the radiance behind a window, or a column of fog, of one temperature.

    S = tau * L + (1 - tau) * L_b(T_w).

    radiance : (...) radiance before the window [W/m2/sr]
    transmittance : broadcastable; band transmittance, 0 < tau <= 1
    window_k : broadcastable; temperature of the window, and of what its inner face mirrors [K]
    band : spectral response
    Returns : (...) signal [W/m2/sr]
    Raises : OutOfRangeError if a transmittance lies outside (0, 1]
    Notes : Everything the window does not pass it emits or mirrors at its own temperature. Flat
        8-14 um, tau 0.9: a window 20 K hotter than believed reads 1.6 K high at 100 C, 1.0 K at 230
        C; 5 % of unseen fouling reads 5.3 K low at 180 C.
    Source : Radiative balance of an emitting, transmitting slab; Kirchhoff's law, textbook form
    """
    tau = _transmittance(transmittance, "window")
    glow = (1.0 - tau) * band_radiance(window_k, band=band)
    return np.asarray(tau * np.asarray(radiance, float) + glow)[()]


def before_window(
    radiance: ArrayLike, *, transmittance: ArrayLike, window_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the radiance before a window from the signal behind it.

    radiance : (...) signal behind the window [W/m2/sr]
    transmittance : broadcastable; band transmittance, 0 < tau <= 1
    window_k : broadcastable; temperature of the window [K]
    band : spectral response
    Returns : (...) radiance before the window [W/m2/sr]; negative where the window alone gives more
        than the signal, which then has no temperature
    Raises : OutOfRangeError if a transmittance lies outside (0, 1]
    Notes : Exact inverse of :func:`through_window`. Noise grows by 1/tau.
    Source : Inverse of :func:`through_window`
    """
    tau = _transmittance(transmittance, "window")
    glow = (1.0 - tau) * band_radiance(window_k, band=band)
    return np.asarray((np.asarray(radiance, float) - glow) / tau)[()]


def slab_reflectance(index: ArrayLike) -> FloatArray:
    """Return the normal reflectance of one face of a slab in air.

    index : (...) real refractive index, 1 or more
    Returns : (...) ((n - 1) / (n + 1))^2
    Raises : OutOfRangeError if an index is below 1
    Notes : For weak absorbers (k below 0.01): then k changes the result by less than 1e-4.
    Source : Fresnel equations at normal incidence, textbook form
    """
    n = np.asarray(index, float)
    if np.any(n < 1.0):
        raise OutOfRangeError("slab: the refractive index must be 1 or more")
    return np.asarray(((n - 1.0) / (n + 1.0)) ** 2)[()]


def slab_transmittance(
    index: ArrayLike, *, absorption_1_m: ArrayLike = 0.0, thickness_m: ArrayLike = 0.0
) -> FloatArray:
    """Return the transmittance of an uncoated slab at normal incidence.

    T = (1 - R)^2 e / (1 - R^2 e^2), with e = exp(-absorption * thickness); the inner reflections
    are summed by intensity.

    index : (...) real refractive index, 1 or more
    absorption_1_m : broadcastable; absorption coefficient, not negative [1/m]
    thickness_m : broadcastable; thickness, not negative [m]
    Returns : broadcast shape; transmittance
    Raises : OutOfRangeError if the index is below 1 or an absorption or thickness is negative
    Notes : One wavelength: average over the band outside. Lossless it is 2n/(n^2 + 1): germanium
        0.470, silicon 0.539, zinc selenide 0.709, polyethylene 0.914.
    Source : Any optics text; worked table of chalcogenide glass in the tests
    """
    absorption, thickness = np.asarray(absorption_1_m, float), np.asarray(thickness_m, float)
    if np.any(absorption < 0.0) or np.any(thickness < 0.0):
        raise OutOfRangeError("slab: absorption and thickness must not be negative")
    r = slab_reflectance(index)
    e = np.exp(-absorption * thickness)
    return np.asarray((1.0 - r) ** 2 * e / (1.0 - r**2 * e**2))[()]


def column_transmittance(
    mass_extinction_m2_kg: ArrayLike, *, concentration_kg_m3: ArrayLike, path_m: ArrayLike
) -> FloatArray:
    """Return the transmittance of a column of droplets.

    mass_extinction_m2_kg : (...) extinction of the droplets per mass of water [m2/kg]
    concentration_kg_m3 : broadcastable; liquid water in the air [kg/m3]
    path_m : broadcastable; length of the line of sight in the fog [m]
    Returns : broadcast shape; exp(-extinction * concentration * path)
    Raises : OutOfRangeError if an argument is negative
    Notes : Beer-Lambert; forward scatter is counted as lost, so thick fog passes more than this. 10
        um droplets have 172 m2/kg at 10 um: 1 g/m3 over 0.30 m passes 0.950. A column of 0.9 at 80
        C reads 12 K low at 230 C, one of 0.5 reads 65 K low. Water vapour itself takes a few per
        cent over a metre at most (shaky).
    Source : Bohren and Huffman theory of scattering; droplets with the water index of Hale and
        Querry (1973)
    """
    extinction = np.asarray(mass_extinction_m2_kg, float)
    concentration = np.asarray(concentration_kg_m3, float)
    path = np.asarray(path_m, float)
    if np.any(extinction < 0.0) or np.any(concentration < 0.0) or np.any(path < 0.0):
        raise OutOfRangeError("fog column: extinction, concentration and path must not be negative")
    return np.asarray(np.exp(-extinction * concentration * path))[()]


def slab_shares(
    index: ArrayLike, *, absorption_1_m: ArrayLike = 0.0, thickness_m: ArrayLike = 0.0
) -> tuple[FloatArray, FloatArray]:
    """Return what an uncoated slab passes and what its two faces together mirror.

    index : (...) real refractive index, 1 or more
    absorption_1_m : broadcastable; absorption coefficient, not negative [1/m]
    thickness_m : broadcastable; thickness, not negative [m]
    Returns : tuple of broadcast shape: transmittance and reflectance; one less both is what it
        emits
    Raises : OutOfRangeError as :func:`slab_transmittance`
    Notes : A lossless slab mirrors all that it does not pass: polyethylene (1.54) 0.087, silicon
        0.461. What it mirrors towards the sensor is the sensor's own housing.
    Source : As :func:`slab_transmittance`; the echoes of both faces summed by intensity
    """
    passed = slab_transmittance(index, absorption_1_m=absorption_1_m, thickness_m=thickness_m)
    r = slab_reflectance(index)
    e = np.exp(-np.asarray(absorption_1_m, float) * np.asarray(thickness_m, float))
    return passed, np.asarray(r * (1.0 + passed * e))[()]


def condensed_transmittance(
    covered_frac: ArrayLike, *, extinction_efficiency: ArrayLike = 2.0
) -> FloatArray:
    """Return what droplets that have condensed on a window let through.

    covered_frac : (...) summed geometric area of the droplets over that of the window, 0 or more
    extinction_efficiency : broadcastable; extinction over geometric cross section; 2 for drops from
        50 um
    Returns : broadcast shape; exp(-efficiency * covered)
    Raises : OutOfRangeError if an argument is negative
    Notes : Droplets lie at random and may hide one another. 2 % covered by drops of 50 um takes 4
        %, worth 5.6 K at 230 C. A drop on a window is a cap, not a ball, and a near window gathers
        part of what is scattered forward: an upper bound of the loss.
    Source : Extinction paradox of large particles, any scattering text; own statement
    """
    covered = np.asarray(covered_frac, float)
    efficiency = np.asarray(extinction_efficiency, float)
    if np.any(covered < 0.0) or np.any(efficiency < 0.0):
        raise OutOfRangeError("condensation: covered share and efficiency must not be negative")
    return np.asarray(np.exp(-efficiency * covered))[()]
