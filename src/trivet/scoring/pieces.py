"""One cook's rows cut into strata: what a score is made of."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import NotEnoughDataError
from trivet.models.actual import drawn_moment
from trivet.physics.sensor.alignment import reading_lag
from trivet.physics.statistics.agreement import interval_score
from trivet.records.checks import Check, PanWord
from trivet.records.design import Design
from trivet.records.scoring import LARGE_K, StratumPiece
from trivet.records.verdict import ProofCook
from trivet.scoring.checks import asked
from trivet.scoring.labels import looked_at
from trivet.scoring.panwords import pan_words
from trivet.scoring.strata import STRATUM_NAMES
from trivet.scoring.table import Rows, table

KEPT_MOMENTS = 60
"""Moments of a piece that are kept, evenly over its valid ones; own estimate: 1.5 kB a piece."""


def cook_pieces(cook: ProofCook, *, design: Design) -> tuple[StratumPiece, ...]:
    """Return what one cook says in every stratum that it enters, one piece a burner and stratum.

    A reading is compared with the surface that it names; one that names a surface which is
    not there is counted apart, and its error is that to the surface seen.  A withheld number
    is compared with the surface seen.  On the bench an error is large from 15 K beyond the
    reference's 2 u.
    """
    return tuple(
        _piece(rows, int(index))
        for rows in table(cook, design=design)
        for index in np.unique(rows.stratum[rows.stratum >= 0])
    )


def cook_checks(
    cook: ProofCook, *, design: Design
) -> tuple[tuple[Check, ...], tuple[PanWord, ...]]:
    """Return what one simulated cook says beside temperatures; nothing of a recorded one."""
    if cook.seen is None or cook.truth is None:
        return (), ()
    rows = table(cook, design=design)
    looked = looked_at(cook.seen, cook.estimate, rims={one.burner: one.rim for one in rows})
    words = pan_words(rows, less=cook.seen.less, design=design)
    return tuple(asked(cook.name, cook.plan, looked)), tuple(words)


def _off_k(rows: Rows) -> FloatArray:
    """Return by how much the number shown or withheld is off for certain, sign kept. [K]"""
    number = np.where(rows.valid, rows.said_k, rows.withheld_k)
    off = number - np.where(rows.like, rows.so_k, rows.seen_k)
    aside = 2.0 * np.where(rows.like, rows.so_u_k, 0.0)
    off = np.sign(off) * np.maximum(np.abs(off) - aside, 0.0)
    return np.where(np.isinf(aside), np.nan, off)


def _piece(rows: Rows, index: int) -> StratumPiece:
    cook, mask, off_k = rows.cook, rows.stratum == index, _off_k(rows)
    like, known = mask & rows.like, mask & rows.comparable
    large, small = np.abs(off_k) > LARGE_K, np.abs(off_k) <= LARGE_K
    error, u95 = rows.error_k[known], rows.allowed_k[known]
    name = STRATUM_NAMES[index]
    drawn, kept = -1, np.empty(0, dtype=np.int64)
    if error.size:
        i = drawn_moment(f"{cook.name} {rows.burner} {name}", error.size)
        drawn = int(abs(error[i]) <= u95[i])
        kept = np.unique(
            np.linspace(0, error.size - 1, min(KEPT_MOMENTS, error.size)).round().astype(int)
        )
    return StratumPiece(
        cook=cook.name,
        plan=cook.plan,
        unit=cook.unit,
        burner=rows.burner,
        stratum=name,
        labels={"rim": rows.rim, "sensor": rows.sensor, **cook.labels},
        moments=int(mask.sum()),
        valid=int(like.sum()),
        astray=int((mask & rows.valid & ~rows.like).sum()),
        large=int((mask & rows.valid & large).sum()),
        large_any=int((mask & large).sum()),
        large_withheld=int((mask & large & ~rows.valid).sum()),
        small_any=int((mask & small).sum()),
        small_withheld=int((mask & small & ~rows.valid).sum()),
        blind_s=_longest_s(mask & ~rows.valid, rows.time_s),
        lag_s=_lag_s(known, rows),
        score_k=float(interval_score(error, half_width=u95).mean()) if error.size else math.nan,
        drawn=drawn,
        so_k=_rounded(rows.so_k[known][kept]),
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


def _lag_s(known: BoolArray, rows: Rows) -> float:
    """Return by how much the reading follows what was so, over its longest stretch."""
    span = max(_runs(known), key=lambda run: run.stop - run.start, default=slice(0, 0))
    try:
        return reading_lag(
            rows.said_k[span], reference=rows.so_k[span], time_s=rows.time_s[span]
        ).lag_s
    except NotEnoughDataError:
        return math.nan
