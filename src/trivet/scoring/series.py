"""What was said of a burner of a proof cook, beside what was so."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.models import actual
from trivet.models.actual import Actual, Series, surface_named
from trivet.records.design import Contents, Design, Pan
from trivet.records.estimate import BurnerEstimate
from trivet.records.recording import BurnerTruth
from trivet.records.requirement import OF_WORDS, Of, Requirement
from trivet.records.verdict import ProofCook

SAME_DIAMETER_M = 0.015
"""A bench pan and a design pan of one finish count as the same within this."""


@dataclass(frozen=True)
class Side:
    """One burner of a proof cook: what was said, and where to find what was so."""

    cook: ProofCook
    estimate: BurnerEstimate
    contents: Contents
    truth: BurnerTruth | None

    @property
    def time_s(self) -> FloatArray:
        """Return the estimate's times. [s]"""
        return self.cook.estimate.time_s

    @property
    def actual(self) -> Actual:
        """Return what was so, apart from what was said."""
        probes = self.cook.reference.probes
        return Actual(self.estimate.burner, self.contents, self.time_s, self.truth, probes)

    @property
    def valid(self) -> BoolArray:
        """Return where the product gives a reading."""
        return self.estimate.valid


def sides(cook: ProofCook, *, requirement: Requirement | None, design: Design) -> Iterator[Side]:
    """Yield the burners of a cook that a requirement covers.

    Parameters
    ----------
    cook : ProofCook
        One cook.
    requirement : Requirement or None
        Its pans and bases select; None selects all.
    design : Design
        Pans and bases by name.

    Yields
    ------
    Side
        Burners on which something stood, as truth or bench sheet say.

    Notes
    -----
    A bench pan is a design pan if material and finish agree and the diameters
    differ by less than 15 mm.

    References
    ----------
    Records of the cook.
    """
    said = {one.burner: one for one in cook.estimate.burners}
    pans = () if requirement is None else requirement.pans
    bases = () if requirement is None else requirement.bases
    wanted = {design.base(name).contents for name in bases}
    for truth in cook.truth.burners if cook.truth else ():
        if truth.burner not in said or (pans and truth.pan not in pans):
            continue
        if not bases or truth.base in bases:
            contents = design.base(truth.base).contents
            yield Side(cook, said[truth.burner], contents, truth)
    for sheet in () if cook.truth else cook.reference.sheet:
        fits = not pans or any(
            _same(design.pan(name), sheet.material, sheet.finish, float(sheet.diameter_m))
            for name in pans
        )
        if sheet.burner in said and fits and (not bases or sheet.contents in wanted):
            yield Side(cook, said[sheet.burner], sheet.contents, None)


def _same(pan: Pan, material: str, finish: str, diameter_m: float) -> bool:
    close = abs(float(pan.diameter_m) - diameter_m) < SAME_DIAMETER_M
    return pan.material == material and pan.finish == finish and close


def hottest_series(side: Side, of: Of) -> Series:
    """Return the hottest part of a surface as it was, see :mod:`trivet.models.actual`."""
    return actual.hottest_series(side.actual, of)


def heated(side: Side, *, design: Design, of: Of | None) -> tuple[BoolArray, FloatArray]:
    """Return the moments at which a burner's pan is heated, see :mod:`trivet.models.actual`."""
    return actual.heated(side.actual, design=design, of=of)


def reading_pairs(side: Side, of: Of | None) -> tuple[BoolArray, FloatArray, FloatArray]:
    """Return where a reading and what was so can be compared, and both differences.

    Parameters
    ----------
    side : Side
        Burner and cook.
    of : Of or None
        Only readings of this; None takes each reading as what it says it is of.

    Returns
    -------
    tuple
        Comparable moments (time,), what was so (time,), its u (time,). [K]

    Notes
    -----
    Like is compared with like: a reading of oil only with oil. Where the probes of
    a pan differ by more than they are known, its mean is not known either: no verdict.

    References
    ----------
    Records of the cook.
    """
    named = side.estimate.of
    if of is not None:
        named = np.where(named == OF_WORDS.index(of), named, -1).astype(np.int8)
    so, u = surface_named(side.actual, named)
    return side.valid & np.isfinite(so) & np.isfinite(u), so, u
