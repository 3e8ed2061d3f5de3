"""Agreement by stratum: one grade of evidence, one surface, one kind of contents."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.statistics.agreement import agreement_limits
from trivet.records.design import Design
from trivet.records.requirement import OF_WORDS, Of
from trivet.records.verdict import ProofCook, Stratum
from trivet.scoring.series import Side, heated, reading_pairs, sides


@dataclass
class _Pile:
    """What the cooks of one stratum gave."""

    moments: int = 0
    valid: int = 0
    errors: list[FloatArray] = field(default_factory=list)
    plans: list[str] = field(default_factory=list)
    cooks: set[str] = field(default_factory=set)
    covered: int = 0
    drawn: int = 0


def strata(cooks: Sequence[ProofCook], *, design: Design) -> tuple[Stratum, ...]:
    """Return agreement by grade of evidence, surface and contents.

    Parameters
    ----------
    cooks : sequence of ProofCook
        Proof cooks of any grade; grades are kept apart.
    design : Design
        Bases by name, heated threshold.

    Returns
    -------
    tuple of Stratum
        By evidence, surface, contents. [K]

    Notes
    -----
    Limits of agreement treat repeats of a plan as one cook and stay NaN under
    5 of them: too few. The share of valid moments counts withheld ones.

    References
    ----------
    Bland and Altman, J. Biopharm. Stat. 17 (2007) 571-582.
    """
    piles: dict[tuple[str, str, str], _Pile] = defaultdict(_Pile)
    for cook in cooks:
        for side in sides(cook, requirement=None, design=design):
            for index, word in enumerate(OF_WORDS):
                mask, _ = heated(side, design=design, of=word)
                mine = mask & (side.estimate.of == index)
                # A pan is hidden where the product says so; nothing else tells.
                moments = int(mine.sum() if word == "hidden_pan" else mask.sum())
                if moments:
                    _add(piles[cook.evidence, word, side.contents], side, word, mine, moments)
    return tuple(
        _stratum(key, pile) for key, pile in sorted(piles.items(), key=lambda entry: entry[0])
    )


def _add(pile: _Pile, side: Side, word: Of, mine: BoolArray, moments: int) -> None:
    ok, so, u = reading_pairs(side, word)
    ok = ok & mine
    pile.moments += moments
    pile.valid += int(ok.sum())
    pile.cooks.add(side.cook.name)
    if not ok.any():
        return
    error = (side.estimate.reported_k - so)[ok]
    pile.errors.append(error)
    pile.plans.append(side.cook.plan)
    i = drawn_moment(side.cook.name, error.size)
    pile.drawn += 1
    allowed = math.hypot(float(side.estimate.u95_k[ok][i]), 2.0 * float(u[ok][i]))
    pile.covered += int(abs(error[i]) <= allowed)


def _stratum(key: tuple[str, str, str], pile: _Pile) -> Stratum:
    evidence, of, contents = key
    error = np.concatenate(pile.errors) if pile.errors else np.empty(0)
    bias = low = high = p95 = math.nan
    if error.size:
        bias = float(np.mean([np.mean(one) for one in pile.errors]))
        p95 = float(np.quantile(np.abs(error), 0.95))
        plans = np.repeat(pile.plans, [one.size for one in pile.errors])
        try:
            agreement = agreement_limits(error, cook=plans)
        except NotEnoughDataError:
            pass
        else:
            bias, low, high = agreement.bias, agreement.lower, agreement.upper
    return Stratum(
        evidence=evidence,  # type: ignore[arg-type]
        of=of,
        contents=contents,
        cooks=len(pile.cooks),
        moments=pile.moments,
        valid_frac=pile.valid / pile.moments,
        bias_k=bias,
        low_loa_k=low,
        high_loa_k=high,
        p95_error_k=p95,
        covered=pile.covered,
        drawn=pile.drawn,
    )
