"""Black-body radiation in a band, forward and inverse.

The truth is a Gauss-Legendre quadrature of Planck's law over the band. The functions evaluate
Chebyshev series of the fourth root of the band radiance (forward) and of the temperature in that
root (inverse), fitted to the quadrature when a band is first used: the root is nearly straight in
temperature, so short series are exact to many digits.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numba import njit
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike
from scipy import constants
from scipy.special import bernoulli, factorial

from trivet.arrays import FloatArray
from trivet.errors import InputError, OutOfRangeError


@dataclass(frozen=True, eq=False)
class ChebyshevSeries:
    """A Chebyshev series on [low, high], lowest order first."""

    low: float
    high: float
    coefficients: FloatArray


def fit_series(
    function: Callable[[FloatArray], FloatArray], *, low: float, high: float
) -> ChebyshevSeries:
    """Return the Chebyshev series of a smooth function.

    function : takes and returns an array of one axis
    low, high : ends of the interval
    Returns : degree 40 or less: the tail that is only rounding noise is dropped
    Notes : For a function that is analytic near the interval the error is about the last
        coefficient: 1e-13 relative for the band radiances of this package.
    Source : Chebyshev interpolation, textbook form
    """
    x = chebyshev.chebpts1(41)
    values = function(0.5 * (high + low) + 0.5 * (high - low) * x)
    coefficients = chebyshev.chebfit(x, values, 40)
    keep = np.flatnonzero(np.abs(coefficients) > 1e-15 * np.abs(coefficients).max())
    return ChebyshevSeries(
        float(low), float(high), np.ascontiguousarray(coefficients[: keep[-1] + 1])
    )


def evaluate_series(value: ArrayLike, *, series: ChebyshevSeries) -> FloatArray:
    """Return the values of a series.

    value : (...) where
    series : the series
    Returns : (...) values; NaN outside the interval
    Notes : About 10 ns a value on one core for 30 terms.
    Source : Clenshaw (1955), recurrence in textbook form
    """
    array = np.ascontiguousarray(value, dtype=np.float64)
    out = np.empty(array.size)
    _clenshaw(array.ravel(), series.low, series.high, series.coefficients, out)
    return out.reshape(np.shape(value))


@njit(cache=True)
def _clenshaw(
    value: FloatArray, low: float, high: float, coefficients: FloatArray, out: FloatArray
) -> None:
    """Sum Chebyshev terms, 64 values abreast so that the inner loop is vector code."""
    x = np.empty(64)
    first = np.empty(64)
    second = np.empty(64)
    for start in range(0, value.size, 64):
        count = min(64, value.size - start)
        for i in range(count):
            x[i] = (2.0 * value[start + i] - low - high) / (high - low)
            first[i] = 0.0
            second[i] = 0.0
        for k in range(coefficients.size - 1, 0, -1):
            for i in range(count):
                ahead = coefficients[k] + 2.0 * x[i] * first[i] - second[i]
                second[i] = first[i]
                first[i] = ahead
        for i in range(count):
            inside = low <= value[start + i] <= high
            total = coefficients[0] + x[i] * first[i] - second[i]
            out[start + i] = total if inside else np.nan


FORWARD_K = (213.15, 973.15)  # own estimate: range of band_radiance, -60 to 700 C; NaN outside
INVERSE_K = (233.15, 873.15)  # own estimate: of radiating_temperature_k, -40 to 600 C; NaN outside
FLAT_NODES = 256  # own estimate: across a flat band, 1e-13 from adaptive integration

C1L = 2.0 * constants.h * constants.c**2  # first radiation constant, of radiance
C2 = constants.h * constants.c / constants.k  # second radiation constant


@dataclass(frozen=True, eq=False)
class Band:
    """Relative spectral response of a detector with its optics.

    The response is linear between the given wavelengths and zero outside. Two bands with the same
    numbers are equal and hash alike. Quadrature nodes and series are built on first use (a few
    milliseconds) and kept.

    wavelength_m : (n,) rising wavelengths [m]
    response : (n,) response at these, not negative, dimensionless; a flat unit response makes
        radiances absolute, any other scale cancels in temperatures
    """

    wavelength_m: FloatArray
    response: FloatArray

    def __post_init__(self) -> None:
        """Check and freeze the arrays."""
        for name in ("wavelength_m", "response"):
            array = np.array(getattr(self, name), dtype=np.float64)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        _check_band(self.wavelength_m, self.response)

    @cached_property
    def _key(self) -> bytes:
        return self.wavelength_m.tobytes() + self.response.tobytes()

    def __hash__(self) -> int:
        """Hash the numbers of the band."""
        return hash(self._key)

    def __eq__(self, other: object) -> bool:
        """Compare the numbers of the bands."""
        return isinstance(other, Band) and self._key == other._key

    @cached_property
    def nodes(self) -> tuple[FloatArray, FloatArray]:
        """Quadrature wavelengths [m] and weights [m], the response within the weights."""
        lows, highs = self.wavelength_m[:-1], self.wavelength_m[1:]
        count = max(4, -(-FLAT_NODES // lows.size))
        x, w = np.polynomial.legendre.leggauss(count)
        half = 0.5 * (highs - lows)[:, None]
        wavelength = (0.5 * (highs + lows)[:, None] + half * x).ravel()
        weight = (half * w).ravel() * np.interp(wavelength, self.wavelength_m, self.response)
        wavelength.setflags(write=False)
        weight.setflags(write=False)
        return wavelength, weight

    @cached_property
    def forward(self) -> ChebyshevSeries:
        """Fourth root of the radiance as a series in temperature."""
        low, high = FORWARD_K
        return fit_series(self._root, low=low, high=high)

    @cached_property
    def slope(self) -> ChebyshevSeries:
        """Slope of the fourth root of the radiance as a series in temperature."""
        f = self.forward
        derivative = np.asarray(chebyshev.chebder(f.coefficients) * 2.0 / (f.high - f.low), float)
        return ChebyshevSeries(f.low, f.high, derivative)

    @cached_property
    def inverse(self) -> ChebyshevSeries:
        """Temperature as a series in the fourth root of the radiance."""
        low, high = self._root(np.array(INVERSE_K))
        margin = 1e-9 * (high - low)
        return fit_series(self._temperature_of_root, low=low - margin, high=high + margin)

    def _root(self, temperature_k: FloatArray) -> FloatArray:
        return np.asarray(quadrature_radiance(temperature_k, band=self) ** 0.25)

    def _temperature_of_root(self, root: FloatArray) -> FloatArray:
        """Invert the forward series by Newton steps from a coarse table."""
        low, high = FORWARD_K
        t = np.interp(root, self._root(np.linspace(low, high, 200)), np.linspace(low, high, 200))
        for _ in range(6):
            t = t - (evaluate_series(t, series=self.forward) - root) / evaluate_series(
                t, series=self.slope
            )
        return np.asarray(t)


def _check_band(wavelength_m: FloatArray, response: FloatArray) -> None:
    if wavelength_m.ndim != 1 or wavelength_m.shape != response.shape or wavelength_m.size < 2:
        raise InputError(
            "band: wavelength and response must be two rows of equal length, two numbers or more"
        )
    if not (np.isfinite(wavelength_m).all() and np.isfinite(response).all()):
        raise InputError("band: wavelength and response must be finite numbers")
    if wavelength_m[0] <= 0.0 or np.any(np.diff(wavelength_m) <= 0.0):
        raise InputError("band: wavelengths must be positive and rise strictly; sort the response")
    if wavelength_m[0] < 1e-7 or wavelength_m[-1] > 1e-3:
        raise InputError("band: wavelengths lie outside 0.1 um to 1 mm; give them in metres")
    if np.any(response < 0.0):
        raise InputError("band: a response is negative; clip the measured curve at zero")
    if not np.any(response > 0.0):
        raise InputError("band: the response is zero everywhere")


@lru_cache(maxsize=64)
def flat_band(low_m: float, high_m: float) -> Band:
    """Return a band of unit response between two wavelengths.

    low_m, high_m : edges [m]
    Returns : the same object for the same edges, so its series are built once
    Raises : InputError if the edges do not rise or are not in metres
    Notes : A flat 8-14 um band is a stand-in: a real response with 10 % more weight at the short
        end moves an emissivity error's cost by a few per cent (local power 3.15 at 200 C for 8-14
        um, 3.32 for 7.5-13 um).
    """
    return Band(np.array([low_m, high_m]), np.ones(2))


def band_from_response(wavelength_m: ArrayLike, response: ArrayLike) -> Band:
    """Return a band from a measured response curve.

    wavelength_m : (n,) rising wavelengths [m]
    response : (n,) response, linear between the wavelengths, zero outside
    Returns : quadrature of at least four nodes a segment and 256 in all
    Raises : InputError if wavelengths do not rise strictly, a response is negative, or all are zero
    Notes : Only the shape matters for temperatures. Signals must use one band throughout: radiances
        of differently scaled responses do not compare.
    """
    return Band(np.asarray(wavelength_m, float), np.asarray(response, float))


def spectral_radiance(wavelength_m: ArrayLike, temperature_k: ArrayLike) -> FloatArray:
    """Return the black-body spectral radiance in vacuum.

    wavelength_m, temperature_k : broadcastable; wavelength [m] and absolute temperature [K], both
        positive
    Returns : broadcast shape; spectral radiance. [W/m2/sr/m]; 1e-6 of it is per micrometre
    Raises : OutOfRangeError if a wavelength or a temperature is not positive
    Notes : Exact to rounding with the constants of the 2019 SI. At 10 um, 1 K is 1.06 % of the
        signal at 100 C and 0.48 % at 300 C (local power x / (1 - exp(-x))).
    Source : Planck's law; constants from scipy.constants (CODATA)
    """
    wavelength = np.asarray(wavelength_m, float)
    temperature = np.asarray(temperature_k, float)
    if np.any(wavelength <= 0.0) or np.any(temperature <= 0.0):
        raise OutOfRangeError("spectral radiance: wavelength and temperature must be above zero")
    with np.errstate(over="ignore"):
        return np.asarray(C1L / wavelength**5 / np.expm1(C2 / (wavelength * temperature)))


def planck_weights(temperature_k: float, *, band: Band) -> tuple[FloatArray, FloatArray]:
    """Return the wavelengths of a band's quadrature and the weights of a mean over the band.

    temperature_k : of the black body whose signal weighs [K]
    band : spectral response
    Returns : (node,) wavelengths [m], (node,) weights that sum to 1
    """
    wavelength, weight = band.nodes
    planck = weight * spectral_radiance(wavelength, temperature_k)
    return wavelength, np.asarray(planck / planck.sum())


def quadrature_radiance(temperature_k: ArrayLike, *, band: Band) -> FloatArray:
    """Return the band radiance by direct quadrature: slow, the truth of the series.

    temperature_k : (...) temperature, above zero [K]
    band : spectral response
    Returns : (...) band radiance [W/m2/sr]
    Raises : OutOfRangeError if a temperature is not positive
    Notes : Gauss-Legendre with 256 nodes across a flat band: agrees with adaptive integration to
        1e-13 relative from -60 to 700 C.
    Source : Gauss-Legendre quadrature of Planck's law; CODATA 2018 constants
    """
    wavelength, weight = band.nodes
    temperature = np.asarray(temperature_k, float)
    return np.asarray(spectral_radiance(wavelength, temperature[..., None]) @ weight)


def band_radiance(temperature_k: ArrayLike, *, band: Band) -> FloatArray:
    """Return the black-body radiance in a band.

    temperature_k : (...) temperature [K]
    band : spectral response
    Returns : (...) response-weighted radiance [W/m2/sr]; NaN outside -60 to 700 C
    Notes : A Chebyshev approximation, within 1e-12 relative of the quadrature over the whole range
        for bands between 3 and 20 um. In 8-14 um, 1 % of signal is 0.65 K at 25 C, 0.98 K at 100 C,
        1.50 K at 200 C and 2.11 K at 300 C.
    Source : Planck's law; see :func:`quadrature_radiance`
    """
    root = evaluate_series(temperature_k, series=band.forward)
    square = root * root
    return np.asarray(square * square)[()]


def band_radiance_slope(temperature_k: ArrayLike, *, band: Band) -> FloatArray:
    """Return the slope of the black-body band radiance over temperature.

    temperature_k : (...) temperature [K]
    band : spectral response
    Returns : (...) dL/dT [W/m2/sr/K]; NaN outside -60 to 700 C
    Notes : Derivative of the series, within 1e-9 relative for bands between 3 and 20 um. A noise of
        constant radiance worth 100 mK at 25 C is worth 40 mK at 200 C (8-14 um).
    Source : Derivative of Planck's law with temperature, textbook form
    """
    root = evaluate_series(temperature_k, series=band.forward)
    return np.asarray(4.0 * root**3 * evaluate_series(temperature_k, series=band.slope))[()]


def radiating_temperature_k(radiance: ArrayLike, *, band: Band) -> FloatArray:
    """Return the temperature of the black body that has a band radiance.

    radiance : (...) band radiance [W/m2/sr]
    band : spectral response
    Returns : (...) temperature [K]; NaN where the radiance is not one of -40 to 600 C
    Notes : Chebyshev series in the fourth root of the radiance, within 1e-8 K of the quadrature
        from -40 to 600 C for bands between 3 and 20 um.
    Source : Chebyshev fit of T against the fourth root of L; own derivation
    """
    value = np.asarray(radiance, float)
    with np.errstate(invalid="ignore"):
        root = np.sqrt(np.sqrt(np.where(value > 0.0, value, np.nan)))
    return np.asarray(evaluate_series(root, series=band.inverse))[()]


def band_fraction(wavelength_temperature_mk: ArrayLike) -> FloatArray:
    """Return the fraction of black-body radiation below a wavelength.

    wavelength_temperature_mk : (...) product of wavelength and temperature, above zero [m K]
    Returns : (...) fraction of the total radiance at shorter wavelengths
    Raises : OutOfRangeError if a product is not positive
    Notes : Exponential series above x = 2, Bernoulli series below, each to 1e-12. Of a black body's
        radiation 8-14 um holds 37 % at 25 C and 34 % at 200 C.
    Source : Any heat-transfer text's table of the fraction F(0 - lambda T)
    """
    product = np.asarray(wavelength_temperature_mk, float)
    if np.any(product <= 0.0):
        raise OutOfRangeError("band fraction: wavelength times temperature must be above zero")
    x = C2 / product
    n = np.arange(1.0, 40.0)
    xs = np.minimum(x, 2.0)[..., None]
    k = np.arange(0, 30)
    terms = bernoulli(29) / ((k + 3.0) * factorial(k))
    long_wave = 1.0 - 15.0 / np.pi**4 * (xs ** (k + 3) * terms).sum(-1)
    xl = np.maximum(x, 2.0)[..., None]
    sums = np.exp(-n * xl) * (xl**3 / n + 3 * xl**2 / n**2 + 6 * xl / n**3 + 6 / n**4)
    short_wave = 15.0 / np.pi**4 * sums.sum(-1)
    return np.asarray(np.where(x < 2.0, long_wave, short_wave))[()]
