"""What is seen on a burner, as weighted hypotheses: contents, finish, emissivity, temperature.

One band cannot tell a cool dark surface from a hot shiny one. What can is told by the cook or
follows from physics: no burner heats a pan faster than its power allows, water does not pass its
boiling point, and a hold at the boiling point speaks for water. Each hypothesis turns the same
apparent temperature into its own temperature; the weights say which of them still stand, and the
interval spans all that do.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.physics.compiled import family
from trivet.physics.radiation import scenepass
from trivet.physics.radiation.planck import Band, band_radiance, band_radiance_slope
from trivet.physics.radiation.scenepass import SERIES_LANES, band_series, evaluate_lanes

compiled = family(Path(__file__), Path(scenepass.__file__))

EVIDENCE_CAP = 18.0  # own estimate: no piece of evidence weighs more than e^-18
UNEXPLAINED = -40.0  # own estimate: log of the weight where no temperature explains the signal
AGAINST = 3  # pieces of evidence: heated too fast, water too hot, too hot to be a pan


@dataclass(frozen=True)
class Hypothesis:
    """One way to read a burner.

    of : index in OF_WORDS
    prior : weight before any frame; need not be normalised
    fastest_kps : fastest heating that the burner can give this surface [K/s]
    """

    label: str
    of: int
    is_water: bool
    emissivity: float
    emissivity_u: float
    prior: float
    fastest_kps: float


@dataclass(frozen=True)
class SurfaceReading:
    """Temperature under each hypothesis, (time, hypothesis).

    temperature_k, u_k : with standard uncertainty, emissivity included [K]
    slope : kelvin of surface for one kelvin of apparent temperature
    """

    temperature_k: FloatArray
    u_k: FloatArray
    slope: FloatArray


def read_surface(
    scene_k: FloatArray,
    *,
    hypotheses: tuple[Hypothesis, ...],
    surround_k: float,
    surround_u_k: float,
    scene_u_k: FloatArray,
    band: Band,
) -> SurfaceReading:
    """Return temperature and uncertainty of a burner's surface under each hypothesis.

    Inverts L = eps L_b(T) + (1 - eps) L_b(T_s) for each hypothesis and propagates to first order
    the emissivity, the surroundings and the apparent temperature.

    scene_k : (time,) apparent temperature before the window [K]
    hypotheses : ways to read the burner
    surround_k, surround_u_k : radiative temperature of the surroundings and its u [K]
    scene_u_k : (time,) standard uncertainty of the apparent temperature [K]
    Returns : NaN where no temperature explains the signal under a hypothesis
    Notes : Flat 8-14 um, 230 C, surroundings 30 C: u(eps) of 0.02 gives 1.5 K at 0.95 and 16 K at
        0.20; 10 K of surroundings gives 0.2 K and 21 K.
    Source : JCGM 100:2008, 5.1.2, for the propagation
    """
    surface = np.array([[one.emissivity, one.emissivity_u] for one in hypotheses]).reshape(-1, 2)
    shape = (scene_k.size, surface.shape[0])
    reading = SurfaceReading(np.empty(shape), np.empty(shape), np.empty(shape))
    _read(
        (
            np.atleast_1d(band_radiance(scene_k, band=band)),
            np.atleast_1d(band_radiance_slope(scene_k, band=band)),
            scene_u_k,
        ),
        surface,
        (
            float(band_radiance(surround_k, band=band)),
            float(band_radiance_slope(surround_k, band=band)) * surround_u_k,
        ),
        band_series(band),
        (reading.temperature_k, reading.u_k, reading.slope),
    )
    return reading


@compiled
def _read(scene: Any, surface: Any, mirror: Any, series: Any, out: Any) -> None:
    radiance, slope_scene, scene_u = scene
    mirrored, mirrored_u = mirror
    temperature, u, slope = out
    root, kelvin = np.empty(SERIES_LANES), np.empty(SERIES_LANES)
    at, rate = np.empty(SERIES_LANES), np.empty(SERIES_LANES)
    for t in range(radiance.size):
        for start in range(0, surface.shape[0], SERIES_LANES):
            count = min(SERIES_LANES, surface.shape[0] - start)
            root[:] = np.nan
            for k in range(count):
                eps = surface[start + k, 0]
                root[k] = np.sqrt(np.sqrt((radiance[t] - (1 - eps) * mirrored) / eps))
            evaluate_lanes(root, series.inverse, kelvin)
            evaluate_lanes(kelvin, series.forward, at)
            evaluate_lanes(kelvin, series.slope, rate)
            for k in range(count):
                eps, eps_u = surface[start + k, 0], surface[start + k, 1]
                slope_t = 4.0 * at[k] * at[k] * at[k] * rate[k]
                emitted = (radiance[t] - (1 - eps) * mirrored) / eps
                by_eps = (mirrored - emitted) / slope_t / eps * eps_u
                by_mirror = (1 - eps) / eps * mirrored_u / slope_t
                by_scene = slope_scene[t] / (eps * slope_t)
                own = by_scene * scene_u[t]
                temperature[t, start + k] = kelvin[k]
                u[t, start + k] = math.sqrt(by_eps * by_eps + by_mirror * by_mirror + own * own)
                slope[t, start + k] = by_scene


def no_evidence(hypotheses: int) -> FloatArray:
    """Return the memory of a burner about which nothing has been learnt.

    hypotheses : number of hypotheses
    Returns : (evidence, hypothesis) largest penalty so far of each piece of evidence
    Notes : Zero penalises nothing.
    """
    return np.zeros((AGAINST, hypotheses))


def posterior_weights(
    reading: SurfaceReading,
    *,
    hypotheses: tuple[Hypothesis, ...],
    scene_rate_kps: FloatArray,
    boiling_k: float,
    plateau_s: FloatArray,
    hottest_k: float = 700.0,
    evidence: FloatArray | None = None,
) -> FloatArray:
    """Return the weight of each hypothesis at every moment, from evidence up to then.

    Three pieces of physics speak. A hypothesis whose surface would have heated faster than its
    burner can is penalised by the largest excess so far; water hotter than its boiling point
    likewise; a hold of the apparent temperature near boiling raises water by up to e^4.

    hypotheses : ways to read the burner
    scene_rate_kps : (time,) slope of the apparent temperature over a trailing span, NaN withheld
        [K/s]
    boiling_k : boiling point at the altitude [K]
    plateau_s : (time,) for how long the apparent temperature has held still [s]
    hottest_k : temperature above which no pan is believed to be [K]
    evidence : (evidence, hypothesis), optional from :func:`no_evidence`, continued in place from
        block to block
    Returns : (time, hypothesis) weights that sum to 1
    Notes : The excess is judged against a standard deviation of 20 % of the fastest rate plus 0.05
        K/s, and each penalty is capped at e^-18, so no piece of evidence alone decides against all
        others for good.
    Source : Bayes' rule; the energy balance of a pan with no losses bounds its rate
    """
    prior = np.array([one.prior for one in hypotheses])
    table = np.stack(
        [
            np.log(prior / prior.sum()),
            np.array([one.fastest_kps for one in hypotheses]),
            np.array([one.is_water for one in hypotheses], np.float64),
        ]
    )
    worst = no_evidence(len(hypotheses)) if evidence is None else evidence
    weight = np.empty(reading.temperature_k.shape)
    moments = (scene_rate_kps, plateau_s)
    limits = (boiling_k, hottest_k)
    surfaces = (reading.temperature_k, reading.u_k, reading.slope)
    _weigh(surfaces, table, moments, limits, worst, weight)
    return weight


@compiled
def _weigh(reading: Any, table: Any, moments: Any, limits: Any, worst: Any, out: Any) -> None:  # noqa: PLR0917
    temperature, u, slope = reading
    prior, fastest, water = table
    boiling, hottest = limits
    for t in range(out.shape[0]):
        rate = 0.0 if math.isnan(moments[0][t]) else moments[0][t]
        held = min(moments[1][t] / 10.0, 4.0)
        largest = -np.inf
        for k in range(out.shape[1]):
            log_weight = UNEXPLAINED
            if math.isfinite(temperature[t, k]):
                spread = u[t, k] if math.isfinite(u[t, k]) else 0.0
                above = temperature[t, k] - boiling
                excess = rate * slope[t, k] - fastest[k]
                _raise(worst, 0, k, excess / (0.2 * fastest[k] + 0.05))
                _raise(worst, 2, k, (temperature[t, k] - hottest) / 20.0)
                log_weight = prior[k]
                if water[k] > 0.0:
                    _raise(worst, 1, k, above / (1.0 + spread))
                    z = above / (2.0 + spread)
                    log_weight += held * math.exp(-0.5 * z * z)
                log_weight -= worst[0, k] + worst[1, k] + worst[2, k]
            out[t, k] = log_weight
            largest = max(largest, log_weight)
        total = 0.0
        for k in range(out.shape[1]):
            out[t, k] = math.exp(out[t, k] - largest)
            total += out[t, k]
        for k in range(out.shape[1]):
            out[t, k] /= total


@compiled
def _raise(worst: Any, piece: int, k: int, z: float) -> None:
    """Half the squared largest excess so far, in standard deviations, capped."""
    if z > 0.0:
        worst[piece, k] = max(worst[piece, k], min(0.5 * z * z, EVIDENCE_CAP))


def weighted_sum(weight: FloatArray, *, of: FloatArray) -> FloatArray:
    """Return the weighted sum over hypotheses, at every moment.

    weight : (time, hypothesis)
    of : (time, hypothesis) what is summed; NaN counts as 0
    Returns : (time,) unit of ``of``
    Notes : Summed in the hypotheses' order, so that a moment does not depend on its block.
    """
    out = np.empty(weight.shape[0])
    _weighted_sum(weight, of, out)
    return out


@compiled
def _weighted_sum(weight: Any, of: Any, out: Any) -> None:
    for t in range(out.size):
        total = 0.0
        for k in range(weight.shape[1]):
            total += 0.0 if math.isnan(of[t, k]) else weight[t, k] * of[t, k]
        out[t] = total


def group_weights(weight: FloatArray, *, group: IntArray, groups: int) -> FloatArray:
    """Return how much each group of hypotheses weighs, at every moment.

    weight : (time, hypothesis)
    group : (hypothesis,) number of each one's group, from 0
    groups : number of groups
    Returns : (time, group) sums to 1 over the groups where the weights do
    Notes : Summed in the hypotheses' order, so that a moment does not depend on its block.
    """
    out = np.zeros((weight.shape[0], groups))
    _group_weights(weight, group, out)
    return out


@compiled
def _group_weights(weight: Any, group: Any, out: Any) -> None:
    for t in range(out.shape[0]):
        for k in range(weight.shape[1]):
            out[t, group[k]] += weight[t, k]


MIN_U_K, CLOSE_K = 1e-3, 1e-9  # own estimate: of a part; where the search for a quantile ends
MIN_PART = 1e-11  # own estimate: parts under this share of the whole are left out
NORMAL_END = 8.0  # own estimate: sigmas beyond which a normal distribution has ended, 1e-15
STEEPEST = 0.5 * NORMAL_END  # a Newton step s leaves at most STEEPEST s^2 / u
MAX_NEWTON = 200  # own estimate: halving alone needs 60
ROOT_HALF, DENSITY = math.sqrt(0.5), 1.0 / math.sqrt(2.0 * math.pi)  # of the normal distribution


def mixture_quantiles(
    centre_k: FloatArray,
    *,
    u_k: FloatArray,
    weight: FloatArray,
    levels: tuple[float, ...],
    last_k: FloatArray | None = None,
) -> FloatArray:
    """Return quantiles of a mixture of normal distributions at every moment.

    centre_k, u_k : (time, part) mean and standard deviation of each part; NaN leaves a part out [K]
    weight : (time, part)
    levels : probabilities of the quantiles [-]
    last_k : (level,), optional where the search begins, NaN anywhere; continued in place from block
        to block [K]
    Returns : (time, level) [K]; NaN where no part stands
    Notes : Newton steps held inside a shrinking bracket, to 1e-9 K where the density is over 1e-6
        /K; a standard deviation under 1 mK counts as 1 mK.
    Source : Finite mixture of normal distributions, textbook form
    """
    out = np.empty((centre_k.shape[0], len(levels)))
    at = np.full(len(levels), np.nan) if last_k is None else last_k
    _quantiles((centre_k, u_k, weight), np.array(levels), at, out)
    return out


@compiled
def _quantiles(mixture: Any, levels: Any, at: Any, out: Any) -> None:
    centre, u, weight = mixture
    parts = np.empty((3, centre.shape[1]))
    for t in range(out.shape[0]):
        count, total = _standing(centre[t], u[t], weight[t], parts)
        for n in range(levels.size):
            at[n] = _quantile(parts, count, levels[n] * total, at[n]) if count else np.nan
            out[t, n] = at[n]


@compiled
def _standing(centre: Any, u: Any, weight: Any, parts: Any) -> Any:
    """Lay out centre, 1 / u and share of the parts that stand; return their number and sum."""
    whole = 0.0
    for k in range(centre.size):
        if math.isfinite(centre[k]):
            whole += weight[k]
    count, total = 0, 0.0
    for k in range(centre.size):
        if math.isfinite(centre[k]) and weight[k] > MIN_PART * whole:
            spread = u[k] if math.isfinite(u[k]) else 1.0
            parts[0, count] = centre[k]
            parts[1, count] = 1.0 / max(spread, MIN_U_K)
            parts[2, count] = weight[k]
            total += weight[k]
            count += 1
    return count, total


@compiled
def _quantile(parts: Any, count: int, wanted: float, guess: float) -> float:
    low, high, sharpest = np.inf, -np.inf, 0.0
    for k in range(count):
        sharpest = max(sharpest, parts[1, k])
        low = min(low, parts[0, k] - NORMAL_END / parts[1, k])
        high = max(high, parts[0, k] + NORMAL_END / parts[1, k])
    at = guess if low < guess < high else 0.5 * (low + high)
    before = high - low
    for _ in range(MAX_NEWTON):
        reached, density = _distribution(parts, count, at)
        if reached > wanted:
            high = at
        else:
            low = at
        # A step that leaves the bracket, or hardly shrinks, gives way to halving.
        step = (wanted - reached) / density if density > 0.0 else np.inf
        newton = low < at + step < high and abs(step) <= 0.5 * before
        if not newton:
            step = 0.5 * (low + high) - at
        before = abs(step)
        at += step
        left = min(before, STEEPEST * sharpest * step * step) if newton else before
        if left < CLOSE_K:
            break
    return at


@compiled
def _distribution(parts: Any, count: int, at: float) -> Any:
    """Mixture's distribution and density at a point."""
    reached, density = 0.0, 0.0
    for k in range(count):
        z = (at - parts[0, k]) * parts[1, k]
        if z >= NORMAL_END:
            reached += parts[2, k]
        elif z > -NORMAL_END:
            reached += parts[2, k] * 0.5 * math.erfc(-z * ROOT_HALF)
            density += parts[2, k] * parts[1, k] * DENSITY * math.exp(-0.5 * z * z)
    return reached, density
