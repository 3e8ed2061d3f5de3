"""What was so on a burner of a cook, from the truth or from reference probes.

No reading is among the arguments here, and this module imports none: whoever asks
what was so cannot be told what the product said.
"""

from __future__ import annotations

import hashlib
import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, Int8Array
from trivet.records.benchsheet import SheetBurner
from trivet.records.design import Contents, Design
from trivet.records.recording import BurnerTruth, Event, ProbeSeries
from trivet.records.requirement import OF_WORDS, Of

THICK_FILM_M = 1e-4
"""From this thickness on oil, not the metal below it, makes most of the signal.

At 0.1 mm in 8-14 um film and polished metal together have an emissivity of 0.77 (film law,
physics/radiation/film.py); the goals of the score are stated for it."""


@dataclass(frozen=True)
class Series:
    """Temperatures over time with their standard uncertainty; NaN where not known."""

    time_s: FloatArray
    value_k: FloatArray
    u_k: FloatArray

    @property
    def known(self) -> bool:
        """Return whether any moment is known."""
        return bool(np.any(np.isfinite(self.value_k)))


@dataclass(frozen=True)
class Actual:
    """One burner of a cook as it was, and the moments that are asked about."""

    burner: str
    contents: Contents
    time_s: FloatArray
    """(time,) [s]"""
    truth: BurnerTruth | None
    probes: tuple[ProbeSeries, ...]
    """All reference probes of the cook; they tell where there is no truth."""
    sheet: SheetBurner | None = None
    """What the bench sheet says of the burner; None where there is a truth."""
    events: tuple[Event, ...] = ()
    """What was done on this burner of a recorded cook."""


def surface_series(actual: Actual, of: Of) -> Series:
    """Return the mean temperature of one surface as it was.

    Parameters
    ----------
    actual : Actual
        Burner of a cook.
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
    errors of contact are common to them. A pan is uneven, and its mean lies
    somewhere between its coldest and its hottest probe: a uniform distribution
    between both, (hottest - coldest) / sqrt(12), joins u. Where that exceeds the
    probes' own U = 2 u they do not tell the mean, and one probe alone never does:
    u is then infinite, and nothing is to be compared.

    References
    ----------
    JCGM 100:2008, 4.3.7 (uniform distribution); records of the cook.
    """
    truth = actual.truth
    if truth is None:
        return _probe_series(actual, of, hottest=False)
    whole = {
        "pan": truth.pan_k,
        "hidden_pan": truth.pan_k,
        "oil": truth.contents_k if actual.contents in ("oil", "butter") else None,
        "liquid": truth.contents_k if actual.contents == "water" else None,
        "food": truth.food_k,
        "lid": None,
    }[of]
    plain = np.full(truth.time_s.shape, np.nan) if whole is None else whole
    value = np.where(truth.seen_of == OF_WORDS.index(of), truth.seen_k, plain)
    return Series(truth.time_s, value, np.zeros(value.shape))


def hottest_series(actual: Actual, of: Of) -> Series:
    """Return the hottest part of a surface as it was: what a limit is about.

    Parameters
    ----------
    actual : Actual
        Burner of a cook.
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
    """
    truth = actual.truth
    if truth is None:
        return _probe_series(actual, of, hottest=True)
    if of in ("pan", "hidden_pan"):
        return Series(truth.time_s, truth.hottest_k, np.zeros(truth.time_s.shape))
    return surface_series(actual, of)


def surface_named(actual: Actual, of: Int8Array) -> tuple[FloatArray, FloatArray]:
    """Return what was so of the surface that each moment names.

    Parameters
    ----------
    actual : Actual
        Burner of a cook.
    of : (time,)
        Index in OF_WORDS of the surface asked about; -1 none.

    Returns
    -------
    tuple
        Temperature and its standard uncertainty, (time,) each; NaN where that
        surface is not there. [K]

    Notes
    -----
    Like is compared with like: a reading of oil only with oil.
    """
    so, u = (np.full(actual.time_s.shape, np.nan) for _ in range(2))
    for index, word in enumerate(OF_WORDS):
        mine = of == index
        if mine.any():
            series = surface_series(actual, word)
            so[mine] = interpolated(series.time_s, series.value_k, actual.time_s)[mine]
            u[mine] = interpolated(series.time_s, series.u_k, actual.time_s)[mine]
    return so, u


def _probe_series(actual: Actual, of: Of, *, hottest: bool) -> Series:
    touched = "pan" if of == "hidden_pan" else of
    time_s = actual.time_s
    probes = [
        one
        for one in actual.probes
        if one.probe.burner == actual.burner and one.probe.touches == touched
    ]
    if not probes:
        nothing = np.full(time_s.shape, np.nan)
        return Series(time_s, nothing, nothing)
    value = np.stack([interpolated(one.time_s, one.temperature_k, time_s) for one in probes])
    known = np.isfinite(value)
    count = known.sum(axis=0)
    highest = np.where(known, value, -np.inf).max(axis=0)
    lowest = np.where(known, value, np.inf).min(axis=0)
    mean = np.where(known, value, 0.0).sum(axis=0) / np.maximum(count, 1)
    u = np.stack([interpolated(one.time_s, one.u_k, time_s) for one in probes])
    doubt = np.where(known & np.isfinite(u), u, 0.0).max(axis=0)
    if touched == "pan" and not hottest:
        with np.errstate(invalid="ignore"):  # moments without a probe
            spread = np.where(count > 1, highest - lowest, np.inf) / math.sqrt(12.0)
            doubt = np.where(spread > 2.0 * doubt, np.inf, np.hypot(doubt, spread))
    nan = np.where(count > 0, 0.0, np.nan)
    return Series(time_s, np.where(count > 0, highest if hottest else mean, np.nan), doubt + nan)


def interpolated(time_s: FloatArray, value: FloatArray, at_s: FloatArray) -> FloatArray:
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
    """
    if time_s.size == 0:
        return np.full(at_s.shape, np.nan)
    return np.asarray(np.interp(at_s, time_s, value, left=np.nan, right=np.nan), dtype=np.float64)


def heated(actual: Actual, *, design: Design, of: Of | None) -> tuple[BoolArray, FloatArray]:
    """Return the moments at which a burner's pan is heated, withheld ones included.

    Parameters
    ----------
    actual : Actual
        Burner of a cook.
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
    """
    truth, time_s = actual.truth, actual.time_s
    if of is not None:
        series = surface_series(actual, of)
        value = interpolated(series.time_s, series.value_k, time_s)
        if truth is not None and of != "hidden_pan":
            seen = (truth.seen_of == OF_WORDS.index(of)).astype(np.float64)
            value[interpolated(truth.time_s, seen, time_s) < 0.5] = np.nan
    else:
        known = [surface_series(actual, word) for word in ("pan", "oil", "liquid", "food")]
        values = [interpolated(s.time_s, s.value_k, time_s) for s in known]
        value = np.fmax.reduce(values)
    with np.errstate(invalid="ignore"):
        return value >= float(design.estimation.heated_above_k), value


def drawn_moment(name: str, count: int) -> int:
    """Return the moment that is drawn of a cook's comparable ones.

    Parameters
    ----------
    name : str
        The cook's; it seeds the draw, so nobody can choose.
    count : int
        Comparable moments, 1 or more. [-]

    Returns
    -------
    int
        0 to count - 1.

    Notes
    -----
    One moment a cook, since moments of one cook share their errors.

    References
    ----------
    SHA-256 of the name, modulo the count.
    """
    digest = hashlib.sha256(f"drawn moment of {name}".encode()).digest()
    return int.from_bytes(digest[:8], "big") % count
