"""Weighted criteria: which option wins, and at which weight another one would."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray, IntArray
from trivet.errors import InputError

SUM_TOLERANCE = 1e-9  # own estimate: rounding of a sum of 40 weights, far above it


@dataclass(frozen=True)
class Flip:
    """Weights of one criterion at which the winner changes; NaN where it never does."""

    lower: float
    lower_winner: int
    upper: float
    upper_winner: int


def scores(values: ArrayLike, *, worst: ArrayLike, best: ArrayLike) -> FloatArray:
    """Return values on a scale from 0 (worst) to 1 (best), held at the ends.

    Parameters
    ----------
    values : (option, criterion)
        Raw values; NaN is unknown and scores 0.
    worst, best : (criterion,)
        Ends of the scale; best below worst where less is better.

    Returns
    -------
    (option, criterion)
        Scores. [-]

    Raises
    ------
    InputError
        If an end is missing or the two ends of a scale are equal.

    Notes
    -----
    Linear. An end that is set too far flattens a criterion: on a scale of 0 to 1,000
    days the difference between 38 and 58 counts 0.02.

    References
    ----------
    Linear value functions, common practice.
    """
    raw = np.atleast_2d(np.asarray(values, dtype=np.float64))
    low, high = np.asarray(worst, dtype=np.float64), np.asarray(best, dtype=np.float64)
    if not (np.all(np.isfinite(low)) and np.all(np.isfinite(high)) and np.all(low != high)):
        raise InputError("trade study: the worst and the best of a criterion must be two numbers")
    scaled = np.clip((raw - low) / (high - low), 0.0, 1.0)
    return np.where(np.isnan(scaled), 0.0, scaled)


def totals(score: ArrayLike, *, weights: Sequence[float]) -> FloatArray:
    """Return the weighted sum of each option.

    Parameters
    ----------
    score : (option, criterion)
        Scores from 0 to 1. [-]
    weights : sequence of float
        One a criterion; they sum to 1. [-]

    Returns
    -------
    (option,)
        Totals. [-]

    Raises
    ------
    InputError
        If the weights do not sum to 1, one is negative, or their number is wrong.

    Notes
    -----
    Weights are not scaled to a sum of 1: a sum of 0.95 is more often a forgotten
    criterion than a rounding.

    References
    ----------
    Weighted-sum model, textbook form.
    """
    table = np.atleast_2d(np.asarray(score, dtype=np.float64))
    shares = np.asarray(weights, dtype=np.float64)
    if shares.shape != (table.shape[1],):
        raise InputError(f"trade study: {shares.size} weights for {table.shape[1]} criteria")
    if not np.all(shares >= 0.0):
        raise InputError(f"trade study: weights {list(weights)}: allowed 0 or more")
    if not abs(float(shares.sum()) - 1.0) <= SUM_TOLERANCE:
        raise InputError(
            f"trade study: the weights sum to {shares.sum():g}; they must sum to 1, "
            "so that a forgotten criterion shows"
        )
    return np.asarray(table @ shares, dtype=np.float64)


def weight_flips(score: ArrayLike, *, weights: Sequence[float]) -> tuple[Flip, ...]:
    """Return for each criterion the nearest weights at which another option wins.

    Parameters
    ----------
    score : (option, criterion)
        Scores from 0 to 1. [-]
    weights : sequence of float
        One a criterion; they sum to 1. [-]

    Returns
    -------
    tuple of Flip
        One a criterion: the weight below and above which the winner changes, and to
        which option. The other weights keep their ratios; where they are all 0 they
        share what is left equally.

    Raises
    ------
    InputError
        As :func:`totals`.

    Notes
    -----
    Totals are straight lines of a weight, so that flips are exact: with scores of
    (1, 0) and (0, 1) and weights of 0.6 and 0.4 the first wins down to 0.5. The first
    of equal options counts as the winner.

    References
    ----------
    One-at-a-time sensitivity of weights; intersection of lines.
    """
    table = np.atleast_2d(np.asarray(score, dtype=np.float64))
    total = totals(table, weights=weights)
    winner = int(np.argmax(total))
    shares = np.asarray(weights, dtype=np.float64)
    return tuple(_flip(table, shares, winner, at) for at in range(shares.size))


def drawn_wins(
    score: ArrayLike,
    *,
    weights: Sequence[float],
    spread: tuple[float, float],
    draws: int,
    generator: np.random.Generator,
) -> IntArray:
    """Return how often each option wins when weights and scores are drawn about what is stated.

    Parameters
    ----------
    score : (option, criterion)
        Scores from 0 to 1. [-]
    weights : sequence of float
        One a criterion; they sum to 1. [-]
    spread : pair of float
        Half-width of each weight as a share of it, and of each score on its scale. [-]
    draws : int
        How many.
    generator : numpy.random.Generator
        Source of randomness.

    Returns
    -------
    (option,)
        Draws that the option wins; they sum to the draws.  The first of equals wins.

    Raises
    ------
    InputError
        As :func:`totals`, or if a spread is outside 0 to 1.

    Notes
    -----
    Rectangular and independent; weights are scaled to a sum of 1 in each draw, scores
    held at 0 and 1.  With scores of (1, 0) and (0, 1), weights of 0.5 and 0.5 and a
    spread of the weights alone each option wins half of the draws.  10,000 draws know a
    share to 0.01.

    References
    ----------
    Butler, Jia and Dyer, European Journal of Operational Research 103 (1997) 531, for
    random weights; from memory.
    """
    table = np.atleast_2d(np.asarray(score, dtype=np.float64))
    totals(table, weights=weights)
    if not all(0.0 <= one <= 1.0 for one in spread):
        raise InputError(f"trade study: spreads {spread}: allowed 0 to 1")
    factor = 1.0 + spread[0] * generator.uniform(-1.0, 1.0, (draws, table.shape[1]))
    drawn = np.asarray(weights, dtype=np.float64) * factor
    shares = drawn / np.maximum(drawn.sum(axis=1, keepdims=True), 1e-300)
    moved = table + spread[1] * generator.uniform(-1.0, 1.0, (draws, *table.shape))
    winner = np.argmax(np.einsum("doc,dc->do", np.clip(moved, 0.0, 1.0), shares), axis=1)
    return np.bincount(winner, minlength=table.shape[0]).astype(np.int64)


def _flip(table: FloatArray, shares: FloatArray, winner: int, at: int) -> Flip:
    weight, left = float(shares[at]), 1.0 - float(shares[at])
    others = shares.copy()
    others[at] = 0.0
    if left > SUM_TOLERANCE:
        others = others / left
    elif shares.size > 1:
        others = np.where(np.arange(shares.size) == at, 0.0, 1.0 / (shares.size - 1))
    own, rest = table[:, at], table @ others
    lower, upper = (math.nan, -1), (math.nan, -1)
    for other in range(table.shape[0]):
        ahead_own = own[winner] - own[other]
        ahead_rest = rest[winner] - rest[other]
        if other == winner or ahead_own == ahead_rest:
            continue
        # w ahead_own + (1 - w) ahead_rest = 0
        place = float(ahead_rest / (ahead_rest - ahead_own))
        if not -SUM_TOLERANCE <= place <= 1.0 + SUM_TOLERANCE:
            continue
        falls = ahead_own > ahead_rest
        if falls and place > SUM_TOLERANCE and (math.isnan(lower[0]) or place > lower[0]):
            lower = (min(place, weight), other)
        if not falls and place < 1.0 - SUM_TOLERANCE and (math.isnan(upper[0]) or place < upper[0]):
            upper = (max(place, weight), other)
    return Flip(lower[0], lower[1], upper[0], upper[1])
