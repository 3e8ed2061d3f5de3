"""The bias that n cooks can show, against another program and by drawing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.statistics.intervals import detectable_bias


@pytest.mark.parametrize("n", [5, 8, 20, 50, 400])
@pytest.mark.parametrize("power", [0.5, 0.8, 0.95])
def test_agrees_with_another_program(n: int, power: float) -> None:
    solver = pytest.importorskip("statsmodels.stats.power").TTestPower()
    theirs = solver.power(detectable_bias(n, power=power), n, 0.05)
    assert theirs == pytest.approx(power, abs=1e-5)


def test_found_as_often_as_stated() -> None:
    bias, n, tries = detectable_bias(12, sd=2.0), 12, 4000
    values = np.random.default_rng(1).normal(bias, 2.0, (tries, n))
    found = stats.ttest_1samp(values, 0.0, axis=1).pvalue < 0.05
    assert found.mean() == pytest.approx(0.8, abs=4.0 * (0.8 * 0.2 / tries) ** 0.5)


def test_many_cooks_follow_the_normal_rule() -> None:
    normal = stats.norm.ppf(0.975) + stats.norm.ppf(0.8)
    assert detectable_bias(10_000) * 100.0 == pytest.approx(normal, rel=1e-3)


def test_refuses_what_cannot_be() -> None:
    with pytest.raises(InputError):
        detectable_bias(1)
    with pytest.raises(OutOfRangeError):
        detectable_bias(5, power=0.04)
    with pytest.raises(OutOfRangeError):
        detectable_bias(5, confidence=1.0)
