"""Order statistics without sorting, against numpy's sorting."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.image.burnerpass import background_level_k
from trivet.physics.image.ranks import (
    RANK_BINS,
    bracketed,
    lay_out,
    mean_between,
    quantile,
    rank_value,
    set_brackets,
)


def laid(values: np.ndarray) -> tuple[np.ndarray, int, np.ndarray]:
    ends = np.empty(RANK_BINS, np.int64)
    room = np.empty(values.size)
    return lay_out(values.copy(), values.size, room, ends), values.size, ends


@pytest.mark.parametrize("size", [1, 2, 3, 17, 1000, 3000])
def test_ranks_means_and_quantiles_are_numpys(size: int) -> None:
    rng = np.random.default_rng(size)
    for values in (rng.normal(size=size), rng.integers(0, 4, size).astype(float)):
        ordered = np.sort(values)
        for rank in {0, size // 3, size - 1}:
            assert rank_value(*laid(values), rank) == ordered[rank]
        low, high = size // 2, max(size // 2 + 1, int(0.95 * size))
        mean = mean_between(*laid(values), low, high)
        assert mean == pytest.approx(ordered[low:high].mean(), abs=1e-12)
        for share in (0.0, 0.2, 0.5, 1.0):
            found = quantile(*laid(values), share)
            assert found == pytest.approx(np.quantile(values, share), abs=1e-12)


@pytest.mark.parametrize("size", [5, 500])
def test_infinite_values_have_their_rank(size: int) -> None:
    values = np.random.default_rng(1).normal(size=size)
    values[::4] = np.inf
    values[1] = -np.inf
    ordered = np.sort(values)
    for rank in range(0, size, 3):
        assert rank_value(*laid(values), rank) == ordered[rank]
    assert mean_between(*laid(values), size - 2, size) == np.inf


@pytest.mark.parametrize("high", [300, 305, 400])
def test_a_mean_between_two_ranks_of_one_bin(high: int) -> None:
    rng = np.random.default_rng(2)
    values = np.concatenate([rng.normal(0, 1e-6, 398), [-50.0, 50.0]])
    found = mean_between(*laid(values), 299, high)
    assert found == pytest.approx(np.sort(values)[299:high].mean(), abs=1e-12)


def test_bracketed_ranks_are_those_of_sorting_or_refused() -> None:
    rng = np.random.default_rng(3)
    brackets, room = np.full((2, 2), np.nan), np.empty(900)
    assert np.isnan(bracketed(rng.normal(size=900), 900, (45, 854), room, brackets)).all()
    set_brackets(-1.64, 1.64, brackets)
    found = 0
    for _ in range(60):
        values = rng.normal(rng.choice([0.0, 0.1, 2.0]), 1.0, size=900)
        first, last, total = bracketed(values, 900, (45, 854), room, brackets)
        ordered = np.sort(values)
        if np.isnan(total):
            set_brackets(ordered[45], ordered[854], brackets)
            continue
        found += 1
        assert (first, last) == (ordered[45], ordered[854])
        assert total == pytest.approx(ordered[45:855].sum(), abs=1e-9)
    assert 20 < found < 60


@pytest.mark.parametrize("wild", [np.inf, -np.inf])
def test_infinite_values_do_not_pass_for_a_sum(wild: float) -> None:
    values, brackets = np.full(400, wild), np.empty((2, 2))
    values[:200] = np.linspace(0, 1, 200)
    set_brackets(0.1, 0.9, brackets)
    _, _, total = bracketed(values, 400, (20, 379), np.empty(400), brackets)
    assert not np.isfinite(total)


def test_hob_is_the_median_of_the_finite_pixels_frame_by_frame() -> None:
    scene = np.array([[300.0, 305.0, np.nan, np.inf, 310.0], [np.nan] * 4 + [np.inf]])
    level = background_level_k(scene, beside=np.arange(5), quantile_frac=0.5)
    np.testing.assert_array_equal(level, [305.0, 2000.0])
