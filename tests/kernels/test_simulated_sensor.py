"""What the simulator adds on the way from surfaces to readings, each part on its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csr_array

from trivet.errors import InputError, OutOfRangeError
from trivet.kernels.heat.cellstats import area_quantiles_k, hottest_mean_k
from trivet.kernels.heat.patches import film_thickness_m, smooth_field
from trivet.kernels.radiation.planck import band_radiance, flat_band, quadrature_radiance
from trivet.kernels.radiation.render import at_moments, disc_cover, mixed_radiance, pixel_radiance
from trivet.kernels.sensor.probesim import ProbeErrors, probe_reading_k
from trivet.kernels.sensor.sensornoise import (
    SensorErrors,
    digitised_k,
    netd_radiance,
    noisy_apparent_k,
    wander_k,
    with_errors_k,
)

BAND = flat_band(8e-6, 14e-6)


def test_pixels_are_sums_of_surfaces():
    matrix = csr_array(np.array([[0.25, 0.75, 0.0], [0.0, 0.5, 0.5]]))
    surfaces = np.array([[100.0, 200.0, 50.0], [0.0, 4.0, 8.0]])
    assert np.allclose(pixel_radiance(matrix, surfaces=surfaces), [[175.0, 125.0], [3.0, 6.0]])
    with pytest.raises(InputError, match="wanted"):
        pixel_radiance(matrix, surfaces=surfaces.T)


def test_shiny_surface_mostly_mirrors():
    mirrored = float(quadrature_radiance(300.0, band=BAND))
    got = mixed_radiance(500.0, emissivity=0.1, mirrored=mirrored, band=BAND)
    wanted = 0.1 * quadrature_radiance(500.0, band=BAND) + 0.9 * mirrored
    assert got == pytest.approx(float(wanted), rel=1e-6)


def test_moments_between_records():
    values = np.array([[0.0, 10.0], [1.0, 20.0], [3.0, 0.0]])
    got = at_moments(values, time_s=np.array([0.0, 1.0, 2.0]), moments_s=np.array([0.25, 1.5, 9.0]))
    assert np.allclose(got, [[0.25, 12.5], [2.0, 10.0], [3.0, 0.0]])


def test_disc_covers_its_area():
    x, y = np.meshgrid(np.arange(200) * 1e-3, np.arange(200) * 1e-3)
    cover = disc_cover(x, y_m=y, centre_m=(0.1, 0.1), radius_m=0.05, soft_m=2e-3)
    assert cover.sum() * 1e-6 == pytest.approx(np.pi * 0.05**2, rel=0.005)


@pytest.mark.parametrize("scene_k", [298.15, 373.15, 573.15])
def test_netd_at_any_scene(scene_k):
    """Noise in kelvin is NETD times the ratio of the Planck slopes, by finite differences."""
    slope = [
        float(np.diff(quadrature_radiance(np.array([t - 0.5, t + 0.5]), band=BAND))[0])
        for t in (298.15, scene_k)
    ]
    scene = np.full((400, 24, 32), float(band_radiance(scene_k, band=BAND)))
    read = noisy_apparent_k(
        scene,
        sigma_radiance=netd_radiance(0.3, at_k=298.15, band=BAND),
        band=BAND,
        generator=np.random.default_rng(1),
    )
    assert read.std() == pytest.approx(0.3 * slope[0] / slope[1], rel=0.01)
    assert read.mean() == pytest.approx(scene_k, abs=0.01)


def test_wander_is_stationary_and_slow():
    series = wander_k(
        400_000, step_s=0.25, sigma_k=0.2, tau_s=10.0, generator=np.random.default_rng(2)
    )
    assert series.std() == pytest.approx(0.2, rel=0.05)
    later = np.corrcoef(series[:-40], series[40:])[0, 1]  # one time constant on
    assert later == pytest.approx(np.exp(-1.0), abs=0.05)


def unit(**changes):
    plain = {
        "drift": (1.0, 0.1, 5.0, 3.0), "housing_ref_k": 298.15, "wake_tau_s": 80.0,
        "gain_frac": 0.02, "pixel_offset_k": np.zeros((2, 2)),
        "pixel_gain_frac": np.zeros((2, 2)),
    }  # fmt: skip
    return SensorErrors(**(plain | changes))


def test_errors_by_hand():
    """1 K + 0.1 x 10 K + 5 s x 0.01 K/s + 3 K e^-1 + 2 % of (500 - 308.15) K."""
    got = with_errors_k(
        np.full((1, 2, 2), 500.0),
        errors=unit(),
        housing_k=np.array([308.15]),
        housing_rate_kps=np.array([0.01]),
        awake_s=np.array([80.0]),
    )
    wanted = 500 + 1 + 1 + 0.05 + 3 * np.exp(-1) + 0.02 * (500 - 308.15)
    assert got[0, 0, 0] == pytest.approx(wanted)


def test_steps_and_ends_of_the_range():
    got = digitised_k(
        np.array([200.0, 300.123, 573.15, 600.0]), step_k=0.05, low_k=233.15, high_k=573.15
    )
    assert np.isneginf(got[0])
    assert got[1] - 273.15 == pytest.approx(26.95, abs=1e-4)
    assert np.isposinf(got[2:]).all()
    with pytest.raises(OutOfRangeError, match="upside down"):
        digitised_k(np.zeros(1), step_k=0.0, low_k=300.0, high_k=200.0)


def test_probe_on_a_ramp():
    """At 3 K/s a lag of 2 s and a clock 0.5 s early leave 3 x (0.5 - 2) K; 5 % are missing."""
    time = np.arange(0.0, 100.0, 0.05)
    errors = ProbeErrors(offset_k=0.7, low_frac=0.05, lag_s=2.0, clock_s=0.5, noise_k=0.0)
    read = probe_reading_k(
        300.0 + 3.0 * time,
        step_s=0.05,
        air_k=300.0,
        errors=errors,
        generator=np.random.default_rng(0),
    )
    n = 1500
    assert read[n] == pytest.approx(300.0 + 0.95 * 3.0 * (time[n] + 0.5 - 2.0) + 0.7, abs=0.1)


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
