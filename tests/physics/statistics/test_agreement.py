"""The interval score against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from trivet.errors import InputError
from trivet.physics.statistics.agreement import interval_score


def test_interval_score_by_hand() -> None:
    # Width 4; outside by 1 costs 2 / 0.05 = 40 more (Gneiting and Raftery 2007, section 6.2).
    found = interval_score([0.0, -3.0, 2.0], half_width=[2.0, 2.0, 2.0])
    assert found == pytest.approx([4.0, 44.0, 4.0])
    with pytest.raises(InputError):
        interval_score([0.0], half_width=[1.0, 2.0])


@pytest.mark.parametrize("share", [0.5, 1.0, 2.0])
def test_interval_score_of_a_normal_error(share: float) -> None:
    # Mean over a normal error in closed form: 2 k + 80 (phi(k) - k (1 - Phi(k))).
    k = 1.959964 * share
    closed = 2 * k + 80 * (stats.norm.pdf(k) - k * stats.norm.sf(k))
    quantiles = stats.norm.ppf((np.arange(200_000) + 0.5) / 200_000)
    found = interval_score(quantiles, half_width=np.full(quantiles.size, k)).mean()
    assert found == pytest.approx(closed, rel=1e-3)
    assert closed >= 4.675
