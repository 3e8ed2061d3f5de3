"""Thermocouples: electromotive force, its inverse, and the tolerance of the wire."""

from __future__ import annotations

from functools import cache
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError
from trivet.physics.sensor.thermocouple_reference import (
    EXPONENTIAL_K,
    REFERENCE_FUNCTIONS,
    ThermocoupleKind,
)

ToleranceClass = Literal["iec-1", "iec-2", "iec-3", "astm-special", "astm-standard"]

NEWTON_STEPS = 4


class ToleranceBand(NamedTuple):
    """The greater of a fixed and a relative tolerance [K, K/C] over a range [C]."""

    low_c: float
    high_c: float
    fixed_k: float
    relative: float


# IEC 60584-1:2013, table 12 (formerly IEC 60584-2:1982 + A1); ASTM E230.
# ASTM under 0 C: public copies disagree for type K (1 % or 2 %); the wider stands here.
_K_IEC: dict[ToleranceClass, tuple[ToleranceBand, ...]] = {
    "iec-1": (ToleranceBand(-40.0, 1000.0, 1.5, 0.004),),
    "iec-2": (ToleranceBand(-40.0, 1200.0, 2.5, 0.0075),),
    "iec-3": (ToleranceBand(-200.0, 40.0, 2.5, 0.015),),
}
TOLERANCES: dict[ThermocoupleKind, dict[ToleranceClass, tuple[ToleranceBand, ...]]] = {
    "K": {
        **_K_IEC,
        "astm-special": (ToleranceBand(0.0, 1260.0, 1.1, 0.004),),
        "astm-standard": (
            ToleranceBand(0.0, 1260.0, 2.2, 0.0075),
            ToleranceBand(-200.0, 0.0, 2.2, 0.02),
        ),
    },
    "N": {
        **_K_IEC,
        "astm-special": (ToleranceBand(0.0, 1260.0, 1.1, 0.004),),
        "astm-standard": (ToleranceBand(0.0, 1260.0, 2.2, 0.0075),),
    },
    "J": {
        "iec-1": (ToleranceBand(-40.0, 750.0, 1.5, 0.004),),
        "iec-2": (ToleranceBand(-40.0, 750.0, 2.5, 0.0075),),
        "astm-special": (ToleranceBand(0.0, 760.0, 1.1, 0.004),),
        "astm-standard": (ToleranceBand(0.0, 760.0, 2.2, 0.0075),),
    },
    "T": {
        "iec-1": (ToleranceBand(-40.0, 350.0, 0.5, 0.004),),
        "iec-2": (ToleranceBand(-40.0, 350.0, 1.0, 0.0075),),
        "iec-3": (ToleranceBand(-200.0, 40.0, 1.0, 0.015),),
        "astm-special": (ToleranceBand(0.0, 370.0, 0.5, 0.004),),
        "astm-standard": (
            ToleranceBand(0.0, 370.0, 1.0, 0.0075),
            ToleranceBand(-200.0, 0.0, 1.0, 0.015),
        ),
    },
}


def emf_v(temperature_k: ArrayLike, *, kind: ThermocoupleKind) -> FloatArray:
    """Return the electromotive force of a thermocouple with its reference junction at 0 C.

    temperature_k : (...) temperature of the measuring junction [K]
    kind : "K", "T", "J" or "N": type of the pair
    Returns : (...) electromotive force [V]; NaN where the temperature is NaN
    Raises : OutOfRangeError if the kind is unknown or a temperature lies outside its reference
        function
    Notes : Valid K -270..1372, T -270..400, J -210..1200, N -270..1300 C. Slope at 200 C: K 40.0, T
        53.2, J 55.5, N 33.0 uV/K. The reference function is exact by definition; the wire is not:
        see :func:`tolerance_k`.
    Source : NIST Monograph 175 (1993); IEC 60584-1:2013
    """
    celsius = np.asarray(temperature_k, dtype=np.float64) - ZERO_C_K
    low, high = emf_range_c(kind)
    outside = (celsius < low - 1e-9) | (celsius > high + 1e-9)
    if np.any(outside):
        worst = float(np.ravel(celsius)[np.argmax(np.ravel(outside))])
        raise OutOfRangeError(
            f"type {kind} thermocouple at {worst:.2f} C; its reference function holds from "
            f"{low:.0f} to {high:.0f} C"
        )
    return _emf_mv(celsius, kind) * 1e-3


def seebeck_v_per_k(temperature_k: ArrayLike, *, kind: ThermocoupleKind) -> FloatArray:
    """Return the slope of the electromotive force at a temperature.

    temperature_k : (...) temperature of the measuring junction [K]
    kind : "K", "T", "J" or "N": type of the pair
    Returns : (...) slope [V/K]
    Raises : OutOfRangeError as for :func:`emf_v`
    Notes : At 200 C: K 39.97, T 53.15, J 55.51, N 32.99 uV/K. A logger off by 10 uV is off by 0.25
        K (K) or 0.19 K (T) there.
    Source : NIST Monograph 175 (1993), derivative of the reference functions
    """
    emf_v(temperature_k, kind=kind)  # raises outside the range
    celsius = np.asarray(temperature_k, dtype=np.float64) - ZERO_C_K
    return _slope_mv_per_k(celsius, kind) * 1e-3


def temperature_k(
    measured_v: ArrayLike, *, kind: ThermocoupleKind, cold_junction_k: ArrayLike = ZERO_C_K
) -> FloatArray:
    """Return the temperature of the measuring junction.

    measured_v : (...) voltage at the terminals [V]
    kind : "K", "T", "J" or "N": type of the pair
    cold_junction_k : broadcastable; temperature of the terminals [K]
    Returns : (...) temperature [K]; NaN where the voltage lies outside the reference function, as
        that of an open circuit does
    Raises : OutOfRangeError if the kind is unknown or the cold junction lies outside its range
    Notes : Solved to 1e-6 K by Newton's method on the reference function itself, not by the
        approximate inverse polynomials (0.05 K). One kelvin of error at the cold junction costs 1.0
        K (type K) or 0.8 K (type T) at 200 C; adding temperatures instead of voltages would cost
        0.7 K at 124 C.
    Source : NIST Monograph 175 (1993); IEC 60584-1:2013
    """
    total_mv = (np.asarray(measured_v, dtype=np.float64) + emf_v(cold_junction_k, kind=kind)) * 1e3
    nodes_c, nodes_mv = _emf_table(kind)
    inside = (total_mv >= nodes_mv[0] - 1e-6) & (total_mv <= nodes_mv[-1] + 1e-6)
    wanted = np.where(inside, total_mv, nodes_mv[-1])
    celsius = np.interp(wanted, nodes_mv, nodes_c)
    for _ in range(NEWTON_STEPS):
        step = (_emf_mv(celsius, kind) - wanted) / _slope_mv_per_k(celsius, kind)
        celsius = np.clip(celsius - step, nodes_c[0], nodes_c[-1])
    return np.where(inside, celsius + ZERO_C_K, np.nan)


def tolerance_k(
    temperature_k: ArrayLike, *, kind: ThermocoupleKind, tolerance_class: ToleranceClass
) -> FloatArray:
    """Return the half-width of the tolerance of new thermocouple wire.

    temperature_k : (...) temperature of the measuring junction [K]
    kind : "K", "T", "J" or "N": type of the pair
    tolerance_class : "iec-1", "iec-2", "iec-3", "astm-special" or "astm-standard"
    Returns : (...) half-width [K]: the greater of a fixed and a relative tolerance
    Raises : OutOfRangeError if the class does not exist for the kind, or the temperature lies
        outside the range for which the class is defined
    Notes : At 250 C: K class 1 +-1.5, class 2 +-2.5; T class 1 +-1.0, class 2 +-1.875 K. Holds for
        new wire and a reference junction at 0 C; used wire drifts. Under 0 C the ASTM rows are
        uncertain between public copies and the wider is taken.
    Source : IEC 60584-1:2013, table 12; ASTM E230/E230M
    """
    _known_kind(kind)
    bands = TOLERANCES[kind].get(tolerance_class)
    if bands is None:
        raise OutOfRangeError(
            f"tolerance class {tolerance_class!r} of type {kind}; "
            f"defined are {', '.join(TOLERANCES[kind])}"
        )
    celsius = np.asarray(temperature_k, dtype=np.float64) - ZERO_C_K
    tolerance = np.full(celsius.shape, np.nan)
    for band in bands:
        within = (celsius >= band.low_c - 1e-9) & (celsius <= band.high_c + 1e-9)
        width = np.maximum(band.fixed_k, band.relative * np.abs(celsius))
        tolerance = np.where(within & np.isnan(tolerance), width, tolerance)
    undefined = np.isnan(tolerance) & np.isfinite(celsius)
    if np.any(undefined):
        worst = float(np.ravel(celsius)[np.argmax(np.ravel(undefined))])
        ranges = ", ".join(f"{band.low_c:.0f} to {band.high_c:.0f} C" for band in bands)
        raise OutOfRangeError(
            f"type {kind}, class {tolerance_class} at {worst:.1f} C; defined for {ranges}"
        )
    return tolerance


def emf_range_c(kind: ThermocoupleKind) -> tuple[float, float]:
    """Return the range of a kind's reference function.

    kind : "K", "T", "J" or "N": type of the pair
    Returns : (float, float) lowest and highest temperature [C]
    Raises : OutOfRangeError if the kind is unknown
    Notes : In C, since the reference functions are defined on that scale.
    Source : NIST Monograph 175 (1993), the tables of reference functions
    """
    _known_kind(kind)
    pieces = REFERENCE_FUNCTIONS[kind]
    return pieces[0].low_c, pieces[-1].high_c


def _known_kind(kind: str) -> None:
    if kind not in REFERENCE_FUNCTIONS:
        raise OutOfRangeError(
            f"thermocouple type {kind!r}; known are {', '.join(get_args(ThermocoupleKind))}"
        )


def _emf_mv(celsius: FloatArray, kind: ThermocoupleKind) -> FloatArray:
    total = np.full(np.shape(celsius), np.nan)
    for piece in REFERENCE_FUNCTIONS[kind]:
        value = np.polynomial.polynomial.polyval(celsius, piece.coefficients)
        total = np.where(celsius >= piece.low_c - 1e-9, value, total)
    if kind == "K":
        size, rate, centre = EXPONENTIAL_K
        total = total + np.where(celsius >= 0.0, size * np.exp(rate * (celsius - centre) ** 2), 0.0)
    return np.asarray(total, dtype=np.float64)


def _slope_mv_per_k(celsius: FloatArray, kind: ThermocoupleKind) -> FloatArray:
    total = np.full(np.shape(celsius), np.nan)
    for piece in REFERENCE_FUNCTIONS[kind]:
        derivative = np.polynomial.polynomial.polyder(np.array(piece.coefficients))
        value = np.polynomial.polynomial.polyval(celsius, derivative)
        total = np.where(celsius >= piece.low_c - 1e-9, value, total)
    if kind == "K":
        size, rate, centre = EXPONENTIAL_K
        away = celsius - centre
        bump = 2.0 * size * rate * away * np.exp(rate * away**2)
        total = total + np.where(celsius >= 0.0, bump, 0.0)
    return np.asarray(total, dtype=np.float64)


@cache
def _emf_table(kind: ThermocoupleKind) -> tuple[FloatArray, FloatArray]:
    low, high = emf_range_c(kind)
    nodes = np.linspace(low, high, round(high - low) + 1)
    return nodes, _emf_mv(nodes, kind)
