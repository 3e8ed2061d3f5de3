"""What was so on a burner of a proof cook, from the truth or from reference probes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trivet.quality import BLOCKING
from trivet.records.design import Contents, Design, Pan
from trivet.records.estimate import BurnerEstimate
from trivet.records.recording import BurnerTruth, ProbeSeries
from trivet.records.requirement import OF_WORDS, Of, Requirement
from trivet.records.verdict import ProofCook

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

SAME_DIAMETER_M = 0.015
"""A bench pan and a design pan of one finish count as the same within this."""


@dataclass(frozen=True)
class Series:
    """Temperatures over time with their standard uncertainty; NaN where not known."""

    time_s: Floats
    value_k: Floats
    u_k: Floats

    @property
    def known(self) -> bool:
        """Return whether any moment is known."""
        return bool(np.any(np.isfinite(self.value_k)))


@dataclass(frozen=True)
class Side:
    """One burner of a proof cook: what was said, and where to find what was so."""

    cook: ProofCook
    estimate: BurnerEstimate
    contents: Contents
    truth: BurnerTruth | None

    @property
    def time_s(self) -> Floats:
        """Return the estimate's times. [s]"""
        return self.cook.estimate.time_s

    @property
    def valid(self) -> Mask:
        """Return where the product gives a reading."""
        given = np.isfinite(self.estimate.reported_k)
        return np.asarray(given & (self.estimate.flags & np.uint32(int(BLOCKING)) == 0))


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


def surface_series(side: Side, of: Of) -> Series:
    """Return the mean temperature of one surface as it was.

    Parameters
    ----------
    side : Side
        Burner and cook.
    of : Of
        What the temperature is of.

    Returns
    -------
    Series
        From the truth where there is one, else from the probes that touch it.

    Notes
    -----
    Where the surface is the one seen, its visible mean; else the mean of the
    whole. Several probes are averaged; their uncertainty is the largest, since
    errors of contact are common to them.

    References
    ----------
    Records of the cook.
    """
    truth = side.truth
    if truth is None:
        return _probe_series(side, of, hottest=False)
    whole = {
        "pan": truth.pan_k,
        "hidden_pan": truth.pan_k,
        "oil": truth.contents_k if side.contents in ("oil", "butter") else None,
        "liquid": truth.contents_k if side.contents == "water" else None,
        "food": truth.food_k,
        "lid": None,
    }[of]
    plain = np.full(truth.time_s.shape, np.nan) if whole is None else whole
    value = np.where(truth.seen_of == OF_WORDS.index(of), truth.seen_k, plain)
    return Series(truth.time_s, value, np.zeros(value.shape))


def hottest_series(side: Side, of: Of) -> Series:
    """Return the hottest part of a surface as it was: what a limit is about.

    Parameters
    ----------
    side : Side
        Burner and cook.
    of : Of
        What the limit is of.

    Returns
    -------
    Series
        Hottest 5 cm2 of the pan, or the surface mean of its contents; of the
        probes, the hottest.

    Notes
    -----
    A probe beside the hottest spot reads low, by up to the pan's non-uniformity.

    References
    ----------
    Records of the cook.
    """
    if side.truth is None:
        return _probe_series(side, of, hottest=True)
    if of in ("pan", "hidden_pan"):
        return Series(side.truth.time_s, side.truth.hottest_k, np.zeros(side.truth.time_s.shape))
    return surface_series(side, of)


def _probe_series(side: Side, of: Of, *, hottest: bool) -> Series:
    touched = "pan" if of == "hidden_pan" else of
    probes = [
        one
        for one in side.cook.reference.probes
        if one.probe.burner == side.estimate.burner and one.probe.touches == touched
    ]
    if not probes:
        nothing = np.full(side.time_s.shape, np.nan)
        return Series(side.time_s, nothing, nothing)
    value = np.stack([_at(one, side.time_s) for one in probes])
    known = np.isfinite(value)
    count = known.sum(axis=0)
    safe = np.where(known, value, -np.inf if hottest else 0.0)
    joined = safe.max(axis=0) if hottest else safe.sum(axis=0) / np.maximum(count, 1)
    u = np.stack([interpolated(one.time_s, one.u_k, side.time_s) for one in probes])
    largest = np.where(known & np.isfinite(u), u, 0.0).max(axis=0)
    nan = np.where(count > 0, 0.0, np.nan)
    return Series(side.time_s, np.where(count > 0, joined, np.nan), largest + nan)


def _at(probe: ProbeSeries, time_s: Floats) -> Floats:
    return interpolated(probe.time_s, probe.temperature_k, time_s)


def interpolated(time_s: Floats, value: Floats, at_s: Floats) -> Floats:
    """Return values at other times, NaN outside and beside a NaN.

    Parameters
    ----------
    time_s : (time,)
        Times of the values, rising. [s]
    value : (time,)
        Values. [any]
    at_s : (moment,)
        Times wanted. [s]

    Returns
    -------
    (moment,)
        Linear between neighbours.

    Notes
    -----
    A gap is a NaN in the records, so none is bridged.

    References
    ----------
    Definition.
    """
    if time_s.size == 0:
        return np.full(at_s.shape, np.nan)
    return np.asarray(np.interp(at_s, time_s, value, left=np.nan, right=np.nan), dtype=np.float64)


def reading_pairs(side: Side, of: Of | None) -> tuple[Mask, Floats, Floats]:
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
    Like is compared with like: a reading of oil only with oil.

    References
    ----------
    Records of the cook.
    """
    so = np.full(side.time_s.shape, np.nan)
    u = np.full(side.time_s.shape, np.nan)
    for index, word in enumerate(OF_WORDS):
        mine = side.estimate.of == index
        if (of is not None and word != of) or not mine.any():
            continue
        series = surface_series(side, word)
        so[mine] = interpolated(series.time_s, series.value_k, side.time_s)[mine]
        u[mine] = interpolated(series.time_s, series.u_k, side.time_s)[mine]
    return side.valid & np.isfinite(so), so, u


def heated(side: Side, *, design: Design, of: Of | None) -> tuple[Mask, Floats]:
    """Return the moments at which a burner's pan is heated, withheld ones included.

    Parameters
    ----------
    side : Side
        Burner and cook.
    design : Design
        Its ``heated_above``.
    of : Of or None
        Then only moments at which this surface is the one seen, or is probed.

    Returns
    -------
    tuple
        Mask (time,) and the deciding temperature (time,). [K]

    Notes
    -----
    The denominator of every share of valid moments.

    References
    ----------
    Records of the cook.
    """
    if of is not None:
        series = surface_series(side, of)
        value = interpolated(series.time_s, series.value_k, side.time_s)
        if side.truth is not None and of != "hidden_pan":
            seen = (side.truth.seen_of == OF_WORDS.index(of)).astype(np.float64)
            value[interpolated(side.truth.time_s, seen, side.time_s) < 0.5] = np.nan
    else:
        known = [surface_series(side, word) for word in ("pan", "oil", "liquid", "food")]
        values = [interpolated(s.time_s, s.value_k, side.time_s) for s in known]
        value = np.fmax.reduce(values)
    with np.errstate(invalid="ignore"):
        return value >= float(design.estimation.heated_above_k), value
