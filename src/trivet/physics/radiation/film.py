"""Emissivity of liquids and of films on pans, from optical constants.

A cooking film is many wavelengths of uneven thickness, so its reflections are summed by intensity
(incoherent). Interference fringes of films below about 2 um are not shown; their mean over
thickness is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import ComplexArray, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.planck import Band, planck_weights

HOLD_FRAC = 0.06  # own estimate: of the wavelength, how far end values are held beyond a table

Amplitudes = tuple[ComplexArray, ComplexArray]
Reflectances = tuple[FloatArray, FloatArray]


@dataclass(frozen=True, eq=False)
class OpticalConstants:
    """Complex refractive index n + ik over wavelength, linear between rows.

    wavelength_m : (row,) rising wavelengths [m]
    n, k : (row,) refractive index, above 0, and extinction coefficient, not negative
    name : what it is of; shown in errors
    """

    wavelength_m: FloatArray
    n: FloatArray
    k: FloatArray
    name: str = "material"

    def __post_init__(self) -> None:
        """Check and freeze the table."""
        for field in ("wavelength_m", "n", "k"):
            array = np.array(getattr(self, field), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, field, array)
        if not self.wavelength_m.shape == self.n.shape == self.k.shape or self.n.ndim != 1:
            raise InputError(f"{self.name}: wavelength, n and k must be rows of equal length")
        if np.any(np.diff(self.wavelength_m) <= 0.0) or self.wavelength_m[0] <= 0.0:
            raise InputError(f"{self.name}: wavelengths must be positive and rise strictly")
        if np.any(self.n <= 0.0) or np.any(self.k < 0.0):
            raise InputError(f"{self.name}: n must be above zero and k not negative")

    def index(self, wavelength_m: FloatArray) -> ComplexArray:
        """Return n + ik at wavelengths [m]; refuses more than 6 % beyond the table."""
        low = self.wavelength_m[0] * (1.0 - HOLD_FRAC)
        high = self.wavelength_m[-1] * (1.0 + HOLD_FRAC)
        if wavelength_m.min() < low or wavelength_m.max() > high:
            raise OutOfRangeError(
                f"{self.name}: optical constants reach from {self.wavelength_m[0] * 1e6:.2f} to "
                f"{self.wavelength_m[-1] * 1e6:.2f} um, the band asks for "
                f"{wavelength_m.min() * 1e6:.2f} to {wavelength_m.max() * 1e6:.2f} um"
            )
        n = np.interp(wavelength_m, self.wavelength_m, self.n)
        return np.asarray(n + 1j * np.interp(wavelength_m, self.wavelength_m, self.k))


def _cosine(index: ComplexArray, angle_rad: FloatArray) -> ComplexArray:
    """Return the complex cosine of the refracted ray that decays inwards."""
    cosine = np.sqrt(1.0 - (np.sin(angle_rad) / index) ** 2)
    return np.where((index * cosine).imag < 0.0, -cosine, cosine)


def _amplitudes(
    n1: ComplexArray, c1: ComplexArray, n2: ComplexArray, c2: ComplexArray
) -> Amplitudes:
    """Return the Fresnel amplitude reflectances (s, p) between two media."""
    s = (n1 * c1 - n2 * c2) / (n1 * c1 + n2 * c2)
    p = (n2 * c1 - n1 * c2) / (n2 * c1 + n1 * c2)
    return s, p


def _check_angle(angle_rad: ArrayLike) -> FloatArray:
    angle = np.asarray(angle_rad, float)
    if np.any((angle < 0.0) | (angle >= 0.5 * np.pi)):
        raise OutOfRangeError("view angle must lie from 0 to below 90 degrees, in radians")
    return angle


def surface_band_emissivity(
    material: OpticalConstants, *, angle_rad: ArrayLike = 0.0, temperature_k: float, band: Band
) -> FloatArray:
    """Return the band emissivity of a smooth, optically thick material.

    material : index of the material
    angle_rad : (...) angle from the surface normal, 0 to below 90 degrees [rad]
    temperature_k : temperature of the Planck weight [K]
    band : spectral response
    Returns : (...) emissivity, both polarisations averaged
    Raises : OutOfRangeError if the angle is outside 0 to 90 degrees or the table does not reach the
        band
    Notes : Water in 8-14 um: 0.985 at 0, 0.978 at 45, 0.947 at 60, 0.874 at 70 degrees; experiments
        agree within 0.01 up to 65 degrees. The constants are those of room temperature; a Planck
        weight of 100 C in place of 25 C moves water by 0.0004. Real metals are rougher and more
        oxidised than the floor this gives (0.012 for aluminium, 0.034 for iron).
    Source : Fresnel's equations with complex index; Rees and James, Int. J. Remote Sensing 13 (15),
        2873-2886 (1992) for the agreement (authors from memory)
    """
    angle = _check_angle(angle_rad)
    wavelength, weight = planck_weights(temperature_k, band=band)
    n = material.index(wavelength)
    air = np.ones_like(n)
    angles = angle[..., None]
    s, p = _amplitudes(air, np.cos(angles) + 0j, n, _cosine(n, angles))
    return np.asarray((1.0 - 0.5 * (np.abs(s) ** 2 + np.abs(p) ** 2)) @ weight)[()]


def film_emissivity(
    thickness_m: ArrayLike,
    *,
    film: OpticalConstants,
    substrate: OpticalConstants | float,
    temperature_k: float,
    band: Band,
    angle_rad: ArrayLike = 0.0,
) -> FloatArray:
    """Return the band emissivity of a liquid film on an opaque surface.

    Film and surface are at one temperature. With power reflectances R1 (air to film) and R2 (film
    to surface) and one pass through the film of transmittance t, R = R1 + |1 - r1^2|^2 t^2 R2 / (1
    - R1 R2 t^2) and emissivity = 1 - R.

    thickness_m : (...) film thickness, not negative [m]
    film : index of the liquid
    substrate : OpticalConstants or float: index of the surface, or its grey emissivity: then R2 = 1
        - emissivity
    temperature_k : temperature of the Planck weight [K]
    band : spectral response
    angle_rad : broadcastable with the thickness; angle from the surface normal in air, 0 to below
        90 degrees [rad]
    Returns : broadcast shape; emissivity, both polarisations averaged
    Raises : OutOfRangeError if a thickness is negative, an angle or a grey emissivity out of range,
        or a table does not reach the band
    Notes :
        Transmission into and out of an absorbing film is read as |t12 t21|^2, which is
        |1 - r1^2|^2 with the complex amplitude r1: then the sum is exactly the mean of
        the coherent solution over the phase. The shorter reading (1 - R1)^2 gives
        0.012 more for 1 um of water on aluminium, 0.001 more for 10 um. A smooth 5 um oil film on
        aluminium has 0.14, 50 um has 0.59, 200 um 0.88; from 5 um the next
        micrometre adds 0.021. The oil saturates near 0.96, not 1. Below 2 um
        interference moves single spots by 0.01 and more; the mean over uneven films
        holds. As the film thins to nothing the sum ends 0.006 above bare aluminium
        (0.017 above bare iron): zero thickness is therefore answered as bare. Oleic
        acid stands in for oil; hot oil is not measured: take 20 % on thickness as a
        floor of doubt.
    Source : Fresnel's equations; intensity sum of a plane-parallel absorbing layer as in any optics
        text
    """
    thickness, angle, weight, amplitudes, inner, decay = _layer(
        thickness_m, film, substrate, temperature_k=temperature_k, band=band, angle_rad=angle_rad
    )
    twice = np.exp(-2.0 * decay * thickness[..., None])
    spectral = np.zeros(twice.shape)
    for amplitude, r2 in zip(amplitudes, inner, strict=True):
        r1, through = np.abs(amplitude) ** 2, np.abs(1.0 - amplitude**2) ** 2
        spectral += 0.5 * (1.0 - r1 - through * twice * r2 / (1.0 - r1 * r2 * twice))
    if not np.any(thickness == 0.0):
        return np.asarray(spectral @ weight)[()]
    bare = _bare_emissivity(substrate, angle, temperature_k, band)
    return np.asarray(np.where(thickness == 0.0, bare, spectral @ weight))[()]


@dataclass(frozen=True, eq=False)
class FilmShares:
    """What a film and the surface below it each add to the emissivity; sums to the whole."""

    film: FloatArray
    substrate: FloatArray


def film_shares(
    thickness_m: ArrayLike,
    *,
    film: OpticalConstants,
    substrate: OpticalConstants | float,
    temperature_k: float,
    band: Band,
    angle_rad: ArrayLike = 0.0,
) -> FilmShares:
    """Return how much of the emissivity is the film's own, and how much shines through it.

    With film and surface at two temperatures the radiance that leaves is film L_b(T_film) +
    substrate L_b(T_surface).

    thickness_m, film, substrate, temperature_k, band, angle_rad : as of :func:`film_emissivity`
    Returns : two emissivities of the broadcast shape, both polarisations averaged; their sum is
        that of :func:`film_emissivity`
    Raises : OutOfRangeError as :func:`film_emissivity`
    Notes : The surface's share is what of the incoming ray the surface absorbs (Kirchhoff): one
        pass through the film and all echoes. 5 um of oil on grey steel of 0.15 glow with 0.11 of
        their own and let 0.14 of the steel through; at 200 um the steel is down to 0.03. A film 10
        K cooler than such a pan at 230 C makes it appear 4.4 K (5 um) to 9.6 K (200 um) cooler. The
        film is one temperature.
    Source : As :func:`film_emissivity`; Kirchhoff's law for each layer
    """
    total = film_emissivity(
        thickness_m,
        film=film,
        substrate=substrate,
        temperature_k=temperature_k,
        band=band,
        angle_rad=angle_rad,
    )
    thickness, _, weight, amplitudes, inner, decay = _layer(
        thickness_m, film, substrate, temperature_k=temperature_k, band=band, angle_rad=angle_rad
    )
    once = np.exp(-decay * thickness[..., None])
    below = np.zeros(once.shape)
    for amplitude, r2 in zip(amplitudes, inner, strict=True):
        r1, through = np.abs(amplitude) ** 2, np.abs(1.0 - amplitude**2)
        below += 0.5 * through * once * (1.0 - r2) / (1.0 - r1 * r2 * once**2)
    share = np.where(thickness == 0.0, total, np.minimum(below @ weight, total))
    return FilmShares(np.asarray(total - share)[()], np.asarray(share)[()])


def _layer(
    thickness_m: ArrayLike,
    film: OpticalConstants,
    substrate: OpticalConstants | float,
    *,
    temperature_k: float,
    band: Band,
    angle_rad: ArrayLike,
) -> tuple[FloatArray, FloatArray, FloatArray, Amplitudes, Reflectances, FloatArray]:
    """Thickness and angle of one shape; weights over the wavelengths; amplitudes (s, p) into the
    film, power reflectances (s, p) below it; decay of the amplitude in it [1/m].
    """
    thickness = np.asarray(thickness_m, float)
    if np.any(thickness < 0.0):
        raise OutOfRangeError("film emissivity: a film cannot be thinner than zero")
    thickness, angle = np.broadcast_arrays(thickness, _check_angle(angle_rad))
    wavelength, weight = planck_weights(temperature_k, band=band)
    n = film.index(wavelength)
    angles = angle[..., None]
    cosine = _cosine(n, angles)
    outer = _amplitudes(np.ones_like(n), np.cos(angles) + 0j, n, cosine)
    inner = _inner_reflectances(substrate, wavelength, n, cosine, angles)
    decay = (4.0 * np.pi / wavelength) * (n * cosine).imag
    return thickness, angle, weight, outer, inner, decay


def _bare_emissivity(
    substrate: OpticalConstants | float, angle_rad: FloatArray, temperature_k: float, band: Band
) -> FloatArray:
    """Return the emissivity without a film."""
    if isinstance(substrate, OpticalConstants):
        return surface_band_emissivity(
            substrate, angle_rad=angle_rad, temperature_k=temperature_k, band=band
        )
    return np.asarray(substrate)


def _inner_reflectances(
    substrate: OpticalConstants | float,
    wavelength_m: FloatArray,
    n: ComplexArray,
    cosine: ComplexArray,
    angles: FloatArray,
) -> Reflectances:
    """Return the power reflectances (s, p) of the surface below the film."""
    if isinstance(substrate, OpticalConstants):
        base = substrate.index(wavelength_m)
        s, p = _amplitudes(n, cosine, base, _cosine(base, angles))
        return np.abs(s) ** 2, np.abs(p) ** 2
    if not 0.0 < substrate <= 1.0:
        raise OutOfRangeError("film emissivity: the grey emissivity below must lie in (0, 1]")
    grey = np.full(n.shape, 1.0 - substrate)
    return grey, grey


def film_transmittance(
    thickness_m: ArrayLike, *, film: OpticalConstants, temperature_k: float, band: Band
) -> FloatArray:
    """Return the single-pass internal band transmittance of a film.

    thickness_m : (...) thickness, not negative [m]
    film : index of the film
    temperature_k : temperature of the Planck weight: that of the scene [K]
    band : spectral response
    Returns : (...) share of the in-band signal that passes, without surface reflections
    Raises : OutOfRangeError if a thickness is negative or the table does not reach the band
    Notes : Grease (oleic acid) on a window: 1 um passes 0.984, 5 um 0.926, 20 um 0.753 of an 8-12.3
        um signal. At 230 C, 5 um on a window of 40 C read 10 K low if not corrected.
    Source : Beer-Lambert with absorption 4 pi k / wavelength
    """
    thickness = np.asarray(thickness_m, float)
    if np.any(thickness < 0.0):
        raise OutOfRangeError("film transmittance: a film cannot be thinner than zero")
    wavelength, weight = planck_weights(temperature_k, band=band)
    absorption = 4.0 * np.pi * film.index(wavelength).imag / wavelength
    return np.asarray(np.exp(-thickness[..., None] * absorption) @ weight)[()]


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
    covered, bare = np.asarray(covered_emissivity, float), np.asarray(bare_emissivity, float)
    for eps in (covered, bare):
        if np.any((eps <= 0.0) | (eps > 1.0)):
            raise OutOfRangeError("mixed emissivity: emissivity must lie in (0, 1]")
    return np.asarray(share * covered + (1.0 - share) * bare)[()]
