"""The window of a head from fixed points, water at a rolling boil and cold water; and its trend.

A pot at a rolling boil has a known temperature at a known altitude. The boil shows the window,
since the scene is far warmer than it; the same pot before heating has nearly the window's
temperature and shows the offset. Whether the window lets less through than it did is told by a
one-sided cumulative sum over cooks.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.optimize import brentq
from scipy.special import ndtr

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.radiation.planck import Band

GAUSS_NEWTON_ROUNDS = 6  # own estimate: settled after 3
FREE_TAU_U = 0.5  # own estimate: transmittance before any boil, as good as unknown
MIN_BOIL_LEVER_K = 30.0  # own estimate: over the window, before a boil shows its transmittance
BOIL_WIDTH_K = 1.5  # own estimate: a rolling boil under a lid of steam, probe in the water
MIN_BOIL_S = 60.0  # own estimate
PROBE_SIGMAS = 2.6  # own estimate: 99 % of a normal probe error
CALM_S, CALM_KPS = 20.0, 0.03  # own estimate: a boil holds its temperature, slower than this


@dataclass(frozen=True)
class FixedPoints:
    """Means over calm moments of one head, each with its reference.

    apparent_k, u_k : (point,) mean and independent part of its u, steam included [K]
    true_k, true_u_k : (point,) of the water's surface: boiling point, or its probe [K]
    window_k, housing_k : (point,) of the head meanwhile [K]
    drift_terms : (point, 4) of :func:`trivet.physics.sensor.drift.drift_terms`
    cook : (point,) number of its cook
    """

    apparent_k: FloatArray
    u_k: FloatArray
    true_k: FloatArray
    true_u_k: FloatArray
    window_k: FloatArray
    housing_k: FloatArray
    drift_terms: FloatArray
    cook: IntArray


@dataclass(frozen=True)
class FixedPointPriors:
    """What is known before, with standard uncertainties: surface, mirror, drift (4) and gain."""

    emissivity: float
    emissivity_u: float
    reflected_k: float
    reflected_u_k: float
    drift: FloatArray
    drift_covariance: FloatArray
    gain_u: float


@dataclass(frozen=True)
class WindowFit:
    """Transmittance and offset that explain the fixed points.

    ``offset_k`` is what the head reads over the declared drift at the boil; the covariance is of
    transmittance and offset. ``each`` and ``each_u`` give the transmittance cook by cook with its
    independent uncertainty alone.
    """

    transmittance: float
    transmittance_u: float
    offset_k: float
    offset_u_k: float
    covariance: FloatArray
    each: FloatArray
    each_u: FloatArray
    reduced_chi2: float


def boil_moments(
    reading_k: npt.ArrayLike, *, time_s: npt.ArrayLike, boiling_k: float, u_k: float
) -> BoolArray:
    """Return at which moments a probe in the water says that it boils.

    reading_k : (time,) probe in the water [K]
    time_s : (time,) moments, increasing [s]
    boiling_k : boiling point at the place [K]
    u_k : standard uncertainty of the probe at the boil [K]
    Returns : (time,) true in stretches of 60 s or more that stay within 1.5 K of the boiling point,
        or within 2.6 of the probe's standard uncertainties where that is more, and hold their
        temperature within 0.03 K/s
    Raises : NotEnoughDataError if there is no such stretch: the pot never boiled
    Notes : Water simmers, and holds, at 90 to 96 C on a low burner: that plateau is no fixed point
        and is 4 to 10 K too cold, 0.05 to 0.12 of transmittance at 0.85. A probe of u 0.9 K allows
        2.3 K, one of 2 K 5.2 K and then takes a simmer for a boil: use a corrected probe, or call
        the boil.
    Source : Boiling point as in :func:`trivet.physics.heat.water.boiling_point_k`
    """
    reading, time = np.asarray(reading_k, dtype=np.float64), np.asarray(time_s, dtype=np.float64)
    allowed = max(BOIL_WIDTH_K, PROBE_SIGMAS * u_k)
    near = np.isfinite(reading) & (np.abs(reading - boiling_k) <= allowed)
    known = np.isfinite(reading)
    if known.sum() > 1:
        ahead, behind = (
            np.interp(time + half, time[known], reading[known])
            for half in (CALM_S / 2, -CALM_S / 2)
        )
        near &= np.abs(ahead - behind) <= CALM_KPS * CALM_S
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(int), [0]])))
    found = np.zeros(near.size, dtype=np.bool_)
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if time[last - 1] - time[first] >= MIN_BOIL_S:
            found[first:last] = True
    if not found.any():
        hottest = float(np.nanmax(reading)) if np.isfinite(reading).any() else math.nan
        raise NotEnoughDataError(
            f"the water never boiled: its probe reached {hottest - ZERO_C_K:.1f} C, and no 60 s "
            f"were spent within {allowed:.1f} K of the boiling point, {boiling_k - ZERO_C_K:.1f} C"
        )
    return found


def fit_fixed_points(points: FixedPoints, *, prior: FixedPointPriors, band: Band) -> WindowFit:
    """Return window transmittance and offset that explain the fixed points of one head.

    Least squares of the apparent temperatures on transmittance (free), the four drift terms,
    emissivity, mirror, gain (each with its prior), and the points' own temperatures.

    Raises : NotEnoughDataError if no point is 30 K over the window; OutOfRangeError if an
        uncertainty is not positive, or the best transmittance is not in (0, 1.02]: the pot did not
        fill the pixels, or steam stood over it
    Notes : Flat 8-14 um, boil at 99.6 C, window at 37 C, transmittance 0.85: 1 K of offset is 0.013
        of transmittance, 0.01 of the water's emissivity 0.010, 0.3 K of boiling point 0.004. With a
        sensor as declared (offset 1.2 K, gain 1.2 %, wake 1.7 K) two boils give the transmittance
        to 0.028, with cold water before them to 0.025; with a fitted drift of 0.3 K to 0.019.
        Emissivity and transmittance only show as a product: the water's emissivity bounds what any
        number of boils can tell.
    Source : Gauss-Newton with priors as data; the radiometric equation of measurement.py
    """
    lever = points.true_k - points.window_k
    if not np.any(lever >= MIN_BOIL_LEVER_K):
        raise NotEnoughDataError(
            f"no fixed point is {MIN_BOIL_LEVER_K:g} K over the window; the warmest is "
            f"{float(lever.max()) if lever.size else math.nan:.0f} K over it: boil the water"
        )
    if np.any(points.u_k <= 0) or np.any(points.true_u_k <= 0) or prior.emissivity_u <= 0:
        raise OutOfRangeError("fixed points: every standard uncertainty must be above 0")
    u = _joint_u(points)
    prior_u = np.concatenate([[FREE_TAU_U, prior.emissivity_u, prior.reflected_u_k]])
    drift_root: FloatArray = np.linalg.cholesky(prior.drift_covariance + 1e-12 * np.eye(4)).astype(
        np.float64
    )
    at = np.concatenate([[0.8, prior.emissivity, prior.reflected_k, 0.0], np.zeros(4)])
    start = at.copy()
    scale = np.concatenate([prior_u, [prior.gain_u], np.ones(4)])
    covariance: FloatArray = np.eye(at.size)
    left = np.zeros(points.apparent_k.size)
    for _ in range(GAUSS_NEWTON_ROUNDS):
        left, slope = _linearised(points, at, prior=prior, root=drift_root, band=band)
        normal = (slope / u[:, None] ** 2).T @ slope + np.diag(1.0 / scale**2)
        right = (slope / u[:, None] ** 2).T @ left + (start - at) / scale**2
        covariance = np.linalg.inv(normal).astype(np.float64)
        at = at + covariance @ right
        at[0] = min(max(at[0], 0.05), 1.2)
        at[1] = min(max(at[1], 0.5), 1.0)
    left, slope = _linearised(points, at, prior=prior, root=drift_root, band=band)
    if not 0.05 < at[0] <= 1.02:
        raise OutOfRangeError(
            f"the fixed points ask for a window of {at[0]:.2f}; allowed: 0.05 to 1.02. Steam over "
            "the pot, pixels that see its wall, or another band"
        )
    warm = lever >= MIN_BOIL_LEVER_K
    mean_terms = points.drift_terms[warm].mean(axis=0) @ drift_root
    turn = np.zeros((2, at.size))
    turn[0, 0], turn[1, 4:] = 1.0, mean_terms
    both = turn @ covariance @ turn.T
    spare = max(left.size - 1, 1)
    each, each_u = _each(points, left, slope[:, 0], warm=warm, tau=float(at[0]))
    return WindowFit(
        transmittance=float(at[0]),
        transmittance_u=float(np.sqrt(both[0, 0])),
        offset_k=float(mean_terms @ at[4:]),
        offset_u_k=float(np.sqrt(both[1, 1])),
        covariance=both,
        each=each,
        each_u=each_u,
        reduced_chi2=float(((left / u) ** 2).sum() / spare),
    )


def _joint_u(points: FixedPoints) -> FloatArray:
    """Independent uncertainty of a point: its signal, and its temperature (slope about 1)."""
    return np.asarray(np.hypot(points.u_k, points.true_u_k), dtype=np.float64)


def _model(
    points: FixedPoints, at: FloatArray, *, prior: FixedPointPriors, root: FloatArray, band: Band
) -> FloatArray:
    """Apparent temperature of each point for (tau, emissivity, mirror, gain, drift steps)."""
    sight = LineOfSight(
        emissivity=min(float(at[1]), 1.0),
        reflected_k=float(at[2]),
        transmittance=min(float(at[0]), 1.0),
        window_k=points.window_k,
        gain=float(at[3]),
        housing_k=points.housing_k,
    )
    apparent = np.asarray(sighted_apparent_k(points.true_k, sight=sight, band=band))
    if at[0] > 1.0:  # linear in the transmittance, which may pass 1 on the way to the answer
        part = sighted_apparent_k(points.true_k, sight=replace(sight, transmittance=0.8), band=band)
        apparent = apparent + (apparent - np.asarray(part)) / 0.2 * (float(at[0]) - 1.0)
    return apparent + points.drift_terms @ (prior.drift + root @ at[4:])


def _linearised(
    points: FixedPoints, at: FloatArray, *, prior: FixedPointPriors, root: FloatArray, band: Band
) -> tuple[FloatArray, FloatArray]:
    base = _model(points, at, prior=prior, root=root, band=band)
    steps = np.concatenate([[-1e-3, -1e-3, 0.1, 1e-4], np.full(4, 1e-2)])
    columns = []
    for k, step in enumerate(steps):
        moved = at.copy()
        moved[k] += step
        shifted = _model(points, moved, prior=prior, root=root, band=band)
        columns.append((shifted - base) / step)
    return points.apparent_k - base, np.stack(columns, axis=1)


def _each(
    points: FixedPoints,
    left: FloatArray,
    slope: FloatArray,
    *,
    warm: BoolArray,
    tau: float,
) -> tuple[FloatArray, FloatArray]:
    """Transmittance cook by cook: what is left at its boils, turned into transmittance."""
    u = _joint_u(points)
    each, each_u = [], []
    for cook in np.unique(points.cook[warm]):
        mine = warm & (points.cook == cook)
        weight = (slope[mine] / u[mine]) ** 2
        each.append(tau + float((weight * left[mine] / slope[mine]).sum() / weight.sum()))
        each_u.append(1.0 / math.sqrt(float(weight.sum())))
    return np.array(each), np.array(each_u)


MIN_BASELINE = 3  # own estimate: cooks with a clean window
CELLS = 100  # own estimate: mean lengths within 0.5 % of the printed ones
MIN_LIMIT = 0.5  # own estimate: standard deviations, where the search for a limit begins
FALSE_CALL_FRAC, RUN_COOKS = 0.01, 100  # own estimate: one false call in a hundred such runs


@dataclass(frozen=True)
class WindowTrend:
    """The sum over cooks, and what it says.

    ``lost_at`` is the cook at which the loss was called, None without one; ``since`` the first cook
    after the change, as the sum dates it.
    """

    sums: FloatArray
    limit: float
    allowance: float
    baseline: float
    lost_at: int | None
    since: int
    loss_frac: float
    """Share lost since then; NaN without a call."""


def cusum_run(limit: float, *, allowance: float, shift: float, n: int) -> tuple[float, float]:
    """Return the chance of a call within n steps and the mean number of steps to one.

    limit : sum at which a call is made, in standard deviations of a step
    allowance : what is taken off each step, in standard deviations
    shift : true mean of a step, in standard deviations
    n : steps
    Returns : chance, mean length
    Raises : OutOfRangeError if the limit is not above 0, or n under 1
    Notes : Exact but for 100 cells: mean lengths within 0.5 % of the printed ones.
    Source : D. Brook and D. A. Evans, Biometrika 59 (1972) 539-549: the sum as a Markov chain.
    """
    if limit <= 0 or n < 1:
        raise OutOfRangeError(f"cumulative sum: limit {limit}, {n} steps; allowed: above 0, from 1")
    width = 2.0 * limit / (2 * CELLS - 1)
    to = np.arange(CELLS) * width
    start = to[:, None]
    high = ndtr(to[None, :] + width / 2 - start + allowance - shift)
    low = ndtr(to[None, :] - width / 2 - start + allowance - shift)
    low[:, 0] = 0.0
    step = high - low
    state = np.zeros(CELLS)
    state[0] = 1.0
    for _ in range(n):
        state = state @ step
    mean = np.linalg.solve(np.eye(CELLS) - step, np.ones(CELLS))
    return float(1.0 - state.sum()), float(mean[0])


def cusum_limit(allowance: float, *, false_frac: float, n: int, baseline_u: float = 0.0) -> float:
    """Return the limit that is passed by chance in a share of runs of n steps.

    allowance : what is taken off each step, in standard deviations
    false_frac : allowed share of runs with a false call, 0 to 1
    n : steps of a run
    baseline_u : standard uncertainty of the level that the steps are counted from, in standard
        deviations of a step: a run's steps share its error
    Returns : limit in standard deviations of a step
    Raises : OutOfRangeError if the share is not between 0 and 1
    Notes : For one false call in a hundred runs of 100 cooks: 7.3 at an allowance of 0.5, 3.8 at
        1.0, 2.1 at 1.75.
    Source : As :func:`cusum_run`
    """
    if not 0 < false_frac < 1:
        raise OutOfRangeError(f"share of false calls {false_frac}; allowed: between 0 and 1")

    return _limit(round(allowance, 2), false_frac, n, round(baseline_u, 2))


@lru_cache(maxsize=64)
def _limit(allowance: float, false_frac: float, n: int, baseline_u: float) -> float:
    nodes, weights = np.polynomial.hermite_e.hermegauss(7 if baseline_u > 0 else 1)
    weights = weights / weights.sum()

    def excess(limit: float) -> float:
        chances = [
            cusum_run(limit, allowance=allowance, shift=float(node) * baseline_u, n=n)[0]
            for node in nodes
        ]
        return float(weights @ np.array(chances)) - false_frac

    if excess(MIN_LIMIT) <= 0:
        return MIN_LIMIT
    return float(brentq(excess, MIN_LIMIT, 100.0, xtol=1e-2))


def window_trend(
    transmittance: npt.ArrayLike,
    *,
    u: npt.ArrayLike,
    first: int = 5,
    loss_frac: float = 0.05,
) -> WindowTrend:
    """Return whether the window has lost transmittance over the cooks.

    transmittance : (cook,) as each cook's fixed point shows it, in order of time
    u : (cook,) standard uncertainty of each, without what all cooks share
    first : cooks that stand for the clean window
    loss_frac : share of the transmittance whose loss matters
    Raises : NotEnoughDataError for fewer than three cooks with the clean window; OutOfRangeError if
        an uncertainty or the loss is not positive
    Notes : The limit is set for a false call in 1 % of runs of 100 cooks, the doubt of the baseline
        included; half of the loss is taken off each step. With 1.2 % a cook and five clean ones a
        sudden loss of 5 % is called after 1 to 2 cooks (95 %: 5), one that grows evenly to 5 % over
        20 cooks by the 20th in 96 % of runs; with 1.5 % a cook 98 % and 82 %, with 2 % 81 % and 45
        %. What all cooks share, such as the water's emissivity, cancels.
    Source : E. S. Page, Biometrika 41 (1954) 100-115; Brook and Evans (1972) for the limit
    """
    tau, spread = np.asarray(transmittance, float), np.asarray(u, float)
    first = min(first, tau.size)
    if first < MIN_BASELINE:
        raise NotEnoughDataError(
            f"{first} boils with a clean window; needed: {MIN_BASELINE} before a loss can be told"
        )
    if np.any(~(spread > 0)) or not 0 < loss_frac < 1:
        raise OutOfRangeError("window trend: uncertainties and loss must be above 0")
    scatter = float(np.std(tau[:first], ddof=1))
    # a few cooks cannot show a scatter smaller than stated: the larger one counts
    own = spread if scatter <= float(np.median(spread)) else np.maximum(spread, scatter)
    weight = 1.0 / own[:first] ** 2
    baseline = float((weight * tau[:first]).sum() / weight.sum())
    doubt = 1.0 / math.sqrt(float(weight.sum()))
    typical = float(np.median(own))
    allowance = 0.5 * loss_frac * baseline / typical
    limit = cusum_limit(
        allowance, false_frac=FALSE_CALL_FRAC, n=RUN_COOKS, baseline_u=doubt / typical
    )
    sums, since, lost_at = np.zeros(tau.size), first, None
    total, begin = 0.0, first
    for k in range(first, tau.size):
        total = total + (baseline - tau[k]) / own[k] - allowance
        if total <= 0:
            total, begin = 0.0, k + 1
        sums[k] = total
        if total > limit and lost_at is None:
            lost_at, since = k, begin
    lost = math.nan
    if lost_at is not None:
        after = 1.0 / own[since:] ** 2
        lost = 1.0 - float((after * tau[since:]).sum() / after.sum()) / baseline
    return WindowTrend(sums, limit, allowance, baseline, lost_at, since, lost)
