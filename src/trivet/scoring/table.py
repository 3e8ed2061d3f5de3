"""The table of said against so: a row a moment of each burner of a cook, as columns.

Every figure of a verdict, a score, the account of alerts and a campaign is a function of
these rows.  Where two readers count differently, the difference has a name here:

``heated``
    The pan is hot enough to matter (the design's ``heated_above``), withheld moments too.
``valid``
    The product gives a number and no flag blocks it.
``like``
    Valid, and the surface that the number names is there.  The score counts these as valid;
    the verdict counts all valid ones.
``comparable``
    Like, and what was so is known with a finite uncertainty.  Errors are of these alone.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FlagArray, FloatArray, Int8Array
from trivet.models.actual import Actual, heated, surface_named
from trivet.records.alertlog import AlertWord
from trivet.records.benchsheet import SheetBurner
from trivet.records.design import Design, Pan
from trivet.records.estimate import BurnerEstimate
from trivet.records.requirement import OF_WORDS, Of, Requirement
from trivet.records.verdict import ProofCook
from trivet.scoring.strata import placed, stood

SAME_DIAMETER_M = 0.015
"""Own estimate: a bench pan and a design pan of one finish are the same within this, the error
of a ruler across a rim. [m]"""


@dataclass(frozen=True)
class Rows:
    """The rows of one burner of one cook; columns are (moment,)."""

    cook: ProofCook
    """Names cook, plan, unit and grade of evidence; holds the alerts and references."""
    actual: Actual
    """What was so: truth, or probes and bench sheet."""
    said: BurnerEstimate | None
    """All that the product says of the burner; None where it says nothing of it."""
    said_k: FloatArray
    """Number given; NaN without one. [K]"""
    withheld_k: FloatArray
    """Number that is withheld; NaN without one. [K]"""
    u95_k: FloatArray
    """Half-width of its stated 95 % interval. [K]"""
    named: Int8Array
    """Surface that the product names, with a number or without, index in OF_WORDS; -1 for none."""
    valid: BoolArray
    reason: FlagArray
    """Quality flags: why a number is withheld or doubtful."""
    so_k: FloatArray
    """What was so of the surface named; NaN where that is not there or not known. [K]"""
    so_u_k: FloatArray
    """Its standard uncertainty; infinite where probes do not tell a pan's mean. [K]"""
    seen_k: FloatArray
    """What was so of the surface that faces the product. [K]"""
    stratum: Int8Array
    """Index in STRATA; -1 where not heated, or nothing tells."""
    rim: str
    """``whole``, ``cut`` by the frame's edge, or ``unknown``."""
    sensor: str
    """Card of the head that sees most of the rim."""

    @property
    def burner(self) -> str:
        """Name of the burner."""
        return self.actual.burner

    @property
    def time_s(self) -> FloatArray:
        """Times of the rows. [s]"""
        return self.actual.time_s

    @property
    def of(self) -> Int8Array:
        """Surface that a valid number names, index in OF_WORDS; -1 without one."""
        return np.where(self.valid, self.named, -1).astype(np.int8)

    @property
    def like(self) -> BoolArray:
        """Where the surface that a valid number names is there."""
        return np.asarray(self.valid & np.isfinite(self.so_k))

    @property
    def comparable(self) -> BoolArray:
        """Where a number can be held against what was so."""
        return np.asarray(self.like & np.isfinite(self.so_u_k))

    @property
    def error_k(self) -> FloatArray:
        """Number given minus what was so. [K]"""
        return self.said_k - self.so_k

    @property
    def allowed_k(self) -> FloatArray:
        """Stated half-width and the reference's U = 2 u, joined by root sum of squares. [K]"""
        return np.asarray(np.hypot(self.u95_k, 2.0 * self.so_u_k))

    def is_of(self, of: Of | None) -> BoolArray:
        """Return where a valid number is of a surface; of any where None."""
        return np.asarray(self.valid if of is None else self.of == OF_WORDS.index(of))

    def switched(self, alert: str, state: AlertWord) -> list[float]:
        """Return when an alert came on, went off or escalated on this burner. [s]"""
        return [
            one.time_s
            for one in self.cook.alerts.changes
            if (one.burner, one.alert, one.state) == (self.burner, alert, state)
        ]

    def heated(self, of: Of | None, *, above: float | None, design: Design) -> BoolArray:
        """Return the heated moments, of one surface and above a temperature [K] if given."""
        mask, value_k = heated(self.actual, design=design, of=of)
        with np.errstate(invalid="ignore"):
            return mask if above is None else mask & (value_k > above)


def table(cook: ProofCook, *, design: Design) -> tuple[Rows, ...]:
    """Return the rows of every burner of a cook on which something stood.

    Parameters
    ----------
    cook : ProofCook
        Readings, references and, simulated, the truth.
    design : Design
        Burners, pans, heads, heated threshold.

    Returns
    -------
    tuple of Rows
        In the order of truth or bench sheet. A burner of which the product says nothing has
        rows without a number: for the score it is withheld all the time, the verdict leaves
        it out (:func:`reported`).
    """
    said = {one.burner: one for one in cook.estimate.burners}
    there = stood(cook.truth, reference=cook.reference, time_s=cook.estimate.time_s, design=design)
    return tuple(_rows(cook, one, said.get(one.burner), design) for one in there)


def _rows(cook: ProofCook, actual: Actual, said: BurnerEstimate | None, design: Design) -> Rows:
    where = placed(actual, design=design)
    nan = np.full(actual.time_s.shape, np.nan)
    flags = np.zeros(nan.shape, dtype=np.uint32) if said is None else said.flags
    number = nan if said is None else said.reported_k
    valid = np.zeros(nan.shape, dtype=np.bool_) if said is None else said.valid
    named = np.full(nan.shape, -1, dtype=np.int8) if said is None else said.of
    so_k, so_u_k = surface_named(actual, np.where(valid, named, -1).astype(np.int8))
    withheld = None if said is None else said.withheld_k
    return Rows(
        cook=cook,
        actual=actual,
        said=said,
        said_k=number,
        withheld_k=nan if withheld is None else withheld,
        u95_k=nan if said is None else said.u95_k,
        named=named,
        valid=valid,
        reason=flags,
        so_k=so_k,
        so_u_k=so_u_k,
        seen_k=where.seen_k,
        stratum=where.stratum,
        rim=where.rim,
        sensor=where.sensor,
    )


def reported(rows: Iterable[Rows]) -> tuple[Rows, ...]:
    """Return the burners of which the product says something."""
    return tuple(one for one in rows if one.said is not None)


def covered(rows: Iterable[Rows], *, requirement: Requirement, design: Design) -> Iterator[Rows]:
    """Yield the burners whose pan and contents a requirement is about; all where it names none.

    A bench pan is a design pan if material and finish agree and the diameters differ by
    less than 15 mm.
    """
    contents = {design.base(name).contents for name in requirement.bases}
    for one in rows:
        truth, sheet = one.actual.truth, one.actual.sheet
        if truth is not None:
            pan, base = truth.pan in requirement.pans, truth.base in requirement.bases
        else:
            assert sheet is not None
            pan = any(_same(design.pan(name), sheet) for name in requirement.pans)
            base = sheet.contents in contents
        if (pan or not requirement.pans) and (base or not requirement.bases):
            yield one


def _same(pan: Pan, sheet: SheetBurner) -> bool:
    close = abs(float(pan.diameter_m) - float(sheet.diameter_m)) < SAME_DIAMETER_M
    return pan.material == sheet.material and pan.finish == sheet.finish and close
