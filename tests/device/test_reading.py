"""The device's reading: its integers against known answers, and its header against its numbers."""

from __future__ import annotations

import re

import numpy as np
import pytest

from trivet.device import arithmetic
from trivet.device import readingburner as burner
from trivet.device import readingrules as pixels
from trivet.device.firmware import code_text
from trivet.device.fixedpoint import EXP_PER_TAU, EXP_STEPS
from trivet.device.readingrules import HOUSING_RING, HeadNumbers


def test_c_structure_and_twin_have_the_same_numbers():
    text = re.search(
        r"typedef struct \{(.*?)\} trivet_numbers;", code_text("trivet_reading.h"), re.S
    )
    assert text is not None
    names = re.findall(r"\b(\w+)[,;]", text[1])
    assert tuple(names) == HeadNumbers._fields


def test_division_rounds_half_away_from_zero():
    # As C99 truncates and numpy floors, neither may be used bare.
    cases = {(5, 2): 3, (-5, 2): -3, (4, 3): 1, (-4, 3): -1, (7, 4): 2, (-7, 4): -2, (0, 9): 0}
    for (value, by), answer in cases.items():
        assert arithmetic.divided(value, by) == answer


def test_decay_is_the_exponential_to_a_thousandth():
    table = np.rint(32768 * np.exp(-np.arange(EXP_STEPS + 1) / EXP_PER_TAU)).astype(np.int64)
    awake = np.arange(0, 700_000, 777)
    own = np.array([arithmetic.decay_q15(int(t), 80_000, table) for t in awake]) / 32768
    # The chord sags by (1/16)^2 / 8, 0.05 %, and the place is cut to 1/4096: 0.024 % more.
    assert np.abs(own - np.exp(-awake / 80_000)).max() < 0.00074


@pytest.mark.parametrize("rate_kps", [-0.2, 0.0, 0.013, 1.0])
def test_housing_rate_of_a_straight_course(rate_kps):
    head, ring = np.array([0, 0, 0]), np.zeros((HOUSING_RING, 2), dtype=np.int64)
    found = 0
    for now in range(0, 40_000, 250):
        word = round((300.0 + rate_kps * now / 1000.0) * 64)
        found = pixels.housing_rate_q20(now, word, head, ring)
    # Words are rounded to 1/64 K: over 30 s that is under 0.3 mK/s.
    assert found / 2**20 * 1000 / 64 == pytest.approx(rate_kps, abs=3e-4)


def test_housing_rate_cannot_overflow_and_says_nothing_of_ten_seconds():
    head, ring = np.array([0, 0, 0]), np.zeros((HOUSING_RING, 2), dtype=np.int64)
    for now in range(0, 9_000, 250):
        assert pixels.housing_rate_q20(now, 19_000, head, ring) == 0
    largest = 0
    for now in range(9_000, 90_000, 1000):
        word = 65534 if (now // 15_000) % 2 else 2
        largest = max(largest, abs(int(pixels.housing_rate_q20(now, word, head, ring))))
    # The steepest that words allow: all of them within 30 s, least squares 1.5 times as steep.
    assert 0 < largest <= 1.6 * 65535 / 29_000 * 2**20


def test_sort_and_root():
    generator = np.random.default_rng(5)
    for size in (0, 1, 2, 3, 50, 333):
        words = generator.integers(0, 65536, size + 4)
        sorted_ = words.copy()
        burner.sort_words(sorted_, size)
        assert sorted_[:size].tolist() == sorted(words[:size].tolist())
        assert sorted_[size:].tolist() == words[size:].tolist()
    for square in (0, 1, 3, 4, 65535**2 - 1, 65535**2, 2**32, 2**40):
        assert arithmetic.root_of(square) == min(int(np.sqrt(square)), 65535)
