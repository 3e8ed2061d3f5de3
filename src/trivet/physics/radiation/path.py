"""What lies between surface and sensor, window, slab and drops on it; and what a pan mirrors."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError
from trivet.physics.radiation.planck import Band, band_radiance, radiating_temperature_k


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
    Notes : Solves S = tau L + (1 - tau) L_b(T_w): what the window does not pass it emits or mirrors
        at its own temperature. Noise grows by 1/tau. Flat 8-14 um, tau 0.9: a window 20 K hotter
        than believed reads 1.6 K high at 100 C, 1.0 K at 230 C; 5 % of unseen fouling reads 5.3 K
        low at 180 C.
    Source : Radiative balance of an emitting, transmitting slab; Kirchhoff's law, textbook form
    """
    tau = np.asarray(transmittance, float)
    if np.any((tau <= 0.0) | (tau > 1.0)):
        raise OutOfRangeError("window: transmittance must lie in (0, 1]")
    glow = (1.0 - tau) * band_radiance(window_k, band=band)
    return np.asarray((np.asarray(radiance, float) - glow) / tau)[()]


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
    n = np.asarray(index, float)
    if np.any(n < 1.0):
        raise OutOfRangeError("slab: the refractive index must be 1 or more")
    r = ((n - 1.0) / (n + 1.0)) ** 2
    e = np.exp(-absorption * thickness)
    return np.asarray((1.0 - r) ** 2 * e / (1.0 - r**2 * e**2))[()]


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


def disc_view_factor(
    radius_m: ArrayLike, *, height_m: ArrayLike, offset_m: ArrayLike = 0.0
) -> FloatArray:
    """Return the view factor from a small level surface to a level disc above it.

    radius_m : (...) radius of the disc, not negative [m]
    height_m : broadcastable; height of the disc over the surface, above 0 [m]
    offset_m : broadcastable; sideways distance of the disc's centre [m]
    Returns : broadcast shape; share of the surface's diffuse radiation that reaches the disc
    Raises : OutOfRangeError if a radius is negative or a height not positive
    Notes : Exact for a point of a diffuse surface. A lamp of 50 mm radius 0.7 m above has 0.005. A
        mirror-like pan shows one thing instead, not the mean.
    Source : Closed form of the catalogues of configuration factors (from memory); checked by
        quadrature in the tests
    """
    r, h, a = (np.asarray(one, float) for one in (radius_m, height_m, offset_m))
    if np.any(r < 0.0) or np.any(h <= 0.0):
        raise OutOfRangeError("disc: radius must not be negative, height above zero")
    total = a**2 + h**2 + r**2
    return np.asarray(0.5 * (1.0 - (a**2 + h**2 - r**2) / np.sqrt(total**2 - 4.0 * (a * r) ** 2)))[
        ()
    ]


def _corner(x: FloatArray, y: FloatArray) -> FloatArray:
    """Return the view factor to the rectangle 0..x, 0..y at unit height; odd in both."""
    across, along = np.sqrt(1.0 + x**2), np.sqrt(1.0 + y**2)
    parts = x / across * np.arctan(y / across) + y / along * np.arctan(x / along)
    return np.asarray(parts / (2.0 * np.pi))


def rectangle_view_factor(
    x_m: tuple[ArrayLike, ArrayLike], *, y_m: tuple[ArrayLike, ArrayLike], height_m: ArrayLike
) -> FloatArray:
    """Return the view factor from a small level surface to a level rectangle above it.

    x_m, y_m : pair of (...): lower and upper end of the rectangle along both axes, from the surface
        [m]
    height_m : broadcastable; height of the rectangle over the surface, above 0 [m]
    Returns : broadcast shape; share of the surface's diffuse radiation that reaches the rectangle
    Raises : OutOfRangeError if the height is not positive or an upper end lies below a lower one
    Notes : Exact, by adding and taking away rectangles with a corner above the surface. A hood of
        0.76 x 0.5 m, 0.65 m above the middle of a hob, fills 0.22 of what a matt pan mirrors, the
        room the rest.
    Source : Closed form of the catalogues of configuration factors (from memory); checked by
        quadrature in the tests
    """
    h = np.asarray(height_m, float)
    if np.any(h <= 0.0):
        raise OutOfRangeError("rectangle: height must be above zero")
    x1, x2 = (np.asarray(one, float) / h for one in x_m)
    y1, y2 = (np.asarray(one, float) / h for one in y_m)
    if np.any(x2 < x1) or np.any(y2 < y1):
        raise OutOfRangeError("rectangle: the upper end must not lie below the lower one")
    return np.asarray(_corner(x2, y2) - _corner(x1, y2) - _corner(x2, y1) + _corner(x1, y1))[()]


def upright_view_factor(
    width_m: ArrayLike, *, height_m: ArrayLike, distance_m: ArrayLike
) -> FloatArray:
    """Return the view factor from a small level surface to an upright rectangle beside it.

    width_m : (...) full width; its middle faces the surface [m]
    height_m : broadcastable; height over the plane of the surface [m]
    distance_m : broadcastable; level distance to its plane, above 0 [m]
    Returns : broadcast shape; share of the surface's diffuse radiation that reaches the rectangle
    Raises : OutOfRangeError if a width or height is negative or the distance not positive
    Notes : A neighbour's flame 0.13 m wide and 0.05 m high at 0.20 m fills 0.006; a flame is nearly
        clear in the band: with an emissivity of 0.1 at 600 C it adds 0.8 K to surroundings of 35 C.
    Source : Closed form of the catalogues of configuration factors (from memory); checked by
        quadrature in the tests
    """
    w, a, c = (np.asarray(one, float) for one in (width_m, height_m, distance_m))
    if np.any(w < 0.0) or np.any(a < 0.0) or np.any(c <= 0.0):
        raise OutOfRangeError("upright rectangle: sizes must not be negative, distance above zero")
    half, slant = w / 2.0, np.sqrt(a**2 + c**2)
    return np.asarray((np.arctan(half / c) - c / slant * np.arctan(half / slant)) / np.pi)[()]


def reflected_temperature_k(
    view_frac: ArrayLike, *, temperature_k: ArrayLike, rest_k: ArrayLike, band: Band
) -> FloatArray:
    """Return the one temperature that mirrors like several surroundings together.

    L(T) = sum F_i L(T_i) + (1 - sum F_i) L(T_rest).

    view_frac : (..., thing) share of the hemisphere that each thing fills; an emissivity below 1
        scales it
    temperature_k : (..., thing) radiative temperature of each [K]
    rest_k : (...) temperature of all else [K]
    band : spectral response
    Returns : (...) radiance-weighted mean as a temperature [K]
    Raises : OutOfRangeError if a share is negative or they sum to more than 1
    Notes : Radiances add, temperatures do not: half at 20 C and half at 100 C mirror like 65.5 C in
        8-14 um, not 60.
    Source : Sum of radiances over the hemisphere, own statement
    """
    share = np.asarray(view_frac, float)
    if np.any(share < 0.0) or np.any(share.sum(axis=-1) > 1.0 + 1e-9):
        raise OutOfRangeError("surroundings: view shares must not be negative nor sum over 1")
    things = (share * band_radiance(temperature_k, band=band)).sum(axis=-1)
    rest = np.maximum(1.0 - share.sum(axis=-1), 0.0) * band_radiance(rest_k, band=band)
    return radiating_temperature_k(things + rest, band=band)
