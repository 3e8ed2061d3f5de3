"""Error budgets: first and second order, Monte Carlo, and shares of the variance."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.radiation.measurement import LineOfSight, explained_radiance, sighted_apparent_k
from trivet.physics.radiation.planck import band_radiance, radiating_temperature_k
from trivet.physics.statistics.errordraws import (
    FIELDS,
    TermSpread,
    reading_errors_k,
    sobol_points,
    total_order_shares,
)
from trivet.stages.predict.cases import (
    Cases,
    Pair,
    Term,
    correlated_units,
    groups_of,
    matrix_of,
)

BUDGET_DRAWS = 20_000  # own estimate: the half-width of a normal is good to 1 %
SHARE_POINTS = 512  # own estimate: a share is good to 0.03; a power of two for the Sobol set
CASES_AT_ONCE = 4  # own estimate: keeps the draws of a block near the processor
SECOND_ORDER_FRAC = 1.0 / 3.0
"""Own estimate: from this share of the first order on the second adds over 5 %."""
MOVED_FIELDS = tuple(name for name in FIELDS if name not in ("step_k", "housing_k"))
SHARE_FIELDS = {"emissivity", "transmittance", "source_frac", "column_frac"}


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """First-order budget of every case. [K]

    ``contributions`` (term, case) keep their sign, NaN where unknown;
    ``second_order`` (case,) is the root of the terms of second order, ``combined``
    (case,) counts it where it matters.
    """

    contributions: FloatArray
    second_order: FloatArray
    combined: FloatArray


@dataclass(frozen=True, eq=False)
class Drawn:
    """Monte Carlo of each case, (case,): moments, interval, shares that nothing explains."""

    mean: FloatArray
    deviation: FloatArray
    low: FloatArray
    high: FloatArray
    unexplained_frac: FloatArray
    clipped_frac: FloatArray


def error_k(cases: Cases, *, deviations: Mapping[str, FloatArray]) -> FloatArray:
    """Return the error of the reading when inputs deviate from what is believed.

    Parameters
    ----------
    cases : Cases
        (case,) temperatures and beliefs.
    deviations : mapping
        Field to (case, draw) deviation; fields left out do not deviate.

    Returns
    -------
    (case, draw)
        Read minus true temperature [K]; minus or plus infinity where no
        temperature explains the signal, on the side on which it lies.

    Notes
    -----
    Exact to 1e-6 K without deviations.  The plain form of
    :func:`trivet.physics.statistics.errordraws.reading_errors_k`, without the sensor's range.
    """
    truth_k = cases.temperature_k[:, None]
    believed = _columns(cases.sight)
    moved = {
        name: np.asarray(getattr(believed, name)) + deviations[name]
        for name in MOVED_FIELDS
        if name in deviations
    }
    for name in SHARE_FIELDS & moved.keys():
        moved[name] = np.minimum(moved[name], 1.0)  # rounding alone passes 1
    true = replace(believed, **moved)
    step_k = cases.step_k[:, None]
    surface_k = truth_k - step_k
    if "step_k" in deviations:
        surface_k = surface_k - deviations["step_k"]
    band = cases.eye.band
    stated = sighted_apparent_k(surface_k, sight=true, band=band)
    radiance = explained_radiance(stated, sight=believed, band=band)
    read_k = radiating_temperature_k(radiance, band=band) + step_k
    lost = np.isnan(read_k)
    if lost.any():
        cold = radiance < band_radiance(300.0, band=band)
        read_k = np.where(lost, np.where(cold, -np.inf, np.inf), read_k)
    return np.asarray(read_k - truth_k)


def _columns(sight: LineOfSight) -> LineOfSight:
    """Return the sight with every (case,) field as a column."""
    columns = {}
    for name in (*MOVED_FIELDS, "housing_k"):
        value = np.asarray(getattr(sight, name), float)
        columns[name] = value[:, None] if value.ndim else value
    return LineOfSight(**columns)


def _spread(terms: Sequence[Term], *, centred: bool) -> TermSpread:
    """Return how unit numbers move the fields: about the belief, or over each range."""
    field = np.array([FIELDS.index(term.field) for term in terms])
    if centred:
        scale = np.array([term.standard_uncertainty for term in terms])
        return TermSpread(field, np.zeros_like(scale), scale)
    flat = np.array([term.distribution == "rectangular" for term in terms])[:, None]
    low, high = np.array([t.low for t in terms]), np.array([t.high for t in terms])
    return TermSpread(field, np.where(flat, low, 0.0), np.where(flat, high - low, high))


def _errors(
    cases: Cases, spread: TermSpread, units: FloatArray, *, ranged: bool, part: slice | None = None
) -> FloatArray:
    part = slice(None) if part is None else part
    return reading_errors_k(
        cases.temperature_k[part],
        nominal=cases.nominal[part],
        spread=TermSpread(spread.field, spread.shift[:, part], spread.scale[:, part]),
        units=units,
        band=cases.eye.band,
        range_k=cases.range_k if ranged else (-math.inf, math.inf),
    )


def first_order(cases: Cases) -> FirstOrder:
    """Return the budget by derivatives, with correlations and the second order.

    Parameters
    ----------
    cases : Cases
        (case,) with their terms and the pairs that err together.

    Returns
    -------
    FirstOrder
        Signed contribution of each term, the second order, and all combined.

    Notes
    -----
    Central differences of a tenth of each standard uncertainty about what is
    believed; u^2 = sum c_i c_j r_ij.  Curvatures and mixed differences at one
    standard uncertainty give the second order, taken as independent: kappa - 1
    times a quarter of the squared curvature (kappa 1.8 for rectangles, 3 for
    normals) plus the squared mixed ones.  It is counted from a third of the first
    order on, where it adds 5 %.  Unknown widths and signals that nothing explains
    give NaN; an unknown term that is not needed is left out.

    References
    ----------
    JCGM 100:2008, 5.1.2 with its note, 5.2.2.
    """
    terms = cases.terms
    count, every = len(terms), np.arange(len(terms))
    corners = [(i, j) for i in range(count) for j in range(i)]
    units = np.zeros((count, 4 * count + 1 + 4 * len(corners)))
    for block, step in enumerate((-0.1, 0.1, -1.0, 1.0)):
        units[every, block * count + every] = step
    for at, (i, j) in enumerate(corners):
        start = 4 * count + 1 + 4 * at
        units[i, start : start + 4] = (1.0, 1.0, -1.0, -1.0)
        units[j, start : start + 4] = (1.0, -1.0, 1.0, -1.0)
    error = _errors(cases, _spread(terms, centred=True), units, ranged=False)
    near = error[:, : 4 * count].reshape(-1, 4, count)
    unknown = np.array([np.isnan(term.standard_uncertainty) for term in terms])
    with np.errstate(invalid="ignore"):
        slopes = ((near[:, 1] - near[:, 0]) / 0.2).T
        curved = (near[:, 2] + near[:, 3] - 2.0 * error[:, 4 * count : 4 * count + 1]).T
        mixed = error[:, 4 * count + 1 :].reshape(len(error), len(corners), 4) / 4.0
        mixed = mixed[..., 0] - mixed[..., 1] - mixed[..., 2] + mixed[..., 3]
    contributions = np.where(unknown | ~np.isfinite(slopes), np.nan, slopes)
    flat = np.array([term.distribution == "rectangular" for term in terms])[:, None]
    second = ((np.where(flat, 0.8, 2.0) / 4.0) * curved**2).sum(axis=0) + (mixed**2).sum(axis=1)
    known = np.array([term.known or term.needed for term in terms])
    matrix = matrix_of(terms, pairs=cases.pairs)[np.ix_(known, known)]
    used = contributions[known]
    first = np.einsum("ic,ij,jc->c", used, matrix, used)
    with np.errstate(invalid="ignore"):
        counts = second > (SECOND_ORDER_FRAC**2) * first
        both = np.where(counts & np.isfinite(second), first + second, first)
    return FirstOrder(contributions, np.sqrt(second), np.sqrt(np.maximum(both, 0.0)))


def unit_draws(
    terms: Sequence[Term],
    *,
    generator: np.random.Generator,
    draws: int = BUDGET_DRAWS,
    pairs: Sequence[Pair] = (),
) -> FloatArray:
    """Return (term, draw) numbers: uniform on 0 to 1, or standard normal.

    All cases share them, so that cases differ by their physics and not by luck;
    terms of a pair are drawn together.
    """
    uniform = np.maximum(generator.random((len(terms), draws)), 1e-300)
    return correlated_units(uniform, terms=terms, matrix=matrix_of(terms, pairs=pairs))


def monte_carlo(cases: Cases, *, draws: FloatArray) -> Drawn:
    """Return the distribution of the error of each case.

    Parameters
    ----------
    cases : Cases
        (case,) with their terms.
    draws : (term, draw)
        Of :func:`unit_draws`.

    Returns
    -------
    Drawn
        Mean and deviation of the draws that a temperature explains; ends of the
        interval that leaves 2.5 % on each side, draws without a temperature and
        draws clipped by the sensor's range counted as beyond it.

    Notes
    -----
    At 20,000 draws the half-width of a normal is good to 1 %, at 200,000 to 0.4 %.

    References
    ----------
    JCGM 101:2008, 5.9 and 7.
    """
    count, spread = cases.temperature_k.size, _spread(cases.terms, centred=False)
    rows = []
    for at in range(0, count, CASES_AT_ONCE):
        part = slice(at, min(at + CASES_AT_ONCE, count))
        rows.append(_moments(_errors(cases, spread, draws, ranged=True, part=part)))
    mean, deviation, low, high, lost = (
        np.concatenate(column) for column in zip(*rows, strict=True)
    )
    clipped = np.zeros(count)
    for at in np.flatnonzero(lost > 0.0).tolist():
        free = _errors(cases, spread, draws, ranged=False, part=slice(at, at + 1))
        clipped[at] = max(float(lost[at]) - float(np.isinf(free).mean()), 0.0)
    return Drawn(mean, deviation, low, high, lost - clipped, clipped)


def _moments(
    error: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray, FloatArray]:
    lost = np.isinf(error)
    tail = int(0.025 * error.shape[1])
    ends = np.partition(error, (tail, error.shape[1] - 1 - tail), axis=1)
    low_k, high_k = ends[:, tail].copy(), ends[:, error.shape[1] - 1 - tail].copy()
    if not lost.any():
        return error.mean(axis=1), error.std(axis=1), low_k, high_k, np.zeros(len(error))
    explained = np.where(lost, 0.0, error)
    kept = np.maximum((~lost).sum(axis=1), 1)
    mean = explained.sum(axis=1) / kept
    square = (np.where(lost, 0.0, explained - mean[:, None]) ** 2).sum(axis=1) / kept
    return mean, np.sqrt(square), low_k, high_k, lost.mean(axis=1)


def variance_shares(
    cases: Cases, *, generator: np.random.Generator, points: int = SHARE_POINTS
) -> FloatArray:
    """Return the share of the error's variance in which each term takes part.

    Parameters
    ----------
    cases : Cases
        (case,) with their terms.
    generator : numpy.random.Generator
        Source of the scrambling.
    points : int
        Base points, a power of two. [-]

    Returns
    -------
    (term, case)
        Total-order Sobol indices; terms that err together share one, that of their
        group; NaN for an unknown term.

    Notes
    -----
    Good to 0.03 at 512 points.  Draws without a temperature are set to the largest
    error that has one on their side.

    References
    ----------
    Saltelli et al. (2010); scipy.stats.sobol_indices.
    """
    terms, matrix = cases.terms, matrix_of(cases.terms, pairs=cases.pairs)
    groups = groups_of(matrix)
    uniform = sobol_points(len(terms), groups=groups, generator=generator, count=points)
    units = correlated_units(uniform, terms=terms, matrix=matrix)
    error = _errors(cases, _spread(terms, centred=False), units, ranged=False)
    finite = np.isfinite(error)
    if not finite.all():
        top = np.max(np.where(finite, error, 0.0), axis=1, keepdims=True)
        low = np.min(np.where(finite, error, 0.0), axis=1, keepdims=True)
        error = np.clip(error, low, top)
    found = total_order_shares(error, groups=len(groups))
    shares = np.full((len(terms), error.shape[0]), np.nan)
    for row, group in enumerate(groups):
        for at in group:
            if terms[at].known:
                shares[at] = found[row]
    return shares


def why_they_differ(
    *, u_k: float, u95_k: float, drawn_sd_k: float, interval_k: tuple[float, float], lost: float
) -> str:
    """Return why first order and Monte Carlo differ by more than 5 %, or nothing.

    Parameters
    ----------
    u_k, u95_k : float
        First order: standard and 95 % half-width. [K]
    drawn_sd_k : float
        Standard deviation of the draws. [K]
    interval_k : tuple
        95 % interval of the error by Monte Carlo. [K]
    lost : float
        Share of draws that no temperature explains. [-]

    Returns
    -------
    str
        A sentence, empty where the two agree.
    """
    low, high = interval_k
    half = (high - low) / 2
    if math.isfinite(half) and abs(half - u95_k) <= 0.05 * half:
        return ""
    if not math.isfinite(u95_k):
        return "no first-order figure: an input is unknown or the signal has no temperature"
    reasons = []
    if lost > 0.0:
        reasons.append(f"{lost:.1%} of draws have no temperature and count as beyond the interval")
    if drawn_sd_k > 0.0 and abs(drawn_sd_k - u_k) > 0.05 * drawn_sd_k:
        reasons.append("the equation is not linear over these widths")
    if math.isfinite(half) and abs(high + low) > 0.1 * (high - low):
        reasons.append("ranges are not centred on what is believed, or errors are skewed")
    if half < u95_k:
        reasons.append("a rectangular term leads, so that 1.96 u is wider than 95 %")
    elif not reasons:
        reasons.append("the distribution is not normal")
    change = f"{half / u95_k - 1:+.0%}" if math.isfinite(half) and u95_k > 0 else "unbounded"
    return f"Monte Carlo half-width {change} against first order: " + "; ".join(reasons)
