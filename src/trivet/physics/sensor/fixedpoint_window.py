"""Window and offset of a head from fixed points: water at a rolling boil, and cold water.

A pot at a rolling boil has a known temperature at a known altitude. The boil shows the window,
since the scene is far warmer than it; the same pot before heating has nearly the window's
temperature and shows the offset.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.errors import NotEnoughDataError, OutOfRangeError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.radiation.planck import Band

ROUNDS = 6
FREE_TAU_U = 0.5
"""Standard uncertainty of the transmittance before any boil: as good as unknown."""
MIN_LEVER_K = 30.0
"""A boil must be this much over the window before it shows its transmittance."""
BOIL_WIDTH_K = 1.5
MIN_BOIL_S = 60.0
PROBE_SIGMAS = 2.6
CALM_S = 20.0
CALM_KPS = 0.03
"""A boil holds its temperature: slower than this over 20 s."""


@dataclass(frozen=True)
class FixedPoints:
    """Means over calm moments of one head, each with its reference; ``cook`` numbers the cooks.

    ``drift_terms`` are those of :func:`trivet.physics.sensor.drift.drift_terms`.
    """

    apparent_k: FloatArray
    """(point,)"""
    u_k: FloatArray
    """(point,) independent part of its standard uncertainty, steam included. [K]"""
    true_k: FloatArray
    """(point,) of the water's surface: boiling point, or its probe. [K]"""
    true_u_k: FloatArray
    """(point,) [K]"""
    window_k: FloatArray
    """(point,)"""
    housing_k: FloatArray
    """(point,)"""
    drift_terms: FloatArray
    """(point, 4)"""
    cook: IntArray
    """(point,)"""


@dataclass(frozen=True)
class FixedPointPriors:
    """What is known before: surface, mirror, drift and gain, each with standard uncertainty."""

    emissivity: float
    emissivity_u: float
    reflected_k: float
    reflected_u_k: float
    drift: FloatArray
    """(4,)"""
    drift_covariance: FloatArray
    """(4, 4)"""
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
            f"the water never boiled: its probe reached {hottest - 273.15:.1f} C, and no 60 s were "
            f"spent within {allowed:.1f} K of the boiling point of {boiling_k - 273.15:.1f} C"
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
    if not np.any(lever >= MIN_LEVER_K):
        raise NotEnoughDataError(
            f"no fixed point is {MIN_LEVER_K:g} K over the window; the warmest is "
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
    for _ in range(ROUNDS):
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
    warm = lever >= MIN_LEVER_K
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
    drift = points.drift_terms @ (prior.drift + root @ at[4:])
    sight = LineOfSight(
        emissivity=min(float(at[1]), 1.0),
        reflected_k=float(at[2]),
        transmittance=1.0,
        window_k=points.window_k,
        gain=float(at[3]),
        housing_k=points.housing_k,
    )
    # linear in the transmittance, which may pass 1 on the way to the answer
    bare = np.asarray(sighted_apparent_k(points.true_k, sight=sight, band=band))
    base = LineOfSight(sight.emissivity, sight.reflected_k, 0.8, points.window_k, gain=float(at[3]),
                 housing_k=points.housing_k)  # fmt: skip
    if at[0] <= 1.0:
        base = LineOfSight(sight.emissivity, sight.reflected_k, float(at[0]), points.window_k,
                     gain=float(at[3]), housing_k=points.housing_k)  # fmt: skip
        return np.asarray(sighted_apparent_k(points.true_k, sight=base, band=band)) + drift
    part = np.asarray(sighted_apparent_k(points.true_k, sight=base, band=band))
    return bare + (bare - part) / 0.2 * (float(at[0]) - 1.0) + drift


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
