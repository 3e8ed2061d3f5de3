"""Terms that err together: declared pairs, their matrix, and draws that follow it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from scipy.special import ndtr, ndtri

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.physics.statistics.uncertainty import correlation_matrix
from trivet.records.design import Design
from trivet.stages.predict.cases import Pair, Term
from trivet.stages.predict.pathterms import window_half_k
from trivet.stages.predict.views import Eye


def declared_pairs(design: Design, *, eye: Eye) -> tuple[Pair, ...]:
    """Return the pairs of terms that err together: the housing's, then the design's.

    Parameters
    ----------
    design : Design
        Its ranges and declared correlations.
    eye : Eye
        Head and card.

    Returns
    -------
    tuple of Pair
        A declared pair replaces the program's own one.

    Notes
    -----
    A housing warmer than believed warms the window and shifts the offset of a
    sensor whose drift has a known sign.  With u_h of the housing's temperature, u_w
    of the window's, drift k and rise h the coefficient is
    (u_h / u_w) k u_h / sqrt((k u_h)^2 + (h u_k)^2): 0.57 for a drift of 0 to 0.2, a
    rise of 5 to 30 K and an ambient of 18 to 30 C.
    """
    found = {frozenset((one.first, one.second)): one for one in _housing(design, eye)}
    for one in design.correlations:
        key = frozenset((one.first, one.second))
        found[key] = Pair(one.first, one.second, float(one.coefficient), one.note or "declared")
    return tuple(found.values())


def _housing(design: Design, eye: Eye) -> list[Pair]:
    drift, rise = eye.card.housing_drift_per_k, design.surroundings.housing_rise_delta_k
    if drift is None or drift.low is None or drift.low * (drift.high or 0.0) < 0.0:
        return []
    warm = math.hypot(design.surroundings.ambient_k.half_width, rise.half_width)
    moved = math.hypot(float(drift) * warm, float(rise) * drift.half_width)
    window = window_half_k(design, window=eye.head.window)
    if warm == 0.0 or moved == 0.0:
        return []
    sign = math.copysign(1.0, float(drift))
    together = sign * min(warm / window, 1.0) * abs(float(drift)) * warm / moved
    why = "the housing's temperature moves both"
    return [Pair("drift with housing", "window temperature", together, why)]


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
