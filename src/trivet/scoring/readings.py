"""Metrics of readings: what a cook's rows say of a requirement, and their agreement by stratum."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.agreement import agreement_limits
from trivet.records.design import Design
from trivet.records.requirement import OF_WORDS, Evidence, Requirement
from trivet.records.scoring import LARGE_K
from trivet.records.verdict import CookOutcome, Stratum
from trivet.scoring.registry import limit_value, metric
from trivet.scoring.table import Rows

NO_MOMENT = CookOutcome(None, note="no reference or no heated moment to compare with")
PROBES_DIFFER = (
    "the pan differs between its probes by more than they are known, or has only one: put more"
    " probes where it differs"
)


def _above(requirement: Requirement) -> float | None:
    return None if requirement.above_k is None else float(requirement.above_k)


@dataclass(frozen=True)
class _Compared:
    """The comparable readings of the burners of one cook that a requirement covers, (reading,)."""

    error_k: FloatArray
    u_k: FloatArray
    """Of the reference. [K]"""
    allowed_k: FloatArray
    heated: bool
    """Whether any moment was heated, with a reading or not."""

    @property
    def silent(self) -> bool:
        """Whether there is neither a reading nor a heated moment."""
        return not self.error_k.size and not self.heated


def _compared(rows: Sequence[Rows], requirement: Requirement, design: Design) -> _Compared:
    above = _above(requirement)
    ok = [
        one.comparable & one.is_of(requirement.of) & (above is None or one.so_k > above)
        for one in rows
    ]
    nothing = np.empty(0)
    return _Compared(
        np.concatenate([nothing, *(one.error_k[k] for one, k in zip(rows, ok, strict=True))]),
        np.concatenate([nothing, *(one.so_u_k[k] for one, k in zip(rows, ok, strict=True))]),
        np.concatenate([nothing, *(one.allowed_k[k] for one, k in zip(rows, ok, strict=True))]),
        any(one.heated(requirement.of, above=above, design=design).any() for one in rows),
    )


@metric("cook", "reading_error", "difference", "lower", joined="quantile")
def reading_error(rows: Sequence[Rows], *, requirement: Requirement, design: Design) -> CookOutcome:
    """Absolute error of the valid reported temperature; the coverage share of a cook's valid
    moments must lie within the limit.

    Return the error [K] that the coverage share of a cook's readings stays within.

    With a guard band the reference's U = 2 u must fit inside the limit for "ok" and outside it
    for "fail" (ILAC-G8:09/2019, 4.2.3).  Conditional where every reading was withheld, or the
    pan's mean was not known.
    """
    found = _compared(rows, requirement, design)
    if not found.error_k.size:
        if not found.heated:
            return NO_MOMENT
        differ = any(np.isinf(one.so_u_k).any() for one in rows)
        why = PROBES_DIFFER if differ else "every reading was withheld"
        return CookOutcome("conditional", math.nan, why)
    share, limit = float(requirement.coverage_frac), limit_value(requirement)
    size = np.abs(found.error_k)
    guard = 2.0 * found.u_k if requirement.guard_band else 0.0
    value = float(np.quantile(size, share, method="inverted_cdf"))
    if np.mean(size + guard <= limit) >= share:
        return CookOutcome("ok", value)
    fails = np.mean(size - guard <= limit) < share
    return CookOutcome("fail" if fails else "conditional", value)


@metric("cook", "valid_share", "fraction", "higher", joined="quantile")
def valid_share(rows: Sequence[Rows], *, requirement: Requirement, design: Design) -> CookOutcome:
    """Share of heated moments with a reading; withheld moments are in the denominator, whatever the
    reason.

    Return the share of a cook's heated moments that have a reading.
    """
    moments = valid = 0
    for one in rows:
        mask = one.heated(requirement.of, above=_above(requirement), design=design)
        moments += int(mask.sum())
        valid += int((mask & one.is_of(requirement.of)).sum())
    if moments == 0:
        return CookOutcome(None, note="no heated moment that truth or reference knows of")
    share = valid / moments
    return CookOutcome("ok" if share >= limit_value(requirement) else "fail", share)


@metric("cook", "interval_coverage", "fraction", "higher", joined="share")
def interval_coverage(
    rows: Sequence[Rows], *, requirement: Requirement, design: Design
) -> CookOutcome:
    """Share of cooks whose drawn moment lies in its 95 % interval; the reference's U = 2 u joins
    the interval by root sum of squares.

    Return whether the drawn moment's interval misses what was so: 0 covered, 1 not.
    """
    found = _compared(rows, requirement, design)
    if not found.error_k.size:
        return CookOutcome(None, note="no reading that truth or reference could judge")
    i = drawn_moment(rows[0].cook.name, found.error_k.size)
    covered = abs(found.error_k[i]) <= found.allowed_k[i]
    return CookOutcome("ok", 0.0) if covered else CookOutcome("fail", 1.0)


@metric("cook", "wrong_reading", "fraction", "lower", joined="share")
def wrong_reading(rows: Sequence[Rows], *, requirement: Requirement, design: Design) -> CookOutcome:
    """Share of cooks with a valid reading wrong by more than 15 K and outside its interval; on the
    bench the reference's 2 u are set aside first, and a cook whose readings were all withheld
    showed no wrong number.

    Return whether a cook showed a wrong number as right: 1 if so, else 0.
    """
    found = _compared(rows, requirement, design)
    if found.silent:
        return NO_MOMENT
    size = np.abs(found.error_k)
    wrong = (size > LARGE_K + 2.0 * found.u_k) & (size > found.allowed_k)
    return CookOutcome("fail", 1.0) if wrong.any() else CookOutcome("ok", 0.0)


# -- agreement by grade of evidence, surface and contents ---------------------------


Pile = list[tuple[Rows, int, BoolArray]]
"""Of one stratum: rows of a burner, heated moments, and which of them can be compared."""


def agreement(cooks: Iterable[Sequence[Rows]], *, design: Design) -> tuple[Stratum, ...]:
    """Return the agreement of the verdict's page, by evidence, surface and contents. [K]

    Limits of agreement treat repeats of a plan as one cook and stay NaN under 5 of them
    (Bland and Altman, 2007).  The share of valid moments counts withheld ones.  Other than
    the strata of a score, these are of the surface that a reading names.
    """
    piles: dict[tuple[Evidence, str, str], Pile] = defaultdict(list)
    for one in (rows for cook in cooks for rows in cook):
        for index, word in enumerate(OF_WORDS):
            mask = one.heated(word, above=None, design=design)
            # A pan is hidden where the product says so; nothing else tells.
            counted = mask & (one.named == index) if word == "hidden_pan" else mask
            if counted.any():
                ok = one.comparable & one.is_of(word) & mask
                key = one.cook.evidence, word, one.actual.contents
                piles[key].append((one, int(counted.sum()), ok))
    return tuple(_stratum(key, piles[key]) for key in sorted(piles))


def _stratum(key: tuple[Evidence, str, str], pile: Pile) -> Stratum:
    evidence, of, contents = key
    told = [(one, ok) for one, _, ok in pile if ok.any()]
    errors = [one.error_k[ok] for one, ok in told]
    moments = sum(count for _, count, _ in pile)
    bias = low = high = p95 = math.nan
    if errors:
        error = np.concatenate(errors)
        bias = float(np.mean([np.mean(one) for one in errors]))
        p95 = float(np.quantile(np.abs(error), 0.95))
        plans = np.repeat([one.cook.plan for one, _ in told], [one.size for one in errors])
        with suppress(NotEnoughDataError):
            found = agreement_limits(error, cook=plans)
            bias, low, high = found.bias, found.lower, found.upper
    return Stratum(
        evidence=evidence,
        of=of,
        contents=contents,
        cooks=len({one.cook.name for one, _, _ in pile}),
        moments=moments,
        valid_frac=sum(int(ok.sum()) for _, _, ok in pile) / moments,
        bias_k=bias,
        low_loa_k=low,
        high_loa_k=high,
        p95_error_k=p95,
        covered=sum(_drawn_covered(one, ok) for one, ok in told),
        drawn=len(told),
    )


def _drawn_covered(one: Rows, ok: BoolArray) -> bool:
    """Return whether the interval of the drawn one of a burner's readings holds what was so."""
    i = drawn_moment(one.cook.name, int(ok.sum()))
    return bool(abs(one.error_k[ok][i]) <= one.allowed_k[ok][i])
