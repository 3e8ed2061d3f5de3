"""From surfaces to what the pixels receive: a frame is one sparse product.

Everything before the detector is linear in radiance, so surfaces are rendered at the simulator's
own moments and interpolated in time as pixels, not as cells. Moments lie innermost and numbers are
in single precision: 1e-7 of a radiance is 0.02 mK. The radiance of cells comes from the polynomials
of ``inversion``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import ArrayLike
from scipy.sparse import csr_array

from trivet.arrays import Float32Array, FloatArray
from trivet.errors import InputError
from trivet.physics.radiation.inversion import pass_polynomials
from trivet.physics.radiation.planck import Band, band_radiance

RENDER_BLOCK = 128  # own estimate: moments at once; surfaces of six pans then fit the cache
CACHE_LINE = 16  # single-precision numbers in a line of the cache: what is turned goes by lines
CELL_CHUNK, DEEP = 128, 32  # own estimate: cells and moments taken at once


@dataclass(frozen=True)
class Cells:
    """The cells of one pan over time, and what they mirror.

    ``temperature_k`` (time, cell), best in single precision, whose 0.03 mK do not matter and which
    halves what is read; ``emissivity`` (time or 1, cell); ``share`` (cell, thing) of the mirrored
    hemisphere that each thing fills; ``thing`` (time or 1, thing) in-band radiance of the things
    [W/m2/sr]; ``first`` column of the first cell.
    """

    temperature_k: FloatArray | Float32Array
    emissivity: FloatArray
    share: FloatArray
    thing: FloatArray
    first: int


def mixed_radiance(
    temperature_k: ArrayLike, *, emissivity: ArrayLike, mirrored: ArrayLike, band: Band
) -> FloatArray:
    """Return the radiance that leaves surfaces which mirror a given radiance.

    temperature_k : (...) surface temperature [K]
    emissivity : broadcastable; band emissivity, 0 to 1
    mirrored : broadcastable; in-band radiance of what the surface mirrors [W/m2/sr]
    band : spectral response
    Returns : (...) radiance [W/m2/sr]
    Notes : Own radiation and what is mirrored, whose radiance is taken once; 1 % of
        emissivity at 230 C is 1 % of radiance, 1.7 K.
    Source : Grey-body radiometric equation
    """
    eps = np.asarray(emissivity)
    own = band_radiance(temperature_k, band=band)
    return np.asarray(eps * own + (1.0 - eps) * np.asarray(mirrored))


def pixel_radiance(
    matrix: csr_array,
    *,
    cells: tuple[Cells, ...],
    rest: FloatArray,
    band: Band,
) -> Float32Array:
    """Return the radiance of each pixel.

    matrix : (pixel, surface) sparse share of each pixel's signal that comes from each surface
    cells : the pans; every one has its own columns
    rest : (time, surface - cells) radiance of the last columns: walls, hob and so on [W/m2/sr]
    band : spectral response
    Returns : (time, pixel) radiance [W/m2/sr]; NaN where a pixel takes signal from a cell beyond
        -40 to 600 C
    Raises : InputError if the numbers of surfaces or moments differ
    Notes : Exact for the given matrix within 1 mK: the error of the polynomials.
    Source : Linear superposition
    """
    tables = _checked(matrix, cells, rest)
    count, pixels = rest.shape[0], matrix.shape[0]
    fits = pass_polynomials(band)
    scale = np.array([1.0 / fits.forward_map[1], -fits.forward_map[0] / fits.forward_map[1]])
    numbers = np.concatenate([scale, fits.forward]).astype(np.float32)
    indptr, indices = matrix.indptr.astype(np.int64), matrix.indices.astype(np.int64)
    data = matrix.data.astype(np.float32)
    out = np.empty((count, pixels), dtype=np.float32)
    surfaces = np.empty((matrix.shape[1], RENDER_BLOCK), dtype=np.float32)
    first_rest = matrix.shape[1] - rest.shape[1]
    for begin in range(0, count, RENDER_BLOCK):
        end = min(count, begin + RENDER_BLOCK)
        for one, (eps, share, thing) in zip(cells, tables, strict=True):
            pan = (one.temperature_k, eps, share, thing)
            _cell_block(pan, numbers, (begin, end, one.first), surfaces)
        surfaces[first_rest:, : end - begin] = rest[begin:end].T
        _product(indptr, indices, data, surfaces, out[begin:end])
    return out


def _checked(
    matrix: csr_array, cells: tuple[Cells, ...], rest: FloatArray
) -> list[tuple[Any, Any, Any]]:
    """Return emissivity, shares and things in the shapes of the compiled loop."""
    columns = sum(one.temperature_k.shape[1] for one in cells) + rest.shape[1]
    if columns != matrix.shape[1]:
        raise InputError(f"{columns} surfaces given; wanted {matrix.shape[1]}, as the matrix has")
    made = []
    for one in cells:
        shape = one.temperature_k.shape
        fits = one.emissivity.shape in (shape, (1, shape[1])) and one.share.shape[0] == shape[1]
        if shape[0] != rest.shape[0] or not fits or one.share.shape[1] != one.thing.shape[1]:
            raise InputError(
                f"cells have temperatures {shape}, emissivities {one.emissivity.shape}, shares "
                f"{one.share.shape}, things {one.thing.shape}; wanted (time, cell), "
                "(time or 1, cell), (cell, thing), (time or 1, thing)"
            )
        same = one.share.shape[1] > 0 and bool(np.all(one.share == one.share[:1]))
        share = one.share[:1] if same else one.share
        thing = np.broadcast_to(one.thing, (shape[0], one.thing.shape[1]))
        face = np.ascontiguousarray(one.emissivity, dtype=np.float32)
        made.append((face, share, np.ascontiguousarray(thing)))
    return made


# Multiply-add contraction only: a NaN from a temperature beyond the fit survives.
@njit(cache=True, fastmath={"contract"}, error_model="numpy")
def _cell_block(pan: Any, numbers: Any, bounds: tuple[int, int, int], out: Any) -> None:
    """Write the radiance of cells at moments begin to end into rows of ``out``."""
    temperature_k, eps, share, thing = pan
    begin, end, first = bounds
    one = np.float32(1.0)
    scale, offset = numbers[0], numbers[1]
    a0, a1, a2, a3, a4, a5, a6, a7, a8, a9, a10, a11, a12 = numbers[2:15]
    mirrored = np.empty(CELL_CHUNK, dtype=np.float32)
    tile = np.empty((DEEP, CELL_CHUNK), dtype=np.float32)
    steady = eps.shape[0] == 1
    for low in range(0, temperature_k.shape[1], CELL_CHUNK):
        high = min(temperature_k.shape[1], low + CELL_CHUNK)
        for start in range(begin, end, DEEP):
            deep = min(DEEP, end - start)
            for k in range(deep):
                kelvin, line = temperature_k[start + k, low:high], tile[k]
                face = eps[0 if steady else start + k, low:high]
                _mirror(share, thing[start + k], low, mirrored)
                for c in range(kelvin.size):
                    x = np.float32(kelvin[c]) * scale + offset
                    y = (((((a12 * x + a11) * x + a10) * x + a9) * x + a8) * x + a7) * x + a6
                    y = (((((y * x + a5) * x + a4) * x + a3) * x + a2) * x + a1) * x + a0
                    square = y * y
                    own = square * square if (x >= -one) & (x <= one) else np.float32(np.nan)
                    line[c] = mirrored[c] + face[c] * (own - mirrored[c])
            for c in range(high - low):
                into = out[first + low + c, start - begin : start - begin + deep]
                for k in range(deep):
                    into[k] = tile[k, c]


@njit(cache=True)
def _mirror(share: Any, thing: Any, low: int, out: Any) -> None:
    """Sum what a chunk of cells mirrors; one row of shares serves all cells."""
    if share.shape[0] == 1:
        total = 0.0
        for j in range(thing.size):
            total += share[0, j] * thing[j]
        out[:] = np.float32(total)
        return
    out[:] = np.float32(0.0)
    for j in range(thing.size):
        for c in range(min(out.size, share.shape[0] - low)):
            out[c] += np.float32(share[low + c, j] * thing[j])


@njit(cache=True, fastmath={"contract", "reassoc"})
def _product(  # noqa: PLR0912
    indptr: Any, indices: Any, data: Any, surfaces: Any, out: Any
) -> None:
    """Sum the weighed surfaces of a few pixels at a time, moments innermost."""
    count, pixels = out.shape
    if count == 1:
        for p in range(pixels):
            total = np.float32(0.0)
            for k in range(indptr[p], indptr[p + 1]):
                total += data[k] * surfaces[indices[k], 0]
            out[0, p] = total
        return
    sums = np.empty((CACHE_LINE, count), dtype=np.float32)
    for start in range(0, pixels, CACHE_LINE):
        wide = min(CACHE_LINE, pixels - start)
        for i in range(wide):
            line = sums[i]
            line[:] = np.float32(0.0)
            k, last = indptr[start + i], indptr[start + i + 1]
            while k + 8 <= last:  # eight at a time: one load and store of the sum for eight
                w0, w1, w2, w3 = data[k], data[k + 1], data[k + 2], data[k + 3]
                w4, w5, w6, w7 = data[k + 4], data[k + 5], data[k + 6], data[k + 7]
                s0, s1 = surfaces[indices[k]], surfaces[indices[k + 1]]
                s2, s3 = surfaces[indices[k + 2]], surfaces[indices[k + 3]]
                s4, s5 = surfaces[indices[k + 4]], surfaces[indices[k + 5]]
                s6, s7 = surfaces[indices[k + 6]], surfaces[indices[k + 7]]
                for t in range(count):
                    near = w0 * s0[t] + w1 * s1[t] + w2 * s2[t] + w3 * s3[t]
                    line[t] += near + (w4 * s4[t] + w5 * s5[t] + w6 * s6[t] + w7 * s7[t])
                k += 8
            if k + 4 <= last:
                w0, w1, w2, w3 = data[k], data[k + 1], data[k + 2], data[k + 3]
                s0, s1 = surfaces[indices[k]], surfaces[indices[k + 1]]
                s2, s3 = surfaces[indices[k + 2]], surfaces[indices[k + 3]]
                for t in range(count):
                    line[t] += w0 * s0[t] + w1 * s1[t] + w2 * s2[t] + w3 * s3[t]
                k += 4
            for j in range(k, last):
                weight, source = data[j], surfaces[indices[j]]
                for t in range(count):
                    line[t] += weight * source[t]
        for t in range(count):
            for i in range(wide):
                out[t, start + i] = sums[i, t]


def disc_cover(
    x_m: FloatArray,
    *,
    y_m: FloatArray,
    centre_m: tuple[float, float],
    radius_m: float,
    soft_m: float,
) -> FloatArray:
    """Return how much of each pixel a disc covers, its edge softened.

    x_m, y_m : (pixel,) where the pixels' centres meet the disc's plane; NaN covers nothing [m]
    centre_m : (float, float) centre [m]
    radius_m : radius [m]
    soft_m : width of the edge, about a pixel's footprint [m]
    Returns : (pixel,) share covered, 0 to 1
    Notes : For hands and the like, whose outline is not known anyway: not exact.
    Source : Own approximation
    """
    away = np.hypot(x_m - centre_m[0], y_m - centre_m[1])
    return np.nan_to_num(np.clip(0.5 - (away - radius_m) / soft_m, 0.0, 1.0))
