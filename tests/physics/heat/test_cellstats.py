"""Statistics over areas by hand."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.heat.cellstats import area_quantiles_k, hottest_mean_k


def test_area_statistics_by_hand():
    cells, area = np.array([[1.0, 4.0, 2.0, 3.0]]), np.array([1.0, 1.0, 2.0, 6.0]) * 1e-4
    low, median = area_quantiles_k(cells, area_m2=area, shares=(0.05, 0.5))
    assert (low[0], median[0]) == (1.0, 3.0)
    # hottest 5 cm2: 1 cm2 of 4 and 4 cm2 of 3
    assert hottest_mean_k(cells, area_m2=area)[0] == pytest.approx((4 + 4 * 3) / 5)
    assert hottest_mean_k(cells, area_m2=area, hottest_m2=1.0)[0] == pytest.approx(2.7)
