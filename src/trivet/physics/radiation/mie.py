"""Fog: extinction of water droplets by Mie's theory, columns of them in a band, a plume."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike

from trivet.arrays import ComplexArray, Float32Array, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.film import OpticalConstants
from trivet.physics.radiation.planck import Band, planck_weights

WATER_DENSITY_KG_M3 = 1000.0  # common practice, no source: of droplets, within 4 % to 100 C
RAYLEIGH_SIZE = 0.02  # own estimate: 1e-3 from the sum there
LARGEST_SIZE = 1000.0  # own estimate: droplets of 3 mm; beyond, no fog


@njit(cache=True)
def _efficiencies(size: float, index: complex) -> tuple[float, float]:
    """Return extinction and scattering efficiency of one sphere; index n + ik."""
    if size < RAYLEIGH_SIZE:
        square = index * index
        polar = (square - 1.0) / (square + 2.0)
        scattered = 8.0 / 3.0 * size**4 * abs(polar) ** 2
        return 4.0 * size * polar.imag + scattered, scattered
    inner = index * size
    stop = int(size + 4.05 * size ** (1.0 / 3.0) + 2.0)
    start = int(max(float(stop), abs(inner))) + 16
    # The logarithmic derivative inside the sphere is stable downwards only.
    derivative = np.zeros(start + 1, dtype=np.complex128)
    for n in range(start, 0, -1):
        derivative[n - 1] = n / inner - 1.0 / (derivative[n] + n / inner)
    psi_before, psi = np.cos(size), np.sin(size)
    chi_before, chi = -np.sin(size), np.cos(size)
    extinction, scattering = 0.0, 0.0
    for n in range(1, stop + 1):
        factor = (2.0 * n - 1.0) / size
        psi_next = factor * psi - psi_before
        chi_next = factor * chi - chi_before
        xi, xi_next = complex(psi, -chi), complex(psi_next, -chi_next)
        electric = derivative[n] / index + n / size
        magnetic = derivative[n] * index + n / size
        a = (electric * psi_next - psi) / (electric * xi_next - xi)
        b = (magnetic * psi_next - psi) / (magnetic * xi_next - xi)
        extinction += (2.0 * n + 1.0) * (a.real + b.real)
        scattering += (2.0 * n + 1.0) * (abs(a) ** 2 + abs(b) ** 2)
        psi_before, psi = psi, psi_next
        chi_before, chi = chi, chi_next
    scale = 2.0 / size**2
    return scale * extinction, scale * scattering


@njit(cache=True)
def _all_efficiencies(
    size: FloatArray,
    index: ComplexArray,
    extinction: FloatArray,
    scattering: FloatArray,
) -> None:
    for i in range(size.size):
        extinction[i], scattering[i] = _efficiencies(size[i], index[i])


def mie_efficiencies(size: ArrayLike, *, index: ArrayLike) -> tuple[FloatArray, FloatArray]:
    """Return extinction and scattering efficiency of homogeneous spheres.

    size : (...) circumference over wavelength, above 0, at most 1000
    index : broadcastable; complex refractive index n + ik, k not negative
    Returns : tuple of (...): extinction and scattering cross section over the geometric one
    Raises : OutOfRangeError if a size is outside its range or an index has n at or below 0 or k
        below 0
    Notes : The sum stops at x + 4 x^(1/3) + 2 terms; below x = 0.02 Rayleigh's limit takes over,
        1e-3 from the sum there. A droplet of 10 um at 10 um wavelength has 1.148; 1 % of its
        diameter is 1.5 % of that.
    Source : Bohren and Huffman, Absorption and Scattering of Light by Small Particles, appendix A
        (recurrences, from memory); Wiscombe's MIEV0 cases in the tests
    """
    x, m = np.broadcast_arrays(np.asarray(size, float), np.asarray(index, complex))
    if not np.all((x > 0.0) & (x <= LARGEST_SIZE)):
        raise OutOfRangeError(
            f"droplet size: circumference over wavelength must lie in (0, {LARGEST_SIZE:g}]"
        )
    if not np.all((m.real > 0.0) & (m.imag >= 0.0)):
        raise OutOfRangeError("droplet index: n must be above 0 and k not negative")
    extinction, scattering = np.empty(x.size), np.empty(x.size)
    _all_efficiencies(
        np.ascontiguousarray(x).ravel(), np.ascontiguousarray(m).ravel(), extinction, scattering
    )
    return extinction.reshape(x.shape)[()], scattering.reshape(x.shape)[()]


def _spectral_m2_kg(
    diameter_m: ArrayLike, water: OpticalConstants, wavelength_m: FloatArray
) -> FloatArray:
    """Return the mass extinction of droplets at wavelengths, (..., wavelength)."""
    diameter = np.asarray(diameter_m, float)[..., None]
    if np.any(diameter <= 0.0):
        raise OutOfRangeError("droplets: the diameter must be above zero")
    extinction, _ = mie_efficiencies(
        np.pi * diameter / wavelength_m, index=water.index(wavelength_m)
    )
    return np.asarray(1.5 * extinction / (WATER_DENSITY_KG_M3 * diameter))


def band_mass_extinction_m2_kg(
    diameter_m: ArrayLike, *, water: OpticalConstants, temperature_k: float, band: Band
) -> FloatArray:
    """Return the extinction of droplets per mass of water, averaged over a band.

    diameter_m : (...) diameter of the droplets [m]
    water : index of water
    temperature_k : temperature of the Planck weight: that of the scene [K]
    band : spectral response
    Returns : (...) mass extinction [m2/kg]
    Raises : OutOfRangeError if a diameter is not positive or the table does not reach the band
    Notes : 8-14 um, 230 C: droplets of 1 um have 118, of 5 um 174, of 10 um 217, of 20 um 188, of
        50 um 68 m2/kg. The mean serves thin fog; a thick column passes a little more, since its
        clearest wavelengths last: use :func:`steam_transmittance`.
    Source : Bohren and Huffman theory with the index of Hale and Querry (1973)
    """
    wavelength, weight = planck_weights(temperature_k, band=band)
    return np.asarray(_spectral_m2_kg(diameter_m, water, wavelength) @ weight)[()]


def steam_transmittance(
    column_kg_m2: ArrayLike,
    *,
    diameter_m: float,
    water: OpticalConstants,
    temperature_k: float,
    band: Band,
) -> FloatArray:
    """Return the band transmittance of a column of droplets by Beer and Lambert.

    column_kg_m2 : (...) liquid water along the line of sight: content times path [kg/m2]
    diameter_m : diameter of the droplets [m]
    water : index of water
    temperature_k : temperature of the Planck weight: that of the scene [K]
    band : spectral response
    Returns : (...) share of the signal that passes without being scattered or absorbed
    Raises : OutOfRangeError if a column is negative or a diameter not positive
    Notes : 1 g/m3 of 10 um droplets over 0.30 m passes 0.95 at 10 um and 0.94 over 8-14 um. Forward
        scatter counts as lost, so that thick fog passes more than this; water vapour itself takes a
        few per cent a metre at most (shaky) and is not in it. At 230 C a column of 0.9 at 80 C
        reads 12 K low.
    Source : As :func:`band_mass_extinction_m2_kg`
    """
    column = np.asarray(column_kg_m2, float)
    if np.any(column < 0.0):
        raise OutOfRangeError("steam: the column of water must not be negative")
    wavelength, weight = planck_weights(temperature_k, band=band)
    spectral = _spectral_m2_kg(diameter_m, water, wavelength)
    return np.asarray(np.exp(-column[..., None] * spectral) @ weight)[()]


@dataclass(frozen=True)
class PlumeColumn:
    """One column over time.

    ``water_kg_m2`` (time,) droplets along the line of sight through its middle; ``centre_m`` (time,
    2) where its middle is; ``radius_m`` where it has thinned to 1/e; ``glow`` radiance of its
    droplets were it thick [W/m2/sr].
    """

    water_kg_m2: FloatArray
    centre_m: FloatArray
    radius_m: float
    glow: float


def through_plume(
    scene: Float32Array,
    *,
    points_m: FloatArray,
    plume: PlumeColumn,
    table_kg_m2: FloatArray,
    table_frac: FloatArray,
) -> Float32Array:
    """Return the radiance of pixels behind a column of steam.

    scene : (time, pixel) radiance before it [W/m2/sr]
    points_m : (pixel, 2) where the pixels' lines of sight cross the column's height; NaN misses it
        [m]
    plume : the column
    table_kg_m2, table_frac : (n,) even droplet contents from zero [kg/m2], and the band
        transmittance of each
    Returns : (time, pixel) radiance [W/m2/sr]
    Raises : InputError if the shapes do not fit or the table does not begin at zero
    Notes : The column thins outwards as exp(-(r / radius)^4): nearly even inside, gone within 1.5
        radii. A transmittance of 0.9 at 70 C costs 13 K at 230 C. What is scattered counts as lost.
    Source : Own model of the shape; transmittance from :mod:`trivet.physics.radiation.mie`
    """
    count, pixels = scene.shape
    fits = plume.water_kg_m2.shape == (count,) and plume.centre_m.shape == (count, 2)
    if not fits or points_m.shape != (pixels, 2) or table_kg_m2[0] != 0.0:
        raise InputError(
            f"plume: scene {scene.shape}, column {plume.water_kg_m2.shape}, "
            f"points {points_m.shape}; wanted (time, pixel), (time,), (pixel, 2)"
        )
    out = scene.copy()
    step = np.array([1.0 / table_kg_m2[1], 1.0 / plume.radius_m**2, plume.glow])
    column = (plume.water_kg_m2, plume.centre_m, table_frac)
    _through(out, points_m, column, step)
    return out


@njit(cache=True)
def _through(out: Any, points_m: Any, column: Any, step: Any) -> None:
    water, centre, passed = column
    last = passed.size - 1
    for t in range(out.shape[0]):
        if water[t] <= 0.0:
            continue
        for p in range(out.shape[1]):
            x, y = points_m[p, 0] - centre[t, 0], points_m[p, 1] - centre[t, 1]
            square = (x * x + y * y) * step[1]
            if not square < 3.0:
                continue
            at = water[t] * np.exp(-square * square) * step[0]
            k = min(int(at), last - 1)
            share = min(at - k, 1.0)
            tau = passed[k] + share * (passed[k + 1] - passed[k])
            out[t, p] = np.float32(tau * out[t, p] + (1.0 - tau) * step[2])
