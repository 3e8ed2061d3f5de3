"""What a calibration of every unit leaves of its errors, term by term."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.records.design import Design
from trivet.stages.predict.cases import COVERAGE_FACTOR, Cases, Term, term_of

REMOVED = ("sensor offset", "sensor gain", "window transmittance")
"""Terms of a unit that a black body shows."""


@dataclass(frozen=True, eq=False)
class Bench:
    """A unit before the black body: what it states at the points, and how the fit carries it."""

    point_k: FloatArray
    sight: LineOfSight
    stated_k: FloatArray
    carry: FloatArray
    """(case, point): what a unit error at each point becomes at each case."""


def bench_of(design: Design, *, cases: Cases) -> Bench:
    """Return the bench of the design's end of line for the cases of a head.

    Raises
    ------
    InputError
        If the design has no end of line, or two of its points are the same.

    Notes
    -----
    One point takes out a constant, two a line in the stated temperature, more a
    line by least squares.  The bench is at the ambient of the design with the
    housing as warm as in use.
    """
    rules = design.end_of_line
    if rules is None:
        raise InputError("end of line: the design declares none")
    points = np.array([float(point) for point in rules.points_k])
    if np.unique(points).size != points.size:
        raise InputError("end_of_line.points: two points are the same; give different ones")
    believed = cases.sight
    sight = LineOfSight(
        emissivity=1.0,
        reflected_k=float(design.surroundings.ambient_k),
        transmittance=believed.transmittance if rules.through_window else 1.0,
        window_k=believed.window_k,
        housing_k=believed.housing_k,
        mirrored_frac=believed.mirrored_frac if rules.through_window else 0.0,
    )
    stated = np.asarray(sighted_apparent_k(points, sight=sight, band=cases.eye.band))
    return Bench(points, sight, stated, carried(stated, at_k=cases.apparent_k))


def carried(stated_k: FloatArray, *, at_k: FloatArray) -> FloatArray:
    """Return what the fit makes of errors at the points, (case, point).

    Notes
    -----
    Rows sum to 1: a common error is carried whole.  Extrapolation grows: from points
    at 60 and 100 C to 230 C an error of 1 K at one of them becomes 4 K.
    """
    if stated_k.size == 1:
        return np.ones((at_k.size, 1))
    middle = stated_k.mean()
    matrix = np.stack([np.ones_like(stated_k), stated_k - middle], axis=1)
    where = np.stack([np.ones_like(at_k), at_k - middle], axis=1)
    return np.asarray(where @ np.linalg.pinv(matrix))


def after_end_of_line(design: Design, *, cases: Cases) -> Cases:
    """Return the cases with what the end of the line leaves of each unit's own errors.

    Parameters
    ----------
    design : Design
        With an end of line.
    cases : Cases
        As built.

    Returns
    -------
    Cases
        Offset, gain and window are replaced by their residuals at each case, in
        kelvin of the stated number; the fixture's own error is added.

    Notes
    -----
    Two points at 60 and 250 C leave nothing of a linear gain and 0.3 K of a window
    3 % off; one point at 150 C leaves 1.2 K of a 2 % gain at 230 C.  Of the offset
    the declared share comes back.
    """
    bench, rules = bench_of(design, cases=cases), design.end_of_line
    assert rules is not None
    left = {
        "sensor offset": float(rules.remaining_frac),
        "sensor gain": 1.0,
        "window transmittance": 1.0,
    }
    terms = [
        _residual(term, left[term.name], bench, cases, through=rules.through_window)
        if term.name in REMOVED
        else term
        for term in cases.terms
    ]
    u_k = float(rules.fixture_u95_delta_k) / COVERAGE_FACTOR
    fixture = u_k * np.sqrt((bench.carry**2).sum(axis=1))
    points = f"{bench.point_k.size} point" + ("s" if bench.point_k.size > 1 else "")
    terms.append(
        term_of(
            "end-of-line fixture",
            "offset_k",
            fixture,
            f"black body at {points}, carried to the case",
            shape="normal",
        )
    )
    return replace(cases, terms=tuple(terms))


def _residual(term: Term, share: float, bench: Bench, cases: Cases, *, through: bool) -> Term:
    """Return what the fit leaves of a term, as an offset of the stated number."""
    if term.name == "sensor offset":
        ends = [share * term.low, share * term.high]
    elif term.name == "window transmittance" and not through:
        return term
    else:
        ends = [_left(term, end, bench, cases) for end in (term.low, term.high)]
    low, high = np.minimum(*ends), np.maximum(*ends)
    if term.name == "window transmittance":  # curved one way at both ends: keep zero inside
        low, high = np.minimum(low, 0.0), np.maximum(high, 0.0)
    source = f"{term.source}; what the end of the line leaves"
    return replace(term, field="offset_k", low=low, high=high, source=source)


def _left(term: Term, deviation: FloatArray, bench: Bench, cases: Cases) -> FloatArray:
    field = "gain" if term.name == "sensor gain" else "transmittance"
    at_case = _moved(cases.sight, field, deviation, cases.temperature_k - cases.step_k, cases)
    at_points = np.stack(
        [
            _moved(bench.sight, field, deviation, np.full_like(deviation, point), cases)
            for point in bench.point_k
        ],
        axis=1,
    )
    return np.asarray(at_case - (bench.carry * at_points).sum(axis=1))


def _moved(
    sight: LineOfSight, field: str, deviation: FloatArray, temperature_k: FloatArray, cases: Cases
) -> FloatArray:
    """Return by how much the stated temperature moves when one input deviates."""
    before = sighted_apparent_k(temperature_k, sight=sight, band=cases.eye.band)
    moved = np.asarray(getattr(sight, field), float) + deviation
    if field == "transmittance":
        moved = np.minimum(moved, 1.0)
    changed = replace(sight, **{field: moved})
    after = sighted_apparent_k(temperature_k, sight=changed, band=cases.eye.band)
    return np.asarray(after - before)


def as_found_k(
    design: Design,
    *,
    cases: Cases,
    offset_k: FloatArray,
    gain: FloatArray,
    transmittance: FloatArray,
) -> FloatArray:
    """Return the error of each unit at each point before it is calibrated, (unit, point).

    Parameters
    ----------
    design : Design
        With an end of line.
    cases : Cases
        Of a head; its sight is the product's belief.
    offset_k, gain, transmittance : (unit,)
        Deviations of each unit.

    Notes
    -----
    In the stated temperature, which is what a station at the end of a line sees.
    """
    bench, rules = bench_of(design, cases=cases), design.end_of_line
    assert rules is not None
    moved = np.clip(np.asarray(bench.sight.transmittance, float) + transmittance, 1e-3, 1.0)
    if not rules.through_window:
        moved = np.ones_like(transmittance)
    unit = replace(
        bench.sight,
        transmittance=moved[:, None],
        offset_k=offset_k[:, None],
        gain=np.maximum(gain, -0.99)[:, None],
    )
    stated = sighted_apparent_k(bench.point_k, sight=unit, band=cases.eye.band)
    error = np.asarray(stated) - bench.stated_k
    return np.where(np.isfinite(error), error, math.inf)
