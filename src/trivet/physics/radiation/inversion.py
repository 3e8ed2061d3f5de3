"""Counts to surface temperatures of whole recordings in one single-precision pass.

Per pixel: a polynomial for the fourth root of the radiance of the apparent temperature, two
multiplications to undo the root, one multiply-add each for window and reflection, two square roots,
and a polynomial for the temperature. No table is read, so the loop is vector code and runs at the
speed of memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numba import njit, prange
from numpy.polynomial import chebyshev
from numpy.typing import ArrayLike, NDArray

from trivet.arrays import Float32Array, FloatArray
from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.planck import (
    INVERSE_K,
    Band,
    band_radiance,
    quadrature_radiance,
    radiating_temperature_k,
)

Plan = tuple[Float32Array, Float32Array, Float32Array]

FORWARD_DEGREE, INVERSE_DEGREE = 12, 8  # own estimate: 0.5 mK, most of it single precision
_INPUTS = {np.dtype(np.uint16): 0, np.dtype(np.float32): 1}
SERIAL_PIXELS = 200_000  # own estimate: below, one core: waking threads costs more


@dataclass(frozen=True, eq=False)
class InversionTerms:
    """What stands between counts and surface temperature; checked once, used per stack.

    emissivity : (row, col) or scalar band emissivity of what each pixel sees, 0 < eps <= 1; NaN
        stays NaN
    surround_k : scalar or (time,): radiative temperature of what the surface mirrors, -60 to 700 C
        [K]
    transmittance : band transmittance of the window, 0 < tau <= 1
    window_k : scalar or (time,): temperature of the window [K]
    band : spectral response
    scale_k, offset_k : apparent temperature = scale * count + offset [K]
    saturated_count : counts at or above this give NaN; only for unsigned counts
    """

    emissivity: FloatArray | float
    surround_k: FloatArray | float
    transmittance: float
    window_k: FloatArray | float
    band: Band
    scale_k: float = 1.0
    offset_k: float = 0.0
    saturated_count: int = 65535

    def __post_init__(self) -> None:
        """Refuse terms that no window, surface or scale can have."""
        eps = np.asarray(self.emissivity, float)
        if np.any((eps <= 0.0) | (eps > 1.0)):
            raise OutOfRangeError("stack inversion: emissivity must lie in (0, 1]")
        if not 0.0 < self.transmittance <= 1.0:
            raise OutOfRangeError("stack inversion: window transmittance must lie in (0, 1]")
        if not (np.isfinite(self.scale_k) and self.scale_k > 0.0 and np.isfinite(self.offset_k)):
            raise OutOfRangeError("stack inversion: scale must be above zero, offset finite")

    @cached_property
    def plans(self) -> dict[tuple[int, tuple[int, ...]], Plan]:
        """Checked arrays of the pass by kind and shape of the stack; filled on first use."""
        return {}

    @cached_property
    def gain(self) -> Float32Array:
        """1/eps, one number a pixel or one for all."""
        return (1.0 / np.asarray(self.emissivity, float)).ravel().astype(np.float32)

    @cached_property
    def levels(self) -> Float32Array:
        """Per moment the radiance to take off before the gain and that to put back."""
        tau = self.transmittance
        surround = np.atleast_1d(band_radiance(self.surround_k, band=self.band))
        window = np.atleast_1d(band_radiance(self.window_k, band=self.band))
        if np.isnan(surround).any() or np.isnan(window).any():
            raise OutOfRangeError(
                "stack inversion: surround and window must be given in kelvin, -60 to 700 C"
            )
        if surround.size != window.size and 1 not in (surround.size, window.size):
            raise InputError("stack inversion: surround and window differ in their moments")
        surround, window = np.broadcast_arrays(surround, window)
        taken = (1.0 - tau) / tau * window + surround
        return np.ascontiguousarray(np.stack([taken, surround], axis=1), np.float32)

    @cached_property
    def numbers(self) -> tuple[Float32Array, Float32Array]:
        """Scalars and polynomials of the pass, for counts and for apparent temperatures."""
        fits = pass_polynomials(self.band)
        centre, half = fits.forward_map
        root_centre, root_half = fits.inverse_map
        scale, offset = self.scale_k / half, (self.offset_k - centre) / half
        top = min(1.0, scale * (self.saturated_count - 0.5) + offset)
        tail = [1.0 / self.transmittance, 1.0 / root_half, -root_centre / root_half]
        tail += [*fits.forward.tolist(), *fits.inverse.tolist()]
        return (
            np.array([scale, offset, top, *tail], np.float32),
            np.array([1.0 / half, -centre / half, 1.0, *tail], np.float32),
        )


@dataclass(frozen=True)
class PassPolynomials:
    """Single-precision polynomials of one band, powers of a variable in [-1, 1].

    ``forward``: apparent temperature to root of radiance; ``inverse``: root to temperature.
    ``forward_map`` and ``inverse_map`` hold (centre, half width).
    """

    forward: Float32Array
    inverse: Float32Array
    forward_map: tuple[float, float]
    inverse_map: tuple[float, float]


@lru_cache(maxsize=64)
def pass_polynomials(band: Band) -> PassPolynomials:
    """Return the two polynomials of the pass, fitted to the quadrature in a band.

    band : spectral response
    Returns : coefficients, lowest power first, and the maps of their variables
    Notes : Fitted at Chebyshev points over -40 to 600 C and verified by the closure tests: see
        :func:`surface_temperature_stack_k` for the errors.
    """
    low, high = INVERSE_K
    centre, half = 0.5 * (high + low), 0.5 * (high - low)
    x = np.cos(np.pi * (np.arange(400) + 0.5) / 400)
    forward = _power(x, quadrature_radiance(centre + half * x, band=band) ** 0.25, FORWARD_DEGREE)
    root_low, root_high = quadrature_radiance(np.array(INVERSE_K), band=band) ** 0.25
    root_centre, root_half = 0.5 * (root_high + root_low), 0.5 * (root_high - root_low)
    roots = np.clip(root_centre + root_half * x, root_low, root_high)
    inverse = _power(x, radiating_temperature_k(roots**4, band=band), INVERSE_DEGREE)
    return PassPolynomials(
        forward,
        inverse,
        (centre, half),
        (float(root_centre), float(root_half)),
    )


def _power(x: FloatArray, values: FloatArray, degree: int) -> Float32Array:
    series = chebyshev.chebfit(x, values, degree)
    return np.asarray(chebyshev.cheb2poly(series), np.float32)


def surface_temperature_stack_k(stack: ArrayLike, *, terms: InversionTerms) -> Float32Array:
    r"""Return surface temperatures of a stack of frames.

    Solves tau * [eps * L(T) + (1 - eps) * L(T_surround)] + (1 - tau) * L(T_window)
    = L(T_apparent) for T, each pixel with its emissivity.

    stack : (time, row, col) or (row, col) unsigned counts, or apparent temperatures in float32 [K]
    terms : scale of the counts, emissivity, surroundings, window, band; scale and offset are not
        applied to float32
    Returns : same shape, float32: surface temperature [K]; NaN where the count is saturated, the
        apparent or the surface temperature lies outside -40 to 600 C, or no temperature explains
        the signal (less than the reflection and the window alone)
    Raises : InputError if the stack is not two- or three-dimensional, is of another type, or the
        terms do not fit its shape
    Notes : Within 1 mK of the 256-node quadrature for surfaces of -20 to 500 C in bands between 5
        and 15 um at emissivity 0.3 to 1 and a window of 0.6 or more (0.5 mK reached, and the same
        from -40 to 600 C). Most of it is single precision. The polynomials replace no physics:
        emissivity 0.02 too high costs -2.3 K at 0.95 and 180 C. Stacks above 200 000 values run on
        all threads of numba, others on one core.
    Source : Grey-surface radiometric equation as in :mod:`trivet.physics.radiation.measurement`
    """
    array, which = _as_stack(stack)
    plan = terms.plans.get((which, array.shape))
    if plan is None:
        plan = terms.plans[which, array.shape] = _plan(terms, which, array.shape)
    out = np.empty(array.shape, np.float32)
    run = _one_core if array.size < SERIAL_PIXELS else _all_cores
    gain, levels, numbers = plan
    run(array, gain, levels, numbers, out)
    return out if stack is array or np.ndim(stack) == 3 else out[0]


def _plan(terms: InversionTerms, which: int, shape: tuple[int, ...]) -> Plan:
    """Return gain, levels and numbers for stacks of a shape, or refuse the shape."""
    times, rows, cols = shape
    gain, levels = terms.gain, terms.levels
    if gain.size == 1:
        gain = np.full(rows * cols, gain[0], np.float32)
    elif np.shape(terms.emissivity) != (rows, cols):
        raise InputError(
            f"stack inversion: emissivity has shape {np.shape(terms.emissivity)}, "
            f"frames {(rows, cols)}"
        )
    if levels.shape[0] not in (1, times):
        raise InputError(
            f"stack inversion: {levels.shape[0]} surround temperatures, {times} frames"
        )
    if levels.shape[0] != times:
        levels = np.tile(levels, (times, 1))
    return gain, levels, terms.numbers[which]


def _as_stack(stack: ArrayLike) -> tuple[NDArray[Any], int]:
    """Return the frames as (time, row, col) and whether they are counts (0) or kelvin (1)."""
    array = stack if isinstance(stack, np.ndarray) else np.asarray(stack)
    which = _INPUTS.get(array.dtype)
    if which is None:
        raise InputError(f"stack inversion: expected uint16 or float32, got {array.dtype}")
    if array.ndim == 2:
        array = array[None]
    elif array.ndim != 3:
        raise InputError(f"stack inversion: expected (time, row, col), got {array.ndim} axes")
    if not array.flags.c_contiguous:
        array = np.ascontiguousarray(array)
    return array, which


# Only multiply-add contraction is allowed: it never loses a NaN, and the NaN of
# the square root of a negative radiance is what marks an unexplained signal.
@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def _frame(
    frame: NDArray[Any],
    gain: Float32Array,
    levels: Float32Array,
    numbers: Float32Array,
    out: Float32Array,
) -> None:
    """Invert one frame; the numbers sit in registers, so the loop vectorises."""
    scale, offset, top, inverse_tau, root_scale, root_offset = numbers[:6]
    a0, a1, a2, a3, a4, a5, a6, a7, a8, a9, a10, a11, a12 = numbers[6:19]
    b0, b1, b2, b3, b4, b5, b6, b7, b8 = numbers[19:28]
    taken, surround = levels
    one, nan = np.float32(1.0), np.float32(np.nan)
    for i in range(frame.size):
        x = np.float32(frame[i]) * scale + offset
        y = (((((a12 * x + a11) * x + a10) * x + a9) * x + a8) * x + a7) * x + a6
        y = (((((y * x + a5) * x + a4) * x + a3) * x + a2) * x + a1) * x + a0
        square = y * y
        radiance = (square * square * inverse_tau - taken) * gain[i] + surround
        u = np.sqrt(np.sqrt(radiance)) * root_scale + root_offset
        t = (((b8 * u + b7) * u + b6) * u + b5) * u + b4
        t = (((t * u + b3) * u + b2) * u + b1) * u + b0
        inside = (x >= -one) & (x <= top) & (u >= -one) & (u <= one)
        out[i] = t if inside else nan


@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def _one_core(
    stack: NDArray[Any],
    gain: Float32Array,
    levels: Float32Array,
    numbers: Float32Array,
    out: Float32Array,
) -> None:
    """Invert frames one after another."""
    for t in range(stack.shape[0]):
        _frame(stack[t].ravel(), gain, levels[t], numbers, out[t].reshape(gain.size))


@njit(cache=True, parallel=True, fastmath={"contract"}, error_model="numpy")
def _all_cores(
    stack: NDArray[Any],
    gain: Float32Array,
    levels: Float32Array,
    numbers: Float32Array,
    out: Float32Array,
) -> None:
    """Invert frames on all threads, each frame by one of them."""
    for t in prange(stack.shape[0]):
        _frame(stack[t].ravel(), gain, levels[t], numbers, out[t].reshape(gain.size))
