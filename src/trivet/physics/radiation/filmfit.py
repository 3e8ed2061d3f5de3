"""Emissivity, or oil film, of a surface from scene and reference; what a shiny patch mirrors."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import solve_triangular
from scipy.optimize import least_squares

from trivet.arrays import BoolArray, FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.film import OpticalConstants, film_emissivity
from trivet.physics.radiation.planck import (
    Band,
    band_radiance,
    band_radiance_slope,
    radiating_temperature_k,
)

MIN_PAIRS = 6  # own estimate: fewer show no outlier
MIN_EXCESS_K = 30.0  # own estimate: over what it mirrors, before a surface's emissivity shows
FILM_M = (2e-7, 3e-3)  # own estimate: thinner is bare, thicker is a pool
MAX_LOG_U = 0.5  # own estimate: a thickness known no better than a factor 1.65 is none
MIN_FILM_LEVER = 6.0  # own estimate: uncertainties of the emissivity that a film must change it by
PRIOR_COOKS = 2.0  # own estimate: cooks that the declared spread counts for when pooled
MAX_PATCH_EMISSIVITY = 0.5  # own estimate: beyond, a patch shows itself more than its mirror image


@dataclass(frozen=True)
class PairedSamples:
    """Scene radiance, window and drift removed, beside the reference temperature.

    radiance, u_radiance : (sample,) with the independent part of its u [W/m2/sr]
    reference_k : (sample,) reference [K]
    surround_k : what the surface mirrors [K]
    common : (sample, cause) radiance for one u of each cause that acts on all samples together:
        probe offset, drift, gain, window [W/m2/sr]
    """

    radiance: FloatArray
    u_radiance: FloatArray
    reference_k: FloatArray
    surround_k: float
    common: FloatArray


@dataclass(frozen=True)
class EmissivityFit:
    """Effective band emissivity of one series with its span and chi2 a datum."""

    emissivity: float
    emissivity_u: float
    span_k: tuple[float, float]
    pairs: int
    reduced_chi2: float


@dataclass(frozen=True)
class FilmFit:
    """Film thickness, emissivity below, scale of the liquid's k: in this order in the covariance.

    The scale is 1 by definition of the constants; the thickness is that for it.
    """

    thickness_m: float
    substrate: float
    covariance: FloatArray
    emissivity: float
    span_k: tuple[float, float]
    reduced_chi2: float


@dataclass(frozen=True)
class PooledEmissivity:
    """What several cooks say about the emissivity in another one.

    ``conflict``: the data disagree with the declared value, which then was not used.
    """

    emissivity: float
    emissivity_u: float
    between_u: float
    conflict: bool


def _usable(samples: PairedSamples) -> BoolArray:
    warm = samples.reference_k - samples.surround_k >= MIN_EXCESS_K
    return np.asarray(
        warm & np.isfinite(samples.radiance) & np.isfinite(samples.u_radiance), dtype=np.bool_
    )


def _whitened(samples: PairedSamples, use: BoolArray) -> FloatArray:
    """Lower Cholesky factor of the samples' covariance, common causes included."""
    if not np.all(samples.u_radiance[use] > 0):
        raise OutOfRangeError("paired samples: every standard uncertainty must be above 0")
    common = samples.common[use]
    covariance = np.diag(samples.u_radiance[use] ** 2) + common @ common.T
    return np.asarray(np.linalg.cholesky(covariance), dtype=np.float64)


def _need(use: BoolArray, samples: PairedSamples) -> None:
    n = int(use.sum())
    if n < MIN_PAIRS:
        raise NotEnoughDataError(
            f"{n} of {use.size} pairs are {MIN_EXCESS_K:g} K above the surroundings of "
            f"{samples.surround_k - ZERO_C_K:.0f} C; needed: {MIN_PAIRS}; heat the pan further"
        )


def fit_emissivity(samples: PairedSamples, *, band: Band) -> EmissivityFit:
    """Return the effective emissivity that explains one series of pairs.

    Generalised least squares of L - L_s on eps (L_b(T) - L_s), with the common causes in the
    covariance; pairs off by more than four robust widths (steam, a hand) are left out.

    Returns : with the span of temperatures that it covers
    Raises : NotEnoughDataError for fewer than 6 pairs 30 K above the surroundings; OutOfRangeError
        if an uncertainty is not positive
    Notes : At 180 C over surroundings of 30 C a probe offset of 1.5 K is 0.013 of emissivity at
        0.95; 2 % of window is 0.02. These are in the common causes and do not average out.
    Source : Generalised least squares; grey opaque surface
    """
    use = _usable(samples)
    _need(use, samples)
    ground = float(band_radiance(samples.surround_k, band=band))
    lever = band_radiance(samples.reference_k, band=band) - ground
    ratio = (samples.radiance - ground) / np.where(use, lever, np.nan)
    middle = float(np.nanmedian(ratio))
    width = 1.4826 * float(np.nanmedian(np.abs(ratio - middle)))
    own = samples.u_radiance / np.maximum(np.abs(lever), 1e-9)
    use &= np.abs(ratio - middle) <= 4 * np.maximum(width, own)
    _need(use, samples)
    factor = _whitened(samples, use)
    x = solve_triangular(factor, lever[use], lower=True)
    y = solve_triangular(factor, samples.radiance[use] - ground, lower=True)
    variance = 1.0 / float(x @ x)
    emissivity = variance * float(x @ y)
    chi2 = float(((y - emissivity * x) ** 2).sum()) / (int(use.sum()) - 1)
    u = math.sqrt(variance * max(1.0, chi2))
    return EmissivityFit(emissivity, u, _span(samples, use), int(use.sum()), chi2)


def _span(samples: PairedSamples, use: BoolArray) -> tuple[float, float]:
    return float(samples.reference_k[use].min()), float(samples.reference_k[use].max())


def fit_film(
    samples: PairedSamples,
    *,
    film: OpticalConstants,
    substrate: tuple[float, float],
    start_m: float,
    band: Band,
    scale_u: float = 0.0,
) -> FilmFit:
    """Return the film thickness that explains one series of pairs on a known pan.

    film : index of the liquid
    substrate : (value, standard uncertainty) emissivity of the pan without a film; it counts as a
        datum
    start_m : thickness to begin with [m]
    scale_u : relative standard uncertainty of the liquid's absorption index k
    Raises : NotEnoughDataError for too few pairs, or when the thickness cannot be told within a
        factor 1.65: a film on a dark pan, or one so thick that it is opaque; OutOfRangeError if the
        substrate's emissivity or the start is out of range
    Notes : On steel of 0.15 the emissivity rises by 0.017 a micrometre at 5 um and by 0.004 at 50
        um, so an uncertainty of 0.02 is 1.3 um and 5 um; beyond 300 um thickness does not show.
        Only the product of thickness and k shows: 20 % of k are 20 % of thickness, fully
        anticorrelated, and leave the emissivity as it is. Effective: the mean over pools and bare
        spots, not one layer.
    Source : Incoherent film on a grey substrate, see film.py; least squares
    """
    value, spread = substrate
    if not (0 < value < 1 and spread > 0 and FILM_M[0] < start_m < FILM_M[1] and scale_u >= 0):
        raise OutOfRangeError(
            f"film fit: substrate {value} +- {spread}, start {start_m} m; allowed: inside (0, 1), "
            f"above 0, and between {FILM_M[0]} and {FILM_M[1]} m"
        )
    use = _usable(samples)
    _need(use, samples)
    factor = _whitened(samples, use)
    ground = float(band_radiance(samples.surround_k, band=band))
    lever = band_radiance(samples.reference_k[use], band=band) - ground
    seen = samples.radiance[use] - ground
    weight_k = float(np.median(samples.reference_k[use]))

    def emissivity(log_m: float, below: float) -> float:
        grey = min(max(below, 1e-3), 1.0)
        found = film_emissivity(
            math.exp(log_m), film=film, substrate=grey, temperature_k=weight_k, band=band
        )
        return float(found)

    def residuals(at: FloatArray) -> FloatArray:
        off = solve_triangular(factor, seen - emissivity(at[0], at[1]) * lever, lower=True)
        return np.append(off, (at[1] - value) / spread)

    fit = least_squares(
        residuals,
        [math.log(start_m), value],
        bounds=([math.log(FILM_M[0]), 1e-3], [math.log(FILM_M[1]), 1.0]),
        x_scale=[0.3, 0.02],
        diff_step=[1e-4, 1e-4],
    )
    chi2 = float((fit.fun**2).sum()) / (int(use.sum()) - 1)
    best, covariance = emissivity(*fit.x), _film_covariance(fit.jac, chi2)
    u = math.hypot(1.0 / float(np.linalg.norm(solve_triangular(factor, lever, lower=True))), spread)
    thick = emissivity(math.log(FILM_M[1]), value)
    dark = thick - value < MIN_FILM_LEVER * u or thick - best < 2 * u
    if dark or not covariance[0, 0] < MAX_LOG_U**2:
        raise NotEnoughDataError(
            f"the film's thickness does not show: emissivity {best:.2f} over a "
            f"substrate of {value:.2f} +- {spread:.2f}; use an effective emissivity"
        )
    thickness = math.exp(fit.x[0])
    spanned = _span(samples, use)
    whole = np.zeros((3, 3))
    whole[:2, :2] = covariance
    # the data see log(thickness) + log(k): what is not known of k goes to the thickness
    whole += scale_u**2 * np.outer([1.0, 0.0, -1.0], [1.0, 0.0, -1.0])
    turn = np.array([thickness, 1.0, 1.0])
    return FilmFit(thickness, float(fit.x[1]), whole * np.outer(turn, turn), best, spanned, chi2)


def _film_covariance(jacobian: object, chi2: float) -> FloatArray:
    """Covariance of (log thickness, substrate); infinite where the data cannot tell."""
    matrix = np.asarray(jacobian, dtype=np.float64)
    normal = matrix.T @ matrix
    if not np.linalg.cond(normal) < 1e13:
        return np.full((2, 2), np.inf)
    return np.asarray(np.linalg.inv(normal) * max(1.0, chi2), dtype=np.float64)


def pooled_emissivity(
    fits: tuple[EmissivityFit, ...], *, declared: float, declared_u: float, common_u: float = 0.0
) -> PooledEmissivity:
    """Return what several cooks say about the emissivity in another one.

    The declared spread is read as half doubt of the mean and half spread between cooks (in
    variance). The spread between cooks is what the cooks show beyond their own uncertainty, pooled
    with the declared one, which counts as two cooks.

    fits : one a cook
    declared, declared_u : emissivity and standard uncertainty before any cook
    common_u : part of each cook's uncertainty that all share, such as the window's
    Returns : ``emissivity_u`` is that of the next cook, not of the mean
    Raises : NotEnoughDataError for fewer than two cooks: one cannot show a spread; OutOfRangeError
        if the declared uncertainty is not positive
    Notes : Two cooks that agree narrow a declared 0.0173 to about 0.012; ten to 0.0055 when their
        own uncertainty is small. When mean and declared value differ by more than 2.5 of their
        joint uncertainties the declared one is dropped.
    Source : Random-effects mean; scaled inverse chi-squared pooling, own weights
    """
    n = len(fits)
    if n < 2:
        raise NotEnoughDataError(
            f"{n} cook with usable pairs cannot show the spread between cooks; needed: 2"
        )
    if not declared_u > 0:
        raise OutOfRangeError(f"declared emissivity uncertainty {declared_u}; allowed: above 0")
    values = np.array([fit.emissivity for fit in fits])
    own = np.array([max(fit.emissivity_u**2 - common_u**2, 1e-8) for fit in fits])
    half = declared_u**2 / 2
    seen = max(float(values.var(ddof=1)) - float(own.mean()), 0.0)
    between = (PRIOR_COOKS * half + (n - 1) * seen) / (PRIOR_COOKS + n - 1)
    weight = 1.0 / (own + between)
    mean = float((weight * values).sum() / weight.sum())
    mean_var = 1.0 / float(weight.sum()) + common_u**2
    conflict = abs(mean - declared) > 2.5 * math.sqrt(mean_var + half)
    if not conflict:
        joint = 1.0 / (1.0 / mean_var + 1.0 / half)
        mean, mean_var = joint * (mean / mean_var + declared / half), joint
    return PooledEmissivity(
        min(mean, 1.0), math.sqrt(mean_var + between), math.sqrt(between), conflict
    )


@dataclass(frozen=True)
class PatchReading:
    """Radiative temperature of what a patch mirrors, and its standard uncertainty. [K]"""

    reflected_k: float
    reflected_u_k: float


def reflected_from_patch(
    scene_k: ArrayLike,
    *,
    scene_u_k: float,
    patch_k: ArrayLike,
    patch_u_k: float,
    emissivity: float,
    emissivity_u: float,
    band: Band,
) -> PatchReading:
    """Return the reflected temperature that explains what is seen of a shiny patch.

    scene_k : (sample,) apparent temperature of the patch, drift and window taken out [K]
    scene_u_k : standard uncertainty common to the samples [K]
    patch_k : (sample,) or float temperature of the patch itself [K]
    patch_u_k : standard uncertainty [K]
    emissivity, emissivity_u : of the patch, with standard uncertainty
    Returns : of the median sample; the spread over the samples is in the uncertainty
    Raises : OutOfRangeError if the emissivity is 0.5 or more (the patch then shows itself), or an
        uncertainty is negative; NotEnoughDataError if no sample has a value, or the patch is darker
        than its own emission
    Notes : Crumpled foil of 0.10 +- 0.03 at 40 C under a hood at 50 C, 8-14 um: 0.5 K of scene is
        0.55 K, the emissivity 0.3 K, 2 K of patch 0.2 K. At 150 C the same emissivity costs 5 K:
        keep the patch off the burners. It mirrors what lies overhead of it, not what a pan 0.3 m
        aside does.
    Source : Reflector method as in ISO 18434-1:2008 (locator from memory), solved for the mirrored
    """
    if not 0 <= emissivity < MAX_PATCH_EMISSIVITY:
        raise OutOfRangeError(
            f"patch of emissivity {emissivity:.2f}; allowed: under {MAX_PATCH_EMISSIVITY}: it "
            "shows itself more than what it mirrors. Use bare foil"
        )
    if min(scene_u_k, patch_u_k, emissivity_u) < 0:
        raise OutOfRangeError("patch: an uncertainty is negative")
    scene = np.asarray(scene_k, dtype=np.float64)
    own = np.broadcast_to(np.asarray(patch_k, dtype=np.float64), scene.shape)
    good = np.isfinite(scene) & np.isfinite(own)
    if not good.any():
        raise NotEnoughDataError("the patch has no moment with both readings")
    seen = band_radiance(scene[good], band=band)
    glow = band_radiance(own[good], band=band)
    mirrored = (seen - emissivity * glow) / (1 - emissivity)
    if not np.median(mirrored) > 0:
        raise NotEnoughDataError("the patch is darker than its own emission: its emissivity is off")
    each = np.asarray(radiating_temperature_k(mirrored, band=band))
    middle = float(np.nanmedian(each))
    slope = float(band_radiance_slope(middle, band=band)) * (1 - emissivity)
    parts = [
        float(np.median(band_radiance_slope(scene[good], band=band))) * scene_u_k / slope,
        emissivity * float(np.median(band_radiance_slope(own[good], band=band)))
        * patch_u_k / slope,
        float(np.median(mirrored - glow)) * emissivity_u / slope,
        1.4826 * float(np.nanmedian(np.abs(each - middle))),
    ]  # fmt: skip
    return PatchReading(middle, math.sqrt(sum(part**2 for part in parts)))
