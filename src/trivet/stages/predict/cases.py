"""What an error budget is made of: cases, places, terms, and terms that err together."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import ndtr, ndtri

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.statistics.errordraws import FIELDS
from trivet.physics.statistics.uncertainty import correlation_matrix
from trivet.records.prediction import PanView
from trivet.stages.predict.views import Eye

COVERAGE_FACTOR = float(ndtri(0.975))  # JCGM 100:2008, G.1: two-sided 95 % of a normal
Field = Literal[
    "offset_k",
    "gain",
    "emissivity",
    "reflected_k",
    "transmittance",
    "window_k",
    "source_frac",
    "around_k",
    "step_k",
    "column_frac",
    "mirrored_frac",
]
Shape = Literal["rectangular", "normal"]


@dataclass(frozen=True, eq=False)
class Term:
    """One term for every case: deviation of an input from what the product believes.

    ``low`` and ``high`` (case,) are the ends of a rectangular deviation, or minus
    and plus one standard deviation of a normal one; NaN where the card is silent.
    A term that is not ``needed`` may be unknown: it is named and left out of the
    sum; an unknown needed one leaves no figure at all.
    """

    name: str
    field: Field
    low: FloatArray
    high: FloatArray
    distribution: Shape
    source: str
    needed: bool = True

    @property
    def standard_uncertainty(self) -> FloatArray:
        """Standard deviation of the input. (case,)"""
        half = (self.high - self.low) / 2
        return half / math.sqrt(3.0) if self.distribution == "rectangular" else half

    @property
    def known(self) -> bool:
        """Whether its size is known in every case."""
        return not bool(np.isnan(self.low).any() or np.isnan(self.high).any())


def term_of(
    name: str,
    field: Field,
    ends: FloatArray | tuple[FloatArray, FloatArray],
    source: str,
    *,
    shape: Shape = "rectangular",
    needed: bool = True,
) -> Term:
    """Return a term between two ends, (case,) each; one array is a half-width."""
    low, high = ends if isinstance(ends, tuple) else (-ends, ends)
    return Term(name, field, low, high, shape, source, needed)


@dataclass(frozen=True)
class Pair:
    """Two terms that err together, and why."""

    first: str
    second: str
    coefficient: float
    why: str


@dataclass(frozen=True, eq=False)
class Cases:
    """What one head sees, case by case: temperatures and what the product believes. (case,)

    ``step_k`` is the believed drop from the pan to the film's surface.
    """

    eye: Eye
    temperature_k: FloatArray
    sight: LineOfSight
    step_k: FloatArray
    terms: tuple[Term, ...]
    pairs: tuple[Pair, ...] = ()

    @property
    def apparent_k(self) -> FloatArray:
        """What the sensor states when nothing errs. (case,)"""
        return sighted_apparent_k(
            self.temperature_k - self.step_k, sight=self.sight, band=self.eye.band
        )

    @property
    def nominal(self) -> FloatArray:
        """What the product believes, (case, field) in the order of the fused equation."""
        columns = [
            self.step_k if name == "step_k" else np.asarray(getattr(self.sight, name), float)
            for name in FIELDS
        ]
        count = self.temperature_k.size
        return np.stack([np.broadcast_to(column, (count,)) for column in columns], axis=1)

    @property
    def range_k(self) -> tuple[float, float]:
        """Ends of the sensor's range; infinite where the card is silent."""
        low, high = self.eye.card.range_low_k, self.eye.card.range_high_k
        return (
            -math.inf if low is None else float(low),
            math.inf if high is None else float(high),
        )


@dataclass(frozen=True)
class SeenCase:
    """One case before its terms are known: a view, a temperature, a surface."""

    view: PanView
    temperature_k: float
    pan_diameter_m: float
    film_m: float
    """Thickness of a film read as the pan; 0 where there is none."""
    emissivity: tuple[float, float, float]
    """Believed value, low and high."""
    emissivity_source: str
    blur_loss: tuple[float, float]
    """Least and most share of the signal that blur takes from beside the pan."""
    film_share_frac: float = 1.0
    """Share of the glow that comes from the film itself and not from the pan below."""
    burner_m: tuple[float, float] = (0.0, 0.0)
    """Where the pan stands."""
    base: str = ""
    """Base contents."""


def matrix_of(terms: Sequence[Term], *, pairs: Sequence[Pair]) -> FloatArray:
    """Return the correlation of the terms, (term, term).

    Raises
    ------
    InputError
        If a pair names a term twice, or the coefficients contradict one another.
    """
    place = {term.name: at for at, term in enumerate(terms)}
    matrix = np.eye(len(terms))
    for pair in pairs:
        if pair.first == pair.second:
            raise InputError(f"correlations: {pair.first!r} with itself is always 1")
        if pair.first in place and pair.second in place:
            a, b = place[pair.first], place[pair.second]
            matrix[a, b] = matrix[b, a] = pair.coefficient
    return correlation_matrix(matrix, count=len(terms))


def groups_of(matrix: FloatArray) -> list[list[int]]:
    """Return the terms grouped so that no two groups are correlated, in order."""
    groups: list[list[int]] = []
    for at in range(matrix.shape[0]):
        joined = [group for group in groups if np.any(matrix[at, group] != 0.0)]
        groups = [group for group in groups if group not in joined]
        groups.append(sorted([at, *(one for group in joined for one in group)]))
    return sorted(groups)


def correlated_units(
    uniform: FloatArray, *, terms: Sequence[Term], matrix: FloatArray
) -> FloatArray:
    """Return unit draws of all terms from independent uniform numbers.

    Parameters
    ----------
    uniform : (term, draw)
        Independent numbers in (0, 1).
    terms : sequence of Term
        Their distributions: uniform on 0 to 1, or standard normal.
    matrix : (term, term)
        Correlation of the terms.

    Returns
    -------
    (term, draw)
        Units with just these correlations.

    Notes
    -----
    Normals are mixed and mapped back; a mapping to the uniform shrinks a coefficient,
    which is undone before: r = (6 / pi) asin(rho / 2) for two uniforms and
    r = sqrt(3 / pi) rho for a uniform and a normal.

    References
    ----------
    Relations of the normal copula, textbook form.
    """
    units = np.empty_like(uniform)
    flat = np.array([term.distribution == "rectangular" for term in terms])
    for group in groups_of(matrix):
        if len(group) == 1:
            (at,) = group
            units[at] = uniform[at] if flat[at] else ndtri(uniform[at])
            continue
        normal = _root(_latent(matrix[np.ix_(group, group)], flat[group])) @ ndtri(uniform[group])
        for row, at in enumerate(group):
            units[at] = ndtr(normal[row]) if flat[at] else normal[row]
    return units


def _latent(matrix: FloatArray, flat: FloatArray) -> FloatArray:
    """Return the correlation that normals must have so that their images have a given one."""
    both, mixed = np.logical_and.outer(flat, flat), np.logical_xor.outer(flat, flat)
    latent = np.where(both, 2.0 * np.sin(np.pi / 6.0 * matrix), matrix)
    latent = np.where(mixed, np.clip(matrix * math.sqrt(math.pi / 3.0), -1.0, 1.0), latent)
    np.fill_diagonal(latent, 1.0)
    return latent


def _root(matrix: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(matrix)
    rooted = vectors * np.sqrt(np.clip(values, 0.0, None))
    return np.asarray(rooted / np.linalg.norm(rooted, axis=1, keepdims=True))
