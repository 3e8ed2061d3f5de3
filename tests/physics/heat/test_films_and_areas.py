"""Oil films keep their volume; statistics over areas by hand."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.heat.cellstats import area_quantiles_k, hottest_mean_k
from trivet.physics.heat.oilfilm import film_thickness_m, smooth_field


def test_film_keeps_its_volume_and_its_bare_share():
    generator = np.random.default_rng(3)
    x, y = np.meshgrid(np.linspace(-0.1, 0.1, 40), np.linspace(-0.1, 0.1, 40))
    field = smooth_field(x, y_m=y, wavelength_m=0.05, generator=generator)
    assert field.std() == pytest.approx(1.0, abs=0.3)
    area = np.full(1600, 2.5e-5)
    film = film_thickness_m(
        field.ravel(), area_m2=area, volume_m3=4e-6, wet_frac=0.8, unevenness=0.4
    )
    assert (film * area).sum() == pytest.approx(4e-6)
    assert (film == 0).mean() == pytest.approx(0.2, abs=0.002)
    # smooth: neighbours resemble one another far more than strangers do
    near = np.abs(np.diff(field, axis=1)).mean()
    assert near < 0.3 * np.abs(field - field.ravel()[::-1].reshape(field.shape)).mean()


def test_area_statistics_by_hand():
    cells, area = np.array([[1.0, 4.0, 2.0, 3.0]]), np.array([1.0, 1.0, 2.0, 6.0]) * 1e-4
    low, median = area_quantiles_k(cells, area_m2=area, shares=(0.05, 0.5))
    assert (low[0], median[0]) == (1.0, 3.0)
    # hottest 5 cm2: 1 cm2 of 4 and 4 cm2 of 3
    assert hottest_mean_k(cells, area_m2=area)[0] == pytest.approx((4 + 4 * 3) / 5)
    assert hottest_mean_k(cells, area_m2=area, hottest_m2=1.0)[0] == pytest.approx(2.7)
