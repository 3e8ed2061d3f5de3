"""Weights, rankings and flips: by hand, and against a brute-force search."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.physics.economics.tradestudy import drawn_wins, scores, totals, weight_flips


def test_two_options_by_hand():
    # A scores (1, 0), B (0, 1). Weights 0.6 / 0.4: A wins with 0.6 against 0.4 and loses
    # when w1 = 1 - w1, at 0.5; the same flip seen from the other weight is at 0.5 upwards.
    table = [[1.0, 0.0], [0.0, 1.0]]
    assert totals(table, weights=[0.6, 0.4]).tolist() == pytest.approx([0.6, 0.4])
    first, second = weight_flips(table, weights=[0.6, 0.4])
    assert (first.lower, first.lower_winner) == (pytest.approx(0.5), 1)
    assert math.isnan(first.upper)
    assert (second.upper, second.upper_winner) == (pytest.approx(0.5), 1)
    assert math.isnan(second.lower)


def test_three_criteria_by_hand():
    # Weights 0.5, 0.3, 0.2. A = (0.8, 0.2, 0.5), B = (0.4, 0.9, 0.5).
    # Totals: A 0.40 + 0.06 + 0.10 = 0.56; B 0.20 + 0.27 + 0.10 = 0.57: B leads by 0.01.
    # Weight of the first, others in the ratio 3:2: rest A = 0.6 x 0.2 + 0.4 x 0.5 = 0.32,
    # rest B = 0.6 x 0.9 + 0.4 x 0.5 = 0.74. Equal: 0.8 w + 0.32 (1 - w) = 0.4 w + 0.74 (1 - w)
    # gives 0.82 w = 0.42, w = 0.512195.
    table = [[0.8, 0.2, 0.5], [0.4, 0.9, 0.5]]
    assert totals(table, weights=[0.5, 0.3, 0.2]).tolist() == pytest.approx([0.56, 0.57])
    flip = weight_flips(table, weights=[0.5, 0.3, 0.2])[0]
    assert (flip.upper, flip.upper_winner) == (pytest.approx(0.42 / 0.82), 0)


@pytest.mark.parametrize("seed", range(20))
def test_flips_against_a_search_over_all_weights(seed):
    """Walk each weight in steps of 1e-3: the winner must change where the flip says."""
    rng = np.random.default_rng(seed)
    table = rng.random((4, 3))
    weights = rng.dirichlet([1.0, 1.0, 1.0])
    weights = weights / weights.sum()
    winner = int(np.argmax(table @ weights))
    for at, flip in enumerate(weight_flips(table, weights=weights.tolist())):
        others = weights.copy()
        others[at] = 0.0
        others /= others.sum()
        for weight in np.linspace(0.0005, 0.9995, 1000):
            mixed = weight * table[:, at] + (1 - weight) * (table @ others)
            low = math.isnan(flip.lower) or weight > flip.lower
            high = math.isnan(flip.upper) or weight < flip.upper
            assert (int(np.argmax(mixed)) == winner) == (low and high)
        if not math.isnan(flip.upper):
            mixed = (flip.upper + 1e-6) * table[:, at] + (1 - flip.upper - 1e-6) * (table @ others)
            assert int(np.argmax(mixed)) == flip.upper_winner


@pytest.mark.parametrize(
    ("weights", "says"),
    [([0.5, 0.4], "sum to 0.9"), ([0.5, 0.6], "sum to 1.1"), ([1.2, -0.2], "0 or more"),
     ([1.0], "1 weights for 2")],
)  # fmt: skip
def test_weights_that_do_not_sum_are_refused(weights, says):
    with pytest.raises(InputError, match=says):
        totals([[1.0, 0.0]], weights=weights)
    with pytest.raises(InputError, match=says):
        weight_flips([[1.0, 0.0]], weights=weights)


def test_scores_are_held_at_the_ends_and_unknown_is_nothing():
    got = scores([[90.0, 30.0], [400.0, math.nan]], worst=[0.0, 60.0], best=[180.0, 0.0])
    assert got.tolist() == [[0.5, 0.5], [1.0, 0.0]]
    with pytest.raises(InputError, match="two numbers"):
        scores([[1.0]], worst=[1.0], best=[1.0])


def test_an_option_that_is_best_in_all_never_loses():
    for flip in weight_flips([[1.0, 1.0], [0.5, 0.2]], weights=[0.5, 0.5]):
        assert math.isnan(flip.lower)
        assert math.isnan(flip.upper)


def test_one_criterion_with_all_the_weight():
    (first, second) = weight_flips([[1.0, 0.0], [0.0, 1.0]], weights=[1.0, 0.0])
    assert first.lower == pytest.approx(0.5)
    assert second.upper == pytest.approx(0.5)


def test_two_even_options_win_half_of_the_draws_each():
    # [own calculation] (1, 0) and (0, 1) at equal weights: the larger weight wins
    wins = drawn_wins([[1, 0], [0, 1]], weights=[0.5, 0.5], spread=(0.3, 0.0),
                      draws=20_000, generator=np.random.default_rng(1))  # fmt: skip
    assert wins.sum() == 20_000
    assert wins[0] / 20_000 == pytest.approx(0.5, abs=0.0177)  # five deviations


def test_weights_that_differ_lose_by_the_area_of_a_triangle():
    # [own calculation] weights 0.52 (1 + 0.1 u) and 0.48 (1 + 0.1 v): the second wins where
    # 0.48 v - 0.52 u > 0.4; of the square [-1, 1]^2 that is a triangle of 1/2 x 0.6/0.52 x 0.6/0.48
    share = 0.5 * (0.6 / 0.52) * (0.6 / 0.48) / 4
    wins = drawn_wins([[1, 0], [0, 1]], weights=[0.52, 0.48], spread=(0.1, 0.0),
                      draws=40_000, generator=np.random.default_rng(2))  # fmt: skip
    assert wins[1] / 40_000 == pytest.approx(share, abs=0.01)


def test_nothing_drawn_is_the_winner_every_time():
    wins = drawn_wins([[1, 0], [0, 1]], weights=[0.6, 0.4], spread=(0.0, 0.0),
                      draws=100, generator=np.random.default_rng(4))  # fmt: skip
    assert list(wins) == [100, 0]


def test_a_spread_over_1_is_refused():
    with pytest.raises(InputError, match="spreads"):
        drawn_wins([[1, 0], [0, 1]], weights=[0.6, 0.4], spread=(1.2, 0.0),
                   draws=10, generator=np.random.default_rng(4))  # fmt: skip
