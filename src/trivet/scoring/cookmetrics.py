"""Metrics of one cook: a value, and whether it holds, fails or hangs in the guard band."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.models.actual import drawn_moment, surface_named
from trivet.records.design import Design
from trivet.records.requirement import OF_WORDS, Of, Requirement
from trivet.records.verdict import ProofCook
from trivet.scoring.alertmetrics import lead_time, missed_alert, nuisance_alert
from trivet.scoring.outcomes import CookOutcome, nothing
from trivet.scoring.series import Side, heated, reading_pairs, sides

WRONG_BY_K = 15.0


def _compared(
    cook: ProofCook, requirement: Requirement, design: Design
) -> tuple[FloatArray, FloatArray, FloatArray, bool]:
    """Return errors, their reference u, stated u95, and whether readings could be judged."""
    errors, us, stated, heated_any = [], [], [], False
    for side in sides(cook, requirement=requirement, design=design):
        ok, so, u = reading_pairs(side, requirement.of)
        mask, value = heated(side, design=design, of=requirement.of)
        with np.errstate(invalid="ignore"):
            if requirement.above_k is not None:
                ok = ok & (so > float(requirement.above_k))
                mask = mask & (value > float(requirement.above_k))
        heated_any = heated_any or bool(mask.any())
        errors.append((side.estimate.reported_k - so)[ok])
        us.append(u[ok])
        stated.append(side.estimate.u95_k[ok])
    if not errors:
        return np.empty(0), np.empty(0), np.empty(0), False
    return np.concatenate(errors), np.concatenate(us), np.concatenate(stated), heated_any


def reading_error(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return the error that the coverage share of a cook's valid readings stays within.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Limit [K], coverage share, of what, above which temperature.
    design : Design
        Pans and bases.

    Returns
    -------
    CookOutcome
        Error [K]; conditional when every reading was withheld, or the pan's mean was not
        known.

    Notes
    -----
    With a guard band the reference's U = 2 u must fit inside the limit for
    "ok" and outside it for "fail".

    References
    ----------
    ILAC-G8:09/2019, 4.2.3.
    """
    error, u, _, seen = _compared(cook, requirement, design)
    if error.size == 0:
        if seen:
            return CookOutcome("conditional", math.nan, _why_none(cook, requirement, design))
        return nothing("no reference or no heated moment to compare with")
    share, limit = float(requirement.coverage_frac), requirement.limit_value
    guard = 2.0 * u if requirement.guard_band else np.zeros(u.shape)
    value = float(np.quantile(np.abs(error), share, method="inverted_cdf"))
    if np.mean(np.abs(error) + guard <= limit) >= share:
        return CookOutcome("ok", value)
    fails = np.mean(np.abs(error) - guard <= limit) < share
    return CookOutcome("fail" if fails else "conditional", value)


def _why_none(cook: ProofCook, requirement: Requirement, design: Design) -> str:
    for side in sides(cook, requirement=requirement, design=design):
        _, u = surface_named(side.actual, np.where(side.valid, side.estimate.of, -1))
        if np.isinf(u).any():
            return (
                "the pan differs between its probes by more than they are known, or has only "
                "one: put more probes where it differs"
            )
    return "every reading was withheld"


def valid_share(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return the share of a cook's heated moments that have a reading.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Limit [-], of what.
    design : Design
        From which temperature a burner counts as heated.

    Returns
    -------
    CookOutcome
        Share. [-]

    Notes
    -----
    Withheld moments are in the denominator, whatever the reason.

    References
    ----------
    Definition.
    """
    moments = valid = 0
    for side in sides(cook, requirement=requirement, design=design):
        mask, value = heated(side, design=design, of=requirement.of)
        with np.errstate(invalid="ignore"):
            if requirement.above_k is not None:
                mask = mask & (value > float(requirement.above_k))
        moments += int(mask.sum())
        given = side.valid if requirement.of is None else side.valid & _is_of(side, requirement.of)
        valid += int((mask & given).sum())
    if moments == 0:
        return nothing("no heated moment that truth or reference knows of")
    value_frac = valid / moments
    return CookOutcome("ok" if value_frac >= requirement.limit_value else "fail", value_frac)


def _is_of(side: Side, of: Of) -> BoolArray:
    return np.asarray(side.estimate.of == OF_WORDS.index(of))


def interval_coverage(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return whether the drawn moment's 95 % interval holds what was so.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Of what, above which temperature.
    design : Design
        Pans and bases.

    Returns
    -------
    CookOutcome
        0 covered, 1 not; nothing without a comparable reading.

    Notes
    -----
    The reference's U = 2 u joins the stated interval by root sum of squares.

    References
    ----------
    ISO/IEC 17043 (normalised error), from memory.
    """
    error, u, stated, _ = _compared(cook, requirement, design)
    if error.size == 0:
        return nothing("no reading that truth or reference could judge")
    i = drawn_moment(cook.name, error.size)
    covered = abs(error[i]) <= math.hypot(stated[i], 2.0 * u[i])
    return CookOutcome("ok" if covered else "fail", 0.0 if covered else 1.0)


def wrong_reading(cook: ProofCook, *, requirement: Requirement, design: Design) -> CookOutcome:
    """Return whether a cook showed a wrong number as right.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement
        Of what, above which temperature.
    design : Design
        Pans and bases.

    Returns
    -------
    CookOutcome
        1 if any valid reading is wrong by over 15 K and outside its interval.

    Notes
    -----
    A cook whose readings were all withheld showed no wrong number. On the
    bench the reference's 2 u are set aside first.

    References
    ----------
    Definition.
    """
    error, u, stated, seen = _compared(cook, requirement, design)
    if error.size == 0 and not seen:
        return nothing("no reference or no heated moment to compare with")
    wrong = (np.abs(error) > WRONG_BY_K + 2.0 * u) & (np.abs(error) > np.hypot(stated, 2.0 * u))
    return CookOutcome("fail", 1.0) if wrong.any() else CookOutcome("ok", 0.0)


VALUED: dict[str, Callable[..., CookOutcome]] = {
    "reading_error": reading_error,
    "valid_share": valid_share,
    "lead_time": lead_time,
}
"""Metrics whose limit holds for the coverage share of cooks."""

COUNTED: dict[str, Callable[..., CookOutcome]] = {
    "interval_coverage": interval_coverage,
    "wrong_reading": wrong_reading,
    "missed_alerts": missed_alert,
    "nuisance_alerts": nuisance_alert,
}
"""Metrics whose limit is a share of cooks."""
