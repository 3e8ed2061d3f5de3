"""One cook's readings beside what was so, cut into strata."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from trivet.arrays import BoolArray, FloatArray, Int8Array
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment, surface_named
from trivet.physics.sensor.alignment import reading_lag
from trivet.physics.statistics.agreement import interval_score
from trivet.records.checks import EVIDENCE, Check, PanWord
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import LabelMaps, Reference, SceneTruth, Truth
from trivet.records.requirement import Evidence
from trivet.records.scoring import LARGE_K, STRATA, Piece
from trivet.scoring.checksheet import checks_of
from trivet.scoring.labelcheck import label_answers
from trivet.scoring.pancheck import pan_answers
from trivet.scoring.shiny import pan_words
from trivet.scoring.strata import Placed, Standing, placed, standing

KEPT = 60
"""Moments of a piece that are kept, evenly over its valid ones: memory of 1.5 kB a piece."""


@dataclass(frozen=True)
class SeenCook:
    """What the pixels of a simulated cook saw, and what the product made of them."""

    truth: SceneTruth
    labels: tuple[LabelMaps, ...]
    """The product's, at the same moments."""
    less: Mapping[str, Estimate] = field(default_factory=dict)
    """Estimates by the evidence that they rest on, where that is not all."""


@dataclass(frozen=True)
class ScoredCook:
    """One cook kept for proof, with what the product said and what was so."""

    name: str
    plan: str
    """Cooks of one plan are one independent cook."""
    unit: str
    evidence: Evidence
    labels: dict[str, str]
    """What the plan varies: window, lamp, mismatch."""
    estimate: Estimate
    reference: Reference
    truth: Truth | None
    seen: SeenCook | None = None
    """None of a recorded cook, whose pixels nobody knows."""


@dataclass(frozen=True)
class _Said:
    """What was said of one burner, set beside what was so, arrays (time,)."""

    time_s: FloatArray
    valid: BoolArray
    like: BoolArray
    """Valid, and the surface that it names is there."""
    so_k: FloatArray
    """Of the surface named."""
    u_k: FloatArray
    reported_k: FloatArray
    u95_k: FloatArray
    off_k: FloatArray
    """Number shown or withheld minus what was so of the surface named, else of the one seen."""


def cook_pieces(cook: ScoredCook, *, design: Design) -> tuple[Piece, ...]:
    """Return what one cook says in every stratum that it enters.

    Parameters
    ----------
    cook : ScoredCook
        Readings, references and, simulated, the truth.
    design : Design
        Burners, pans, heads, heated threshold.

    Returns
    -------
    tuple of Piece
        One a burner and stratum. [K, s]

    Notes
    -----
    A reading is compared with the surface that it names; one that names a surface
    which is not there is counted apart, and its error is that to the surface seen.
    A withheld number is compared with the surface seen. On the bench an error is
    large from 15 K beyond the reference's 2 u; where probes do not tell a pan's mean
    nothing is compared (:func:`trivet.models.actual.surface_series`). A burner of which
    the product says nothing counts as withheld all the time.

    References
    ----------
    Strata: trivet.scoring.strata.
    """
    time_s = cook.estimate.time_s
    said = {one.burner: one for one in cook.estimate.burners}
    found = []
    for one in standing(cook.truth, reference=cook.reference, time_s=time_s, design=design):
        where = placed(one, design=design)
        beside = _beside(one, where, said.get(one.actual.burner))
        for index in np.unique(where.stratum[where.stratum >= 0]):
            found.append(_piece(cook, one, where, beside, int(index)))
    return tuple(found)


def cook_checks(
    cook: ScoredCook, *, design: Design
) -> tuple[tuple[Check, ...], tuple[PanWord, ...]]:
    """Return what one simulated cook says beside temperatures; nothing of a recorded one.

    Parameters
    ----------
    cook : ScoredCook
        With what its pixels saw, and the labels.
    design : Design
        Burners, pans, heads.

    Returns
    -------
    tuple
        Answers, and the words for its bare pans.

    Notes
    -----
    See the modules that it calls.
    """
    if cook.seen is None or cook.truth is None:
        return (), ()
    time_s = cook.estimate.time_s
    stood = standing(cook.truth, reference=cook.reference, time_s=time_s, design=design)
    rims = {one.actual.burner: placed(one, design=design).rim for one in stood}
    answers = label_answers(cook.seen.truth, cook.seen.labels)
    answers |= pan_answers(cook.seen.truth, cook.estimate, rims=rims)
    said = {EVIDENCE[0]: cook.estimate, **cook.seen.less}
    words = pan_words(cook.name, cook.plan, standing=stood, said=said, design=design)
    return checks_of(cook.name, cook.plan, answers), tuple(words)


def _beside(one: Standing, where: Placed, estimate: BurnerEstimate | None) -> _Said:
    time_s = one.actual.time_s
    if estimate is None:
        nan, no = np.full(time_s.shape, np.nan), np.zeros(time_s.shape, dtype=np.bool_)
        return _Said(time_s, no, no, nan, nan, nan, nan, nan)
    valid = estimate.valid
    so, u = surface_named(one.actual, _named(estimate, valid))
    like = valid & np.isfinite(so)
    withheld = estimate.withheld_k
    number = np.where(valid, estimate.reported_k, np.nan if withheld is None else withheld)
    off = number - np.where(like, so, where.seen_k)
    aside = 2.0 * np.where(like, u, 0.0)
    off = np.where(np.isinf(aside), np.nan, np.sign(off) * np.maximum(np.abs(off) - aside, 0.0))
    return _Said(time_s, valid, like, so, u, estimate.reported_k, estimate.u95_k, off)


def _named(estimate: BurnerEstimate, valid: BoolArray) -> Int8Array:
    return np.where(valid, estimate.of, -1).astype(np.int8)


def _piece(cook: ScoredCook, one: Standing, where: Placed, said: _Said, index: int) -> Piece:
    mask = where.stratum == index
    like = mask & said.like
    large, small = np.abs(said.off_k) > LARGE_K, np.abs(said.off_k) <= LARGE_K
    known = like & np.isfinite(said.u_k)
    error = (said.reported_k - said.so_k)[known]
    u95 = np.hypot(said.u95_k, 2.0 * said.u_k)[known]
    name = STRATA[index].name
    drawn, kept = -1, np.empty(0, dtype=np.int64)
    if error.size:
        i = drawn_moment(f"{cook.name} {one.actual.burner} {name}", error.size)
        drawn = int(abs(error[i]) <= u95[i])
        kept = np.unique(np.linspace(0, error.size - 1, min(KEPT, error.size)).round().astype(int))
    return Piece(
        cook=cook.name,
        plan=cook.plan,
        unit=cook.unit,
        burner=one.actual.burner,
        stratum=name,
        labels={"rim": where.rim, "sensor": where.sensor, **cook.labels},
        moments=int(mask.sum()),
        valid=int(like.sum()),
        astray=int((mask & said.valid & ~said.like).sum()),
        large=int((mask & said.valid & large).sum()),
        large_any=int((mask & large).sum()),
        large_withheld=int((mask & large & ~said.valid).sum()),
        small_any=int((mask & small).sum()),
        small_withheld=int((mask & small & ~said.valid).sum()),
        blind_s=_longest_s(mask & ~said.valid, said.time_s),
        lag_s=_lag_s(known, said),
        score_k=float(interval_score(error, half_width=u95).mean()) if error.size else math.nan,
        drawn=drawn,
        so_k=_rounded(said.so_k[known][kept]),
        error_k=_rounded(error[kept]),
        u95_k=_rounded(u95[kept]),
    )


def _rounded(values: FloatArray) -> tuple[float, ...]:
    return tuple(round(float(value), 3) for value in values)


def _runs(mask: BoolArray) -> Iterator[slice]:
    """Yield the unbroken stretches of a mask."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.astype(np.int8), [0]])))
    for begin, end in edges.reshape(-1, 2):
        yield slice(int(begin), int(end))


def _longest_s(mask: BoolArray, time_s: FloatArray) -> float:
    """Return how long the longest stretch lasts, until the moment after it."""
    last = time_s.size - 1
    return max(
        (float(time_s[min(r.stop, last)] - time_s[r.start]) for r in _runs(mask)), default=0.0
    )


def _lag_s(like: BoolArray, said: _Said) -> float:
    """Return by how much the reading follows what was so, over its longest stretch."""
    span = max(_runs(like), key=lambda run: run.stop - run.start, default=slice(0, 0))
    try:
        found = reading_lag(
            said.reported_k[span], reference=said.so_k[span], time_s=said.time_s[span]
        )
    except NotEnoughDataError:
        return math.nan
    return found.lag_s
