"""The spot that a pixel really measures: size-of-source loss and measurable spot."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from trivet.arrays import FloatArray
from trivet.errors import OutOfRangeError


@lru_cache(maxsize=1)
def _nodes() -> tuple[FloatArray, FloatArray]:
    """Nodes and weights of the quadrature; finding them costs more than using them."""
    node, weight = np.polynomial.legendre.leggauss(400)
    return node, weight


def _box_blur_cdf(x: FloatArray, sigma_px: float) -> FloatArray:
    """Distribution function of a unit pixel box convolved with a Gaussian."""
    if sigma_px == 0:
        return np.clip(x + 0.5, 0.0, 1.0)

    def ramp(z: FloatArray) -> FloatArray:
        return np.asarray(
            z * ndtr(z / sigma_px)
            + sigma_px * np.exp(-0.5 * (z / sigma_px) ** 2) / math.sqrt(2 * math.pi)
        )

    return ramp(x + 0.5) - ramp(x - 0.5)


def _box_blur_density(x: FloatArray, sigma_px: float) -> FloatArray:
    if sigma_px == 0:
        return np.where(np.abs(x) <= 0.5, 1.0, 0.0)
    return np.asarray(ndtr((x + 0.5) / sigma_px) - ndtr((x - 0.5) / sigma_px))


def size_of_source_loss_frac(diameter_px: npt.ArrayLike, *, sigma_px: float) -> FloatArray:
    """Return the share of a pixel's energy that comes from outside a centred disc.

    diameter_px : (...) diameter of the disc in pixels [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) loss, 0 to 1
    Raises : OutOfRangeError if the blur or a diameter is negative
    Notes : Numerical error under 1e-5. Only the Gaussian core is in it: real optics carry a wide
        halo on top, which is why practice asks for 10 x 10 pixels. Five percent of a pixel's energy
        from 60 C surroundings costs 6.5 K at 230 C.
    Source : Integral of the blurred pixel box over a disc; own derivation
    """
    d = np.asarray(diameter_px, dtype=np.float64)
    if sigma_px < 0 or np.any(d < 0):
        raise OutOfRangeError(f"blur {sigma_px} px and disc diameters must not be negative")
    # x = r sin(t) removes the square-root ends of the half chord; beyond `reach` lies nothing
    node, weight = _nodes()
    reach = 0.5 + 9.0 * sigma_px
    r = np.maximum(d, 1e-300)[..., None] / 2
    span = np.arcsin(np.minimum(1.0, reach / r))
    t = node * span
    step = _box_blur_density(r * np.sin(t), sigma_px) * r * np.cos(t) * weight * span
    chord = 2 * _box_blur_cdf(r * np.cos(t), sigma_px) - 1
    return np.asarray(np.clip(1.0 - (step * chord).sum(-1), 0.0, 1.0))


def psf_loss_frac(psf: npt.ArrayLike, *, samples_per_px: float, diameter_px: float) -> float:
    """Return the size-of-source loss of a disc for a measured point spread.

    psf : (row, col) response of one pixel to a small source, centred, summing to 1
    samples_per_px : samples of the array to one pixel pitch
    diameter_px : diameter of the disc [px]
    Returns : share of the response that lies outside the disc
    Raises : OutOfRangeError if the spread does not sum to 1 within 1e-6 or is smaller than the disc
    Notes : The answer is no finer than one sample: at 8 samples a pixel the disc's diameter is
        uncertain by about 0.1 px.
    Source : Sum over the measured response; common practice, no source
    """
    p = np.asarray(psf, dtype=np.float64)
    total = float(p.sum())
    if not abs(total - 1.0) <= 1e-6:
        raise OutOfRangeError(f"point spread sums to {total:.6g}; allowed: 1 within 1e-6")
    if min(p.shape) < diameter_px * samples_per_px:
        raise OutOfRangeError(
            f"disc of {diameter_px} px is wider than the point spread "
            f"({min(p.shape) / samples_per_px:.4g} px): measure a wider one"
        )
    row, col = np.indices(p.shape)
    away = np.hypot(row - (p.shape[0] - 1) / 2, col - (p.shape[1] - 1) / 2) / samples_per_px
    return float(p[away > diameter_px / 2].sum())


def spot_factor(sigma_px: float, *, energy_frac: float = 0.95) -> float:
    """Return the diameter in pixels of the disc that holds a share of a pixel's energy.

    sigma_px : standard deviation of the Gaussian blur [px]
    energy_frac : share to be held, 0 to 1
    Returns : diameter [px]
    Raises : OutOfRangeError if the share is not inside (0, 1) or the blur is negative
    Notes : 95 %: 1.20 px without blur, 2.39 px at 0.4 px, 3.25 px at 0.6 px: practice says two to
        three times the geometric pixel.
    Source : Imaging application notes (secondary) for the factor two to three
    """
    if not 0 < energy_frac < 1:
        raise OutOfRangeError(f"energy share {energy_frac}; allowed: inside (0, 1)")
    low, high = 0.0, 2.0 + 12.0 * sigma_px
    for _ in range(50):
        middle = (low + high) / 2
        loss = float(size_of_source_loss_frac(middle, sigma_px=sigma_px))
        low, high = (middle, high) if loss > 1 - energy_frac else (low, middle)
    return (low + high) / 2


def rim_loss_frac(inside_px: npt.ArrayLike, *, sigma_px: float) -> FloatArray:
    """Return the share of a pixel's energy from beyond a straight rim.

    inside_px : (...) distance of the pixel's centre to the rim, positive inside [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) loss, 0 to 1
    Raises : OutOfRangeError if the blur is negative
    Notes : One pixel inside: 0 without blur, 2.0 % at 0.4 px, 6.7 % at 0.6 px; a curved rim of 10
        pixels across adds under 2 % of the energy.
    Source : Integral of the blurred pixel box over a half plane; own derivation
    """
    if sigma_px < 0:
        raise OutOfRangeError(f"blur {sigma_px} px must not be negative")
    return np.asarray(1.0 - _box_blur_cdf(np.asarray(inside_px, dtype=np.float64), sigma_px))


def misplaced_loss_frac(
    radius_px: npt.ArrayLike, *, inside_px: float, offset_px: npt.ArrayLike, sigma_px: float
) -> FloatArray:
    """Return what a misplaced rim adds to the share of a trimmed disc's signal from beyond it.

    radius_px : (...) radius of the pan in the picture [px]
    inside_px : how far inside the believed rim the pixels that are read end; half of the radius at
        most is trimmed [px]
    offset_px : (...) distance of the believed centre from the true one [px]
    sigma_px : standard deviation of the Gaussian blur [px]
    Returns : (...) mean loss over the pixels read less that without a shift, 0 to 1
    Raises : OutOfRangeError if the blur, the trim or a shift is negative, or a radius is not
        positive
    Notes : Each pixel loses what lies beyond a straight rim at its distance. For a pan of 10 pixels
        across, one pixel trimmed and a blur of 0.5 px a shift of 0.5, 1 and 2 px adds 0.5, 2.6 and
        12.8 %; with the rim's curvature 0.6, 2.8 and 13.3 %, for 6 pixels across a fifth more than
        is said here.
    Source : Mean of :func:`rim_loss_frac` over a disc; own derivation
    """
    radius, shift = np.broadcast_arrays(
        np.asarray(radius_px, dtype=np.float64), np.asarray(offset_px, dtype=np.float64)
    )
    if sigma_px < 0 or inside_px < 0 or np.any(shift < 0) or not np.all(radius > 0):
        raise OutOfRangeError(
            f"blur {sigma_px} px, trim {inside_px} px and shifts must not be negative, radii must"
            " be positive"
        )
    kept = np.maximum(radius - inside_px, radius / 2)[..., None, None]
    ring = np.sqrt((np.arange(24) + 0.5) / 24)[:, None]
    turn = math.pi * (np.arange(24) + 0.5) / 24
    across = kept * ring * np.cos(turn) + shift[..., None, None]
    along = kept * ring * np.sin(turn)
    own = rim_loss_frac(radius[..., None, None] - kept * ring, sigma_px=sigma_px)
    moved = rim_loss_frac(radius[..., None, None] - np.hypot(across, along), sigma_px=sigma_px)
    return np.asarray(np.maximum((moved - own).mean(axis=(-1, -2)), 0.0))
