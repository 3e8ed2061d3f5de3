"""Error budgets: first order and Monte Carlo through one measurement equation."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trivet.kernels.measurement import Sight, explained_radiance, sighted_apparent_k
from trivet.kernels.planck import band_radiance, radiating_temperature_k
from trivet.stages.predict.terms import Cases, Term

Floats = NDArray[np.float64]
DRAWS = 20_000
CHUNK = 4
COVERAGE_FACTOR = 1.959963984540054
FIELDS = (
    "emissivity",
    "reflected_k",
    "transmittance",
    "window_k",
    "source_frac",
    "around_k",
    "offset_k",
    "gain",
)
SHARES = {"emissivity", "transmittance", "source_frac"}


@dataclass(frozen=True, eq=False)
class FirstOrder:
    """Contribution of each term, (term, case), and the combined uncertainty, (case,). [K]"""

    contributions: Floats
    combined: Floats


@dataclass(frozen=True, eq=False)
class Drawn:
    """Monte Carlo of each case, (case,): moments, interval, share that nothing explains."""

    mean: Floats
    deviation: Floats
    low: Floats
    high: Floats
    unexplained_frac: Floats


def error_k(cases: Cases, *, deviations: Mapping[str, Floats]) -> Floats:
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
    Exact to 1e-6 K without deviations.
    """
    truth_k = cases.temperature_k[:, None]
    believed = _columns(cases.sight)
    moved = {
        name: np.asarray(getattr(believed, name)) + deviations[name]
        for name in FIELDS
        if name in deviations
    }
    for name in SHARES & moved.keys():
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


def _columns(sight: Sight) -> Sight:
    """Return the sight with every (case,) field as a column."""
    columns = {}
    for name in (*FIELDS, "housing_k"):
        value = np.asarray(getattr(sight, name), float)
        columns[name] = value[:, None] if value.ndim else value
    return Sight(**columns)


def first_order(cases: Cases) -> FirstOrder:
    """Return the first-order budget by central differences.

    Parameters
    ----------
    cases : Cases
        (case,) with their terms.

    Returns
    -------
    FirstOrder
        Standard uncertainty that each term contributes, and all combined.

    Notes
    -----
    Steps of a tenth of each standard uncertainty about the believed values; terms
    are independent.  Unknown widths and signals that nothing explains give NaN.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.1.3 note 2.
    """
    rows = []
    for term in cases.terms:
        u = term.standard_uncertainty
        step = 0.1 * np.where(np.isfinite(u), u, 0.0)[:, None]
        both = error_k(cases, deviations={term.field: np.concatenate([-step, step], axis=1)})
        with np.errstate(invalid="ignore"):
            slope_u = np.abs(both[:, 1] - both[:, 0]) / 0.2
        rows.append(np.where(np.isfinite(u) & np.isfinite(slope_u), slope_u, np.nan))
    contributions = np.array(rows)
    return FirstOrder(contributions, np.sqrt((contributions**2).sum(axis=0)))


def unit_draws(
    terms: Sequence[Term], *, generator: np.random.Generator, draws: int = DRAWS
) -> Floats:
    """Return (term, draw) numbers: uniform on 0 to 1, or standard normal.

    All cases share them, so that cases differ by their physics and not by luck.
    """
    return np.array(
        [
            generator.random(draws)
            if term.distribution == "rectangular"
            else generator.standard_normal(draws)
            for term in terms
        ]
    )


def monte_carlo(cases: Cases, *, draws: Floats) -> Drawn:
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
        interval that leaves 2.5 % on each side, draws without a temperature counted
        as beyond it.

    Notes
    -----
    At 20,000 draws the half-width of a normal is good to 1 %.

    References
    ----------
    JCGM 101:2008, 5.9 and 7.
    """
    count = cases.temperature_k.size
    parts = [
        _drawn(_take(cases, slice(at, min(at + CHUNK, count))), draws)
        for at in range(0, count, CHUNK)
    ]
    return Drawn(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def _drawn(cases: Cases, draws: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    deviations: dict[str, Floats] = {}
    for term, unit in zip(cases.terms, draws, strict=True):
        low, high = np.nan_to_num(term.low), np.nan_to_num(term.high)
        if not (low.any() or high.any()):
            continue
        low, high = _collapsed(low), _collapsed(high)
        if term.distribution == "rectangular":
            deviation = low[:, None] + (high - low)[:, None] * unit
        else:
            deviation = high[:, None] * unit
        before = deviations.get(term.field)
        deviations[term.field] = deviation if before is None else before + deviation
    error = error_k(cases, deviations=deviations)
    if error.shape[1] == 1:
        error = np.repeat(error, draws.shape[1], axis=1)
    lost = np.isinf(error)
    tail = int(0.025 * error.shape[1])
    ends = np.partition(error, (tail, error.shape[1] - 1 - tail), axis=1)
    low_k, high_k = ends[:, tail].copy(), ends[:, error.shape[1] - 1 - tail].copy()
    explained = np.where(lost, 0.0, error)
    kept = np.maximum((~lost).sum(axis=1), 1)
    mean = explained.sum(axis=1) / kept
    square = (np.where(lost, 0.0, error - mean[:, None]) ** 2).sum(axis=1) / kept
    return mean, np.sqrt(square), low_k, high_k, lost.mean(axis=1)


def _collapsed(values: Floats) -> Floats:
    """Return one number where all cases have the same, so that it is drawn once."""
    return values[:1] if np.all(values == values[0]) else values


def _take(cases: Cases, part: slice) -> Cases:
    taken = {}
    for name in (*FIELDS, "housing_k"):
        value = np.asarray(getattr(cases.sight, name), float)
        taken[name] = value[part] if value.ndim else value
    return replace(
        cases,
        temperature_k=cases.temperature_k[part],
        sight=Sight(**taken),
        step_k=cases.step_k[part],
        terms=tuple(replace(t, low=t.low[part], high=t.high[part]) for t in cases.terms),
    )


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
