"""Decisions against a limit when the value is uncertain, and their risks."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy import special

from trivet.errors import InputError, OutOfRangeError

Decision = Literal["pass", "conditional", "fail"]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(64)
_PANELS = 8  # own estimate: 1e-9 of risk with 64 nodes each


@dataclass(frozen=True)
class GlobalRisk:
    """Shares of all items: wrongly accepted and wrongly rejected. [-]"""

    false_accept_frac: float
    false_reject_frac: float


def _checked_limits(lower: float | None, upper: float | None) -> tuple[float, float]:
    if lower is None and upper is None:
        raise InputError("neither a lower nor an upper limit is given: state at least one")
    low = -math.inf if lower is None else lower
    high = math.inf if upper is None else upper
    if not low < high:
        raise InputError(f"lower limit {low} is not below the upper limit {high}")
    return low, high


def conformance_probability(
    value: float,
    *,
    standard_uncertainty: float,
    lower: float | None = None,
    upper: float | None = None,
) -> float:
    """Return the probability that the quantity lies within its limits.

    value : best estimate [unit of choice]
    standard_uncertainty : standard uncertainty of the value, 0 or more [same]
    lower, upper : limits; at least one [same]
    Returns : probability of conformance
    Raises : InputError if no limit is given or they are crossed; OutOfRangeError if the uncertainty
        is negative or anything is not finite
    Notes : Normal distribution, prior knowledge negligible. At the limit itself 50 %; one standard
        uncertainty inside 84 %; 1.645 inside 95 %.
    Source : JCGM 106:2012, clause 7
    """
    low, high = _checked_limits(lower, upper)
    if not math.isfinite(value) or not 0.0 <= standard_uncertainty < math.inf:
        raise OutOfRangeError(
            f"value {value} with uncertainty {standard_uncertainty}: both must be finite "
            "and the uncertainty not negative"
        )
    if standard_uncertainty == 0.0:
        return 1.0 if low <= value <= high else 0.0
    above = float(special.ndtr((high - value) / standard_uncertainty))
    below = float(special.ndtr((low - value) / standard_uncertainty))
    return above - below


def guard_factor(confidence: float) -> float:
    """Return the one-sided guard band in standard uncertainties.

    confidence : smallest conformance probability of an accepted value
    Returns : z; accept if the value lies at least z u inside the limit
    Raises : OutOfRangeError if the confidence is not inside (0, 1)
    Notes : 0.842 / 1.282 / 1.645 / 2.326 / 3.090 for 80 / 90 / 95 / 99 / 99.9 %.
    Source : JCGM 106:2012, Table 1
    """
    if not 0.0 < confidence < 1.0:
        raise OutOfRangeError(f"confidence is {confidence}: allowed more than 0 and less than 1")
    return float(special.ndtri(confidence))


def guarded_decision(
    value: float,
    *,
    guard: float,
    lower: float | None = None,
    upper: float | None = None,
) -> Decision:
    """Return pass, conditional or fail for a value with a guard band.

    value : best estimate; NaN is refused [unit of choice]
    guard : width of the band on each side of a limit, 0 or more; commonly the expanded uncertainty
        U = 2 u, declared before measuring [same]
    lower, upper : limits; at least one [same]
    Returns : {"pass", "conditional", "fail"}: pass: inside every limit by the guard or more. Fail:
        outside a limit by more than the guard. Conditional: between.
    Raises : InputError if no limit is given or they are crossed; OutOfRangeError if the guard is
        negative or the value not finite
    Notes : guard = U holds wrong passes at 2.5 % for a value on the edge of acceptance; guard = 0
        leaves 50 %. Two limits closer than 2 guards can never pass.
    Source : ILAC-G8:09/2019, 4.2.3; JCGM 106:2012, clause 8
    """
    low, high = _checked_limits(lower, upper)
    if not math.isfinite(value):
        raise OutOfRangeError(f"value is {value}: a decision needs a finite value")
    if not guard >= 0.0:
        raise OutOfRangeError(f"guard is {guard}: allowed 0 or more")
    if low + guard <= value <= high - guard:
        return "pass"
    if value > high + guard or value < low - guard:
        return "fail"
    return "conditional"


def global_risk(
    process_sd: float,
    *,
    measurement_u: float,
    lower: float,
    upper: float,
    guard: float = 0.0,
    process_mean: float = 0.0,
) -> GlobalRisk:
    """Return how often a normal process is wrongly accepted and rejected.

    process_sd : standard deviation of the true values [unit of choice]
    measurement_u : standard uncertainty of one measurement [same]
    lower, upper : tolerance limits of the true value [same]
    guard : acceptance limits lie this far inside; negative widens them [same]
    process_mean : mean of the true values [same]
    Returns : both risks as shares of everything made
    Raises : OutOfRangeError if a spread is not positive; InputError if the limits are crossed, or
        the guard leaves nothing to accept
    Notes : Process and measurement normal and independent. Integrated by Gauss-Legendre over the
        true value, within 1e-9 while the measurement is not finer than 1/200 of the process.
    Source : JCGM 106:2012, clause 9.5 (consumer's and producer's global risk)
    """
    if not (process_sd > 0.0 and measurement_u > 0.0):
        raise OutOfRangeError(
            f"process_sd {process_sd} and measurement_u {measurement_u} must be positive"
        )
    _checked_limits(lower, upper)
    accept_low, accept_high = lower + guard, upper - guard
    if not accept_low < accept_high:
        raise InputError(f"a guard of {guard} leaves nothing to accept in {lower} to {upper}")

    def joint(low: float, high: float, accepted: bool) -> float:
        edges = np.linspace(low, high, _PANELS + 1)
        # The acceptance curve turns within a few u of each acceptance limit.
        turns = np.concatenate(
            [
                accept_low + measurement_u * np.arange(-8, 9),
                accept_high + measurement_u * np.arange(-8, 9),
            ]
        )
        edges = np.unique(np.concatenate([edges, turns[(turns > low) & (turns < high)]]))
        half = 0.5 * np.diff(edges)[:, None]
        true = edges[:-1, None] + half * (1.0 + _NODES)
        share = special.ndtr((accept_high - true) / measurement_u) - special.ndtr(
            (accept_low - true) / measurement_u
        )
        z = (true - process_mean) / process_sd
        density = np.exp(-0.5 * z * z) / (process_sd * math.sqrt(2.0 * math.pi))
        return float(np.sum(half * _WEIGHTS * density * (share if accepted else 1.0 - share)))

    far = 10.0 * process_sd
    bottom, top = min(process_mean - far, lower), max(process_mean + far, upper)
    return GlobalRisk(
        false_accept_frac=joint(bottom, lower, True) + joint(upper, top, True),
        false_reject_frac=joint(lower, upper, False),
    )
