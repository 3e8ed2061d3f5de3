"""Shortened series and the window, against quadrature of Planck's law."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.physics.radiation.planck import flat_band, quadrature_radiance
from trivet.physics.radiation.scenepass import (
    SERIES_LANES,
    band_series,
    empty_scene,
    evaluate_lanes,
    fill_scene,
)

BANDS = [flat_band(8e-6, 14e-6), flat_band(7.5e-6, 13e-6), flat_band(5e-6, 15e-6)]


@pytest.mark.parametrize("band", BANDS)
def test_series_there_and_back(band) -> None:
    temperature = np.linspace(235.0, 872.0, SERIES_LANES)
    root, back = np.empty(SERIES_LANES), np.empty(SERIES_LANES)
    evaluate_lanes(temperature, band_series(band).forward, root)
    truth = quadrature_radiance(temperature, band=band)
    np.testing.assert_allclose(root**4, truth, rtol=1e-10)
    evaluate_lanes(truth**0.25, band_series(band).inverse, back)
    np.testing.assert_allclose(back, temperature, atol=1e-8)


def test_outside_its_interval_a_series_gives_nan() -> None:
    out = np.empty(SERIES_LANES)
    evaluate_lanes(np.full(SERIES_LANES, 1200.0), band_series(BANDS[0]).forward, out)
    assert np.isnan(out).all()


def test_window_is_taken_out_and_marks_stay() -> None:
    band, tau, pixels = BANDS[0], 0.85, 70
    scene_k = np.linspace(300.0, 550.0, pixels)
    behind = tau * quadrature_radiance(scene_k, band=band)
    behind += (1 - tau) * quadrature_radiance(310.0, band=band)
    knots = np.linspace(290.0, 560.0, 400_001)
    apparent = np.interp(behind, quadrature_radiance(knots, band=band), knots) + 2.0
    apparent[:3] = np.nan, np.inf, -np.inf
    found = fill_scene(
        apparent[None].astype(np.float32),
        offset_k=np.full(1, 2.0),
        window_k=np.full(1, 310.0),
        transmittance=tau,
        band=band,
        out=empty_scene(4, pixels),
    )
    assert found.temperature_k.shape == (1, pixels)
    np.testing.assert_array_equal(found.temperature_k[0, :3], [np.nan, np.inf, -np.inf])
    # single precision of the readings is 15 uK at 300 K
    np.testing.assert_allclose(found.temperature_k[0, 3:], scene_k[3:], atol=1e-4)
    assert np.isnan(found.radiance[0, :3]).all()
