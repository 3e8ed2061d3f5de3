"""How units differ: the 95th-percentile unit as built, after the line, after the kitchen."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from scipy.special import ndtr

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.models.bill import made_cost
from trivet.models.predicted import prediction_stream
from trivet.physics.economics.cost import CENT
from trivet.physics.statistics.errordraws import FIELDS, TermSpread, reading_errors_k
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.design import Design
from trivet.records.prediction import Budget, UnitError, UnitPopulation
from trivet.stages.predict.budget import first_order
from trivet.stages.predict.cases import COVERAGE_FACTOR, Cases, SeenCase, Term, matrix_of
from trivet.stages.predict.endofline import as_found_k
from trivet.stages.predict.readings import Wanted, places_of
from trivet.stages.predict.terms import cases_of
from trivet.stages.predict.views import Eye, Seen

POPULATION_UNITS = 2000  # own estimate: the 95th percentile is good to 3 %
UNIT_TERMS = (
    "sensor offset",
    "sensor gain",
    "window transmittance",
    "size of source",
    "registration and edge",
    "end-of-line fixture",
)
"""Terms that stay with a unit; all others change from reading to reading."""


@dataclass(frozen=True, eq=False)
class _Units:
    """Draws that make the units: term name to (unit,), and who passes the line."""

    draws: dict[str, FloatArray]
    passes: np.ndarray[tuple[int], np.dtype[np.bool_]]


def unit_population(design: Design, *, seen: Seen, budgets: Sequence[Budget]) -> UnitPopulation:
    """Return the 95 % error of single units at every measurable case.

    Parameters
    ----------
    design : Design
        Population, end of line, recalibration, costs.
    seen : Seen
        Heads and views.
    budgets : sequence of Budget
        Cases, each at its worst burner.

    Returns
    -------
    UnitPopulation
        Errors as built and after each declared calibration, yield and cost.

    Raises
    ------
    InputError
        If two points of the end of line are the same, or currencies are mixed.

    Notes
    -----
    A unit keeps its offset, gain, window, blur and mount: they are its bias b.  All
    other terms change from reading to reading with standard uncertainty u.  Its
    half-width h holds 95 %: P(|b + u z| <= h) = 0.95.  2,000 units: the 95th
    percentile is good to 3 %.  Only units that pass the line count after it.

    References
    ----------
    Own statement; JCGM 101:2008 for the draws.
    """
    units = _drawn_units(design, seen)
    told = [one for one in budgets if one.measurable]
    errors: list[UnitError] = []
    bare = design.model_copy(update={"end_of_line": None})
    stands = _stands(design, seen, told)
    for eye in seen.eyes:
        cases = [
            (one, place)
            for one, place in zip(told, stands, strict=True)
            if place is not None and place.view.head == eye.head.name
        ]
        if cases:
            errors += _eye_errors(design, bare, eye, cases, units)
    total = int(units.passes.size)
    good = int(units.passes.sum())
    _, worst = clopper_pearson(total - good, total, confidence=0.90)
    return UnitPopulation(
        errors=tuple(errors),
        units=total,
        yield_frac=good / total,
        yield_low_frac=1.0 - worst if design.end_of_line is not None else 1.0,
        time_s=0.0 if design.end_of_line is None else float(design.end_of_line.time_s),
        cost_per_good_unit=_cost(design, good, total),
        currency=design.costs.price.currency,
        note=_note(design),
    )


def _stands(design: Design, seen: Seen, budgets: Sequence[Budget]) -> list[SeenCase | None]:
    """Return where each budget's pan stands: on the burner for which it is stated."""
    wanted = [
        Wanted(design.base(one.base), design.pan(one.pan), one.temperature_k) for one in budgets
    ]
    return [
        next((place for place in places if place.view.burner == one.burner), None)
        for one, places in zip(budgets, places_of(design, seen, wanted), strict=True)
    ]


def _drawn_units(design: Design, seen: Seen) -> _Units:
    """Return the units, and whether each passes the line with every head."""
    generator = prediction_stream(design, name="population")
    draws = {
        name: generator.standard_normal(POPULATION_UNITS)
        if name == "end-of-line fixture"
        else generator.random(POPULATION_UNITS)
        for name in UNIT_TERMS
    }
    passes = np.ones(POPULATION_UNITS, dtype=np.bool_)
    if design.end_of_line is None:
        return _Units(draws, passes)
    bare = design.model_copy(update={"end_of_line": None})
    for eye in seen.eyes:
        place = next((one for one in _any_place(design, seen, eye)), None)
        if place is None:
            continue
        cases = cases_of(bare, eye=eye, places=[place])
        spread = {term.name: term for term in cases.terms}
        offset, gain, window = (
            _deviation(spread[name], draws[name])
            for name in ("sensor offset", "sensor gain", "window transmittance")
        )
        found = as_found_k(design, cases=cases, offset_k=offset, gain=gain, transmittance=window)
        limit = float(design.end_of_line.reject_limit_delta_k)
        passes &= np.abs(found).max(axis=1) <= limit
    return _Units(draws, passes)


def _any_place(design: Design, seen: Seen, eye: Eye) -> list[SeenCase]:
    view = next((one for one in seen.views if one.head == eye.head.name), None)
    if view is None or not math.isfinite(view.pixels_across):
        return []
    pan = design.pan(view.pan)
    return [
        SeenCase(
            view=view,
            temperature_k=453.15,
            pan_diameter_m=float(pan.diameter_m),
            film_m=0.0,
            emissivity=(0.95, 0.95, 0.95),
            emissivity_source="",
            blur_loss=seen.blur_losses[view],
        )
    ]


def _deviation(term: Term, units: FloatArray) -> FloatArray:
    low, high = float(np.nan_to_num(term.low[0])), float(np.nan_to_num(term.high[0]))
    return low + (high - low) * units


def _eye_errors(
    design: Design,
    bare: Design,
    eye: Eye,
    cases: Sequence[tuple[Budget, SeenCase]],
    units: _Units,
) -> list[UnitError]:
    places = [place for _, place in cases]
    built = cases_of(bare, eye=eye, places=places)
    bias, spread = _bias_k(built, units.draws), _within_k(built)
    median, p95 = _percentiles(bias, spread, keep=None)
    after = again = np.full(len(places), math.nan)
    if design.end_of_line is not None and units.passes.any():
        calibrated = cases_of(design, eye=eye, places=places)
        bias, spread = _bias_k(calibrated, units.draws), _within_k(calibrated)
        _, after = _percentiles(bias, spread, keep=units.passes)
    rules = design.field_recalibration
    known = next((at for at, (one, _) in enumerate(cases) if rules and one.of == rules.of), None)
    if rules is not None and known is not None and units.passes.any():
        one = replace(places[known], temperature_k=float(rules.point_k))
        shared = cases_of(design, eye=eye, places=[one, *places])
        bias = _recalibrated(shared, _bias_k(shared, units.draws))
        share = _stated_slope(shared)
        doubt = float(rules.u95_delta_k) / COVERAGE_FACTOR * share[1:] / share[0]
        _, again = _percentiles(bias, np.hypot(spread, doubt), keep=units.passes)
    return [
        UnitError(
            base=one.base,
            pan=one.pan,
            temperature_k=one.temperature_k,
            median_k=float(median[at]),
            p95_k=float(p95[at]),
            p95_calibrated_k=float(after[at]),
            p95_recalibrated_k=float(again[at]),
        )
        for at, (one, _) in enumerate(cases)
    ]


def _bias_k(cases: Cases, draws: dict[str, FloatArray]) -> FloatArray:
    """Return the error that stays with each unit, (case, unit)."""
    own = [term for term in cases.terms if term.name in UNIT_TERMS]
    field = np.array([FIELDS.index(term.field) for term in own])
    flat = np.array([term.distribution == "rectangular" for term in own])[:, None]
    low, high = np.array([t.low for t in own]), np.array([t.high for t in own])
    return reading_errors_k(
        cases.temperature_k,
        nominal=cases.nominal,
        spread=TermSpread(field, np.where(flat, low, 0.0), np.where(flat, high - low, high)),
        units=np.stack([draws[term.name] for term in own]),
        band=cases.eye.band,
    )


def _within_k(cases: Cases) -> FloatArray:
    """Return the standard uncertainty from reading to reading of one unit, (case,)."""
    moves = [term.name not in UNIT_TERMS and term.known for term in cases.terms]
    used = first_order(cases).contributions[moves]
    matrix = matrix_of(cases.terms, pairs=cases.pairs)[np.ix_(moves, moves)]
    return np.asarray(np.sqrt(np.maximum(np.einsum("ic,ij,jc->c", used, matrix, used), 0.0)))


def _stated_slope(cases: Cases) -> FloatArray:
    """Return by how much the reading rises for one kelvin of the stated number. (case,)"""
    ones = np.ones((1, cases.temperature_k.size))
    error = reading_errors_k(
        cases.temperature_k,
        nominal=cases.nominal,
        spread=TermSpread(np.array([FIELDS.index("offset_k")]), 0.0 * ones, ones),
        units=np.array([[-0.1, 0.1]]),
        band=cases.eye.band,
    )
    return np.asarray((error[:, 1] - error[:, 0]) / 0.2)


def _recalibrated(cases: Cases, bias: FloatArray) -> FloatArray:
    """Return the bias after a constant is taken out at the first case, (case - 1, unit)."""
    slope = _stated_slope(cases)[:, None]
    return np.asarray(bias[1:] - slope[1:] * bias[:1] / slope[:1])


def half_width_k(bias_k: FloatArray, *, u_k: FloatArray) -> FloatArray:
    """Return the half-width that holds 95 % of readings with a bias and a spread.

    Parameters
    ----------
    bias_k : (...)
        Constant error. [K]
    u_k : broadcastable
        Standard uncertainty of what changes. [K]

    Notes
    -----
    1.96 u without a bias, bias + 1.645 u with a large one; from a table of their
    ratio, within 1e-3 of u.
    """
    ratio = np.linspace(0.0, 8.0, 401)
    width = 1.7 + ratio
    for _ in range(40):
        held = ndtr(width - ratio) - ndtr(-width - ratio)
        slope = np.exp(-0.5 * (width - ratio) ** 2) / math.sqrt(2.0 * math.pi)
        slope = slope + np.exp(-0.5 * (width + ratio) ** 2) / math.sqrt(2.0 * math.pi)
        width = width - (held - 0.95) / slope
    size = np.abs(bias_k)
    with np.errstate(divide="ignore", invalid="ignore"):
        relative = np.where(u_k > 0.0, size / u_k, np.inf)
    inside = u_k * np.interp(relative, ratio, width)
    return np.where(relative > ratio[-1], size + 1.6448536 * u_k, inside)


def _percentiles(
    bias: FloatArray, spread: FloatArray, *, keep: np.ndarray[tuple[int], np.dtype[np.bool_]] | None
) -> tuple[FloatArray, FloatArray]:
    """Return the middle and the 95th-percentile unit, (case,)."""
    half = half_width_k(bias, u_k=spread[:, None])
    half = np.sort(half if keep is None else half[:, keep], axis=1)
    count = half.shape[1]
    return half[:, (count - 1) // 2], half[:, min(math.ceil(0.95 * count) - 1, count - 1)]


def _cost(design: Design, good: int, total: int) -> str:
    """Return calibration and scrap for one good unit, to the cent.

    'none passes' without any; 'unknown' where the bill does not say what a unit costs.
    """
    rules = design.end_of_line
    if rules is None:
        return "0.00"
    if rules.cost.currency != design.costs.price.currency:
        raise InputError(
            f"end_of_line: cost is in {rules.cost.currency}, the price in"
            f" {design.costs.price.currency}; give both in one currency"
        )
    if good == 0:
        return "none passes"
    try:
        scrap = Decimal(made_cost(design)) * (total - good) / good
    except InputError:
        return "unknown"
    each = rules.cost.amount * total / good
    return f"{(scrap + each).quantize(CENT, ROUND_HALF_UP):f}"


def _note(design: Design) -> str:
    rules, kitchen = design.end_of_line, design.field_recalibration
    parts = []
    if rules is None:
        parts.append("no calibration of single units is declared")
    else:
        count = len(rules.points_k)
        parts.append(
            f"end of line at {count} point{'s' if count > 1 else ''}:"
            f" {'offset and slope' if count > 1 else 'offset'} taken out of each unit"
        )
    if kitchen is not None:
        days = float(kitchen.every_s) / 86400.0
        parts.append(f"an offset taken out in the kitchen every {days:.0f} days")
    return "; ".join(parts)
