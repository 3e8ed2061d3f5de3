"""Balanced fractions: orthogonal arrays where they exist, pairs where rules leave them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.physics.statistics.fractions import (
    balanced_fraction,
    full_factorial,
    pair_coverage,
)


def every(levels: tuple[int, ...]) -> np.ndarray:
    return np.ones(int(np.prod(levels)), dtype=np.bool_)


def rng() -> np.random.Generator:
    return np.random.default_rng(0)


# Orthogonal arrays of strength two that are known to exist: L4, L8, L9, L12 and L16 of the
# common tables (Plackett and Burman, Biometrika 33 (1946) 305-325 for 12 runs; Rao, JRSS
# Suppl. 9 (1947) 128-139 for the others); in each, every pair meets runs / (a b) times.
@pytest.mark.parametrize(
    ("levels", "runs"),
    [((2,) * 3, 4), ((2,) * 7, 8), ((3,) * 4, 9), ((2,) * 11, 12), ((4,) * 5, 16)],
)
def test_known_orthogonal_arrays_are_reached(levels: tuple[int, ...], runs: int) -> None:
    allowed = every(levels)
    rows = balanced_fraction(levels, runs=runs, allowed=allowed, generator=rng())
    design = full_factorial(levels, rows=rows)
    for one, two in itertools.combinations(range(len(levels)), 2):
        pairs = list(zip(design[:, one].tolist(), design[:, two].tolist(), strict=True))
        counts = [pairs.count(pair) for pair in itertools.product(range(levels[0]), repeat=2)]
        assert set(counts) == {runs // levels[0] ** 2}


def test_mixed_levels_meet_every_pair() -> None:
    levels = (4, 4, 4, 3, 3, 3, 2, 8)
    allowed = every(levels)
    rows = balanced_fraction(levels, runs=64, allowed=allowed, generator=rng())
    found = pair_coverage(levels, rows=rows, allowed=allowed)
    assert found.covered == found.possible
    assert len(set(rows.tolist())) == 64
    # the rarest pair of the two commonest factors of eight and four levels stands evenly
    design = full_factorial(levels, rows=rows)
    counts = np.bincount(design[:, 7] * 4 + design[:, 0], minlength=32)
    assert counts.min() >= 1
    assert counts.max() <= 3


def test_excluded_combinations_are_never_taken() -> None:
    levels = (3, 3, 3, 2)
    allowed = every(levels).reshape(levels)
    allowed[0, 1] = False
    allowed[2, :, 0] = False
    rows = balanced_fraction(levels, runs=12, allowed=allowed.ravel(), generator=rng())
    assert allowed.ravel()[rows].all()
    found = pair_coverage(levels, rows=rows, allowed=allowed.ravel())
    assert found.possible == 9 * 3 + 6 * 3 - 2  # two pairs are ruled out
    assert found.covered == found.possible


def test_the_same_start_gives_the_same_fraction() -> None:
    levels = (3, 4, 2, 5)
    one = balanced_fraction(levels, runs=20, allowed=every(levels), generator=rng())
    two = balanced_fraction(levels, runs=20, allowed=every(levels), generator=rng())
    assert one.tolist() == two.tolist()


def test_more_runs_than_combinations_take_all() -> None:
    allowed = every((2, 3))
    allowed[4] = False
    rows = balanced_fraction((2, 3), runs=50, allowed=allowed, generator=rng())
    assert rows.tolist() == [0, 1, 2, 3, 5]


def test_nothing_allowed_is_refused() -> None:
    with pytest.raises(InputError, match="excluded"):
        balanced_fraction((2, 2), runs=2, allowed=~every((2, 2)), generator=rng())
    with pytest.raises(InputError):
        balanced_fraction((2, 2), runs=2, allowed=every((2, 3)), generator=rng())
