"""Thermocouples: electromotive force, its inverse, and the tolerance of the wire."""

from __future__ import annotations

import re
from functools import cache
from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError

ThermocoupleKind = Literal["K", "T", "J", "N"]
ToleranceClass = Literal["iec-1", "iec-2", "iec-3", "astm-special", "astm-standard"]

NEWTON_STEPS = 4  # own estimate: from a table in steps of 1 C, 1e-6 K after 2


class ReferencePiece(NamedTuple):
    """A piece of a reference function: range [C], coefficients [mV/C**i], lowest power first."""

    low_c: float
    high_c: float
    coefficients: tuple[float, ...]


# Kind, from and to [C], c_0, c_1, ... of E = sum of c_i * t**i, E in mV, t in C; source: NIST
# Monograph 175 (1993), the tables of reference functions, which IEC 60584-1 and ASTM E230 share.
_REFERENCE_TABLE = """
K -270 0  0.0 0.039450128025 2.3622373598e-05 -3.2858906784e-07 -4.9904828777e-09
     -6.7509059173e-11 -5.7410327428e-13 -3.1088872894e-15 -1.0451609365e-17 -1.9889266878e-20
     -1.6322697486e-23
K 0 1372  -0.017600413686 0.038921204975 1.8558770032e-05 -9.9457592874e-08 3.1840945719e-10
     -5.6072844889e-13 5.6075059059e-16 -3.2020720003e-19 9.7151147152e-23 -1.2104721275e-26
T -270 0  0.0 0.038748106364 4.4194434347e-05 1.1844323105e-07 2.0032973554e-08 9.0138019559e-10
     2.2651156593e-11 3.6071154205e-13 3.8493939883e-15 2.8213521925e-17 1.4251594779e-19
     4.8768662286e-22 1.079553927e-24 1.3945027062e-27 7.9795153927e-31
T 0 400  0.0 0.038748106364 3.329222788e-05 2.0618243404e-07 -2.1882256846e-09 1.0996880928e-11
     -3.0815758772e-14 4.547913529e-17 -2.7512901673e-20
J -210 760  0.0 0.050381187815 3.047583693e-05 -8.568106572e-08 1.3228195295e-10
     -1.7052958337e-13 2.0948090697e-16 -1.2538395336e-19 1.5631725697e-23
J 760 1200  296.45625681 -1.4976127786 0.0031787103924 -3.1847686701e-06 1.5720819004e-09
     -3.0691369056e-13
N -270 0  0.0 0.026159105962 1.0957484228e-05 -9.3841111554e-08 -4.6412039759e-11
     -2.6303357716e-12 -2.2653438003e-14 -7.6089300791e-17 -9.3419667835e-20
N 0 1300  0.0 0.025929394601 1.571014188e-05 4.3825627237e-08 -2.5261169794e-10 6.4311819339e-13
     -1.0063471519e-15 9.9745338992e-19 -6.0863245607e-22 2.0849229339e-25 -3.0682196151e-29
"""


def _pieces(kind: str) -> tuple[ReferencePiece, ...]:
    found = re.findall(rf"^{kind} ([^A-Z]+)", _REFERENCE_TABLE, re.MULTILINE)
    rows = ([float(word) for word in piece.split()] for piece in found)
    return tuple(ReferencePiece(low, high, tuple(terms)) for low, high, *terms in rows)


REFERENCE_FUNCTIONS: dict[ThermocoupleKind, tuple[ReferencePiece, ...]] = {
    kind: _pieces(kind) for kind in get_args(ThermocoupleKind)
}
EXPONENTIAL_K = (0.1185976, -0.0001183432, 126.9686)
"""a0 [mV], a1 [1/C2], a2 [C] of a0 * exp(a1 * (t - a2)**2) of type K, from 0 C up; same source."""


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
    return _reference_mv(celsius, kind) * 1e-3


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
        step = (_reference_mv(celsius, kind) - wanted) / _reference_mv(celsius, kind, slope=True)
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


def _reference_mv(
    celsius: FloatArray, kind: ThermocoupleKind, *, slope: bool = False
) -> FloatArray:
    """Reference function of a kind [mV], or its slope [mV/K]."""
    total = np.full(np.shape(celsius), np.nan)
    for piece in REFERENCE_FUNCTIONS[kind]:
        terms = np.array(piece.coefficients)
        terms = np.polynomial.polynomial.polyder(terms) if slope else terms
        value = np.polynomial.polynomial.polyval(celsius, terms)
        total = np.where(celsius >= piece.low_c - 1e-9, value, total)
    if kind == "K":
        size, rate, centre = EXPONENTIAL_K
        away = celsius - centre
        inner = 2.0 * size * rate * away if slope else size
        total = total + np.where(celsius >= 0.0, inner * np.exp(rate * away**2), 0.0)
    return np.asarray(total, dtype=np.float64)


@cache
def _emf_table(kind: ThermocoupleKind) -> tuple[FloatArray, FloatArray]:
    low, high = emf_range_c(kind)
    nodes = np.linspace(low, high, round(high - low) + 1)
    return nodes, _reference_mv(nodes, kind)
