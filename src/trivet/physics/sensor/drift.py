"""Drift of a thermal sensor: offset against its housing, the housing's rate, and time awake.

offset = a + b (T_housing - T_ref) + c dT_housing/dt + d exp(-t_awake / tau)
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from trivet.arrays import FloatArray, IntArray
from trivet.errors import NotEnoughDataError, OutOfRangeError

TERMS = ("offset", "per housing", "per housing rate", "wake")
MIN_SAMPLES, MIN_RAMPS = 12, 2  # own estimate: three samples a term, a warm-up to hold out
MIN_SPAN_K, MIN_RATE_SPAN_KPS = 3.0, 0.02  # own estimate: levers of the housing's terms
PRIOR_UNITS = 2.0  # own estimate: units that the declared spread counts for when pooled


@dataclass(frozen=True)
class DriftSamples:
    """Offsets of the apparent temperature against what it should have been.

    offset_k, u_k : (sample,) measured minus expected, independent part of its u [K]
    housing_k, housing_rate_kps, awake_s : (sample,) state of the sensor [K], [K/s], [s]
    ramp : (sample,) index of the warm-up that the sample belongs to
    nuisance : (sample, cause) offset for one unit of each other cause that may explain it: a
        probe's own offset, an emissivity, the gain
    nuisance_mean, nuisance_u : (cause,) the cause's prior mean and standard uncertainty
    """

    offset_k: FloatArray
    u_k: FloatArray
    housing_k: FloatArray
    housing_rate_kps: FloatArray
    awake_s: FloatArray
    ramp: IntArray
    nuisance: FloatArray
    nuisance_mean: FloatArray
    nuisance_u: FloatArray


@dataclass(frozen=True)
class DriftModel:
    """The declared terms: values (4,), covariance (4, 4), reference temperature, time constant."""

    value: FloatArray
    covariance: FloatArray
    housing_ref_k: float
    tau_s: float


@dataclass(frozen=True)
class DriftFit:
    """The fitted model, which terms the data carried, why not the rest, (cause,) best values."""

    model: DriftModel
    carried: tuple[bool, bool, bool, bool]
    refused: tuple[str, ...]
    nuisance: FloatArray
    residual_rms_k: float
    reduced_chi2: float


def drift_terms(
    housing_k: npt.ArrayLike,
    *,
    housing_rate_kps: npt.ArrayLike,
    awake_s: npt.ArrayLike,
    housing_ref_k: float,
    tau_s: float,
) -> FloatArray:
    """Return what each drift term is multiplied with.

    housing_k, housing_rate_kps, awake_s : (...) state of the sensor: temperature [K], its rate
        [K/s], time since wake [s]
    housing_ref_k, tau_s : reference temperature [K] and time constant of the wake term [s]
    Returns : (..., 4) in the order of TERMS
    Raises : OutOfRangeError if the time constant is not positive
    Notes : A wake term of 3 K with 80 s has 0.15 K left after 4 min.
    Source : First-order terms of a sensor in a warming housing; own choice of terms
    """
    if not tau_s > 0:
        raise OutOfRangeError(f"time constant of the wake term {tau_s} s; allowed: above 0")
    housing = np.asarray(housing_k, float)
    return np.stack(
        [
            np.ones_like(housing),
            housing - housing_ref_k,
            np.broadcast_to(np.asarray(housing_rate_kps, float), housing.shape),
            np.broadcast_to(np.exp(-np.asarray(awake_s, float) / tau_s), housing.shape),
        ],
        axis=-1,
    )


def fit_drift(samples: DriftSamples, *, declared: DriftModel) -> DriftFit:
    """Return the drift of one sensor from offsets seen in several warm-ups.

    Weighted least squares in which the declared terms and the other causes count as data with their
    standard uncertainties. A term whose lever is too short keeps its declared value and spread, and
    says why.

    samples : offsets with the state of the sensor
    declared : what the design says
    Raises : NotEnoughDataError for fewer than 12 samples or fewer than 2 warm-ups; OutOfRangeError
        if an uncertainty is not positive
    Notes : Needed levers: 3 K of housing for b, 0.02 K/s of rate for c, samples before tau/2 and
        after 2 tau since wake for d. Three ramps of 15 K with 0.3 K noise and a 0.5 K probe offset
        each give a within 0.6 K, b within 0.05, d within 0.4 K; held-out ramps are then predicted
        within 1 K rms. A tau wrong by 30 % moves d by 0.3 of itself and the rate term by 15 s, and
        hardly shows in the residual: the sum stays right over the times that were seen.
    Source : Generalised least squares with prior information, JCGM 102:2011 idea of joint
        estimates; own implementation
    """
    _check(samples)
    reasons = _levers(samples, declared)
    terms = drift_terms(
        samples.housing_k,
        housing_rate_kps=samples.housing_rate_kps,
        awake_s=samples.awake_s,
        housing_ref_k=declared.housing_ref_k,
        tau_s=declared.tau_s,
    )
    columns = np.concatenate([terms, samples.nuisance], axis=1) / samples.u_k[:, None]
    prior = np.zeros((columns.shape[1], columns.shape[1]))
    prior[:4, :4] = np.linalg.inv(declared.covariance)
    prior[4:, 4:] = np.diag(1.0 / samples.nuisance_u**2)
    mean = np.concatenate([declared.value, samples.nuisance_mean])
    covariance = np.linalg.inv(columns.T @ columns + prior)
    right = columns.T @ (samples.offset_k / samples.u_k) + prior @ mean
    best = covariance @ right
    left = samples.offset_k / samples.u_k - columns @ best
    chi2 = float((left**2).sum() + (best - mean) @ prior @ (best - mean)) / left.size
    wide = max(1.0, chi2, _clustered(columns, left, samples.ramp, covariance))
    carried = tuple(reason == "" for reason in reasons)
    kept = np.array(carried)
    value = np.where(kept, best[:4], declared.value)
    both = kept[:, None] & kept[None, :]
    # a cautious spread: never narrower than the scatter of the residuals asks for, and residuals
    # of one warm-up go together
    shared = np.where(both, covariance[:4, :4] * wide, 0.0)
    alone = ~kept[:, None] & ~kept[None, :]
    shared = np.where(alone, declared.covariance, shared)
    return DriftFit(
        DriftModel(value, shared, declared.housing_ref_k, declared.tau_s),
        (bool(kept[0]), bool(kept[1]), bool(kept[2]), bool(kept[3])),
        tuple(reason for reason in reasons if reason),
        best[4:],
        float(np.sqrt(((left * samples.u_k) ** 2).mean())),
        chi2,
    )


def _clustered(
    columns: FloatArray,
    left: FloatArray,
    ramp: IntArray,
    inverse: npt.NDArray[np.floating[Any]],
) -> float:
    """Return how many times the variance of the terms is that of independent residuals.

    The terms' scores of a warm-up are summed before they are squared (Liang and Zeger 1986, from
    memory); the largest ratio over the four terms counts.
    """
    scores = np.zeros(inverse.shape)
    for one in np.unique(ramp):
        own = columns[ramp == one].T @ left[ramp == one]
        scores += np.outer(own, own)
    seen = np.diag(inverse @ scores @ inverse)[:4]
    ramps = np.unique(ramp).size
    return float((seen * ramps / (ramps - 1) / np.diag(inverse)[:4]).max())


def _check(samples: DriftSamples) -> None:
    ramps = np.unique(samples.ramp).size
    if samples.offset_k.size < MIN_SAMPLES or ramps < MIN_RAMPS:
        raise NotEnoughDataError(
            f"drift from {samples.offset_k.size} samples of {ramps} warm-ups; needed: at least "
            f"{MIN_SAMPLES} samples of {MIN_RAMPS} warm-ups; record more calibration cooks"
        )
    if not (np.all(samples.u_k > 0) and np.all(samples.nuisance_u > 0)):
        raise OutOfRangeError("drift: every standard uncertainty must be above 0")


def _levers(samples: DriftSamples, declared: DriftModel) -> tuple[str, str, str, str]:
    """Reason for each term why the data cannot carry it; empty when they can."""
    span = float(np.ptp(samples.housing_k))
    rates = float(np.ptp(samples.housing_rate_kps))
    first, last = float(samples.awake_s.min()), float(samples.awake_s.max())
    per_housing = per_rate = wake = ""
    if span < MIN_SPAN_K:
        per_housing = f"per housing: the housing spans {span:.1f} K, needed {MIN_SPAN_K:g} K"
    if rates < MIN_RATE_SPAN_KPS:
        per_rate = f"per housing rate: rates span {rates:.3f} K/s, needed {MIN_RATE_SPAN_KPS:g} K/s"
    if first > declared.tau_s / 2 or last < 2 * declared.tau_s:
        wake = (
            f"wake: samples from {first:.0f} to {last:.0f} s since wake, needed from "
            f"{declared.tau_s / 2:.0f} to {2 * declared.tau_s:.0f} s"
        )
    return "", per_housing, per_rate, wake


def pooled_units(fits: tuple[DriftModel, ...], *, declared: DriftModel) -> DriftModel:
    """Return what the drift of several sensors says about another one of their kind.

    The mean over the units; the spread is the declared one, counted as two units, pooled with the
    spread seen, plus the uncertainty of the mean.

    fits : one a unit, of one reference temperature and time constant
    declared : what the design says
    Raises : NotEnoughDataError for fewer than 3 units
    Notes : With 3 units the declared spread still makes up half of the pooled one: few units cannot
        show how much units differ.
    Source : Scaled inverse chi-squared pooling of variances; own choice of its weight
    """
    n = len(fits)
    if n < 3:
        raise NotEnoughDataError(
            f"drift from {n} sensor units says little of another; needed: at least 3, or "
            "recordings of the one unit that is used"
        )
    values = np.stack([fit.value for fit in fits])
    own = np.mean([fit.covariance for fit in fits], axis=0)
    seen = np.cov(values.T, ddof=1)
    spread = (PRIOR_UNITS * declared.covariance + (n - 1) * seen) / (PRIOR_UNITS + n - 1)
    mean = values.mean(axis=0)
    covariance = spread * (1 + 1 / n) + own / math.sqrt(n)
    return DriftModel(mean, covariance, declared.housing_ref_k, declared.tau_s)
