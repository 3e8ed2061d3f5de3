"""The arithmetic of the reading: the same compiled rule rounds integers and not floats."""

from __future__ import annotations

import numpy as np
import pytest
from numba import njit

from trivet.device import arithmetic
from trivet.device.fixedpoint import (
    FIRST_NODE_K,
    LAST_NODE_K,
    ONE_Q15,
    STEPS_PER_K,
    node_temperatures_k,
    radiance_table,
)


@njit
def both(value, by):
    return (
        arithmetic.divided(value, by),
        arithmetic.shifted(value, 2),
        arithmetic.halved(value),
        arithmetic.root_of(value),
    )


def test_integers_round_and_floats_do_not():
    assert both(7, 2) == (4, 1, 4, 2)
    assert both(7.0, 2) == (3.5, 1.75, 3.5, pytest.approx(7**0.5))


@njit
def surface(word, shares, around, values):
    return arithmetic.surface_of(word, shares, around, values)


def test_the_exact_inversion_is_that_of_the_words_without_their_steps():
    coarse = node_temperatures_k() ** 4
    fine = np.arange(FIRST_NODE_K, LAST_NODE_K + 1e-9, 1 / 16) ** 4.0
    shares, around = (ONE_Q15 // 2, ONE_Q15), (300 * STEPS_PER_K, 300 * STEPS_PER_K)
    known_k = np.array([310.0, 400.0, 512.3])
    seen_k = (0.5 * known_k**4 + 0.5 * 300.0**4) ** 0.25
    exact = [surface(float(k) * STEPS_PER_K, shares, around, fine) / STEPS_PER_K for k in seen_k]
    assert np.allclose(exact, known_k, atol=2e-5)
    words = radiance_table(coarse).values
    own = [surface(round(k * STEPS_PER_K), shares, around, words) / STEPS_PER_K for k in seen_k]
    assert np.abs(own - known_k).max() < 0.05
    assert surface(0.0, shares, around, fine) == 0.0
    assert surface(65535.0, shares, around, fine) == 65535.0
