"""What a sensor makes of radiance: noise, moments, window, steps and ends of its range."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.radiation.planck import flat_band, quadrature_radiance
from trivet.physics.sensor.readout import (
    Exposure,
    Occluder,
    OutputLimits,
    SensorErrors,
    SensorPath,
    drift_k,
    netd_radiance,
    readings_k,
    wander_k,
)

BAND = flat_band(8e-6, 14e-6)


def unit(shape=(2, 2), **changes):
    plain = {
        "drift": (1.0, 0.1, 5.0, 3.0), "housing_ref_k": 298.15, "wake_tau_s": 80.0,
        "gain_frac": 0.0, "pixel_offset_k": np.zeros(shape), "pixel_gain_frac": np.zeros(shape),
    }  # fmt: skip
    return SensorErrors(**(plain | changes))


def read(scene, *, frames, scene_s=None, errors=None, moments=None, late=None, **more):
    """Read a scene through a clear window, with what the test is not about left out."""
    shape = (2, scene.shape[1] // 2)
    moments = np.zeros(frames) if moments is None else moments
    scene_s = np.arange(len(scene)) * 1.0 if scene_s is None else scene_s
    path = {
        "transmittance": np.ones(frames), "glow": np.zeros(frames),
        "housing_k": np.full(frames, 300.0), "common_k": np.zeros(frames),
    }  # fmt: skip
    path |= more.pop("path", {})
    return readings_k(
        scene.astype(np.float32),
        exposure=Exposure(
            scene_s,
            moments,
            more.pop("older", moments),
            np.ones(shape, dtype=bool) if late is None else late,
        ),
        hidden=more.pop("hidden", None),
        path=SensorPath(**path),
        errors=unit(shape) if errors is None else errors,
        noise=more.pop("noise", np.zeros((frames, *shape), dtype=np.float32)),
        band=BAND,
        limits=more.pop("limits", OutputLimits(0.0, None, None)),
    )


@pytest.mark.parametrize("scene_k", [298.15, 373.15, 573.15])
def test_netd_at_any_scene(scene_k):
    """Noise in kelvin is NETD times the ratio of the Planck slopes, by finite differences."""
    slope = [
        float(np.diff(quadrature_radiance(np.array([t - 0.5, t + 0.5]), band=BAND))[0])
        for t in (298.15, scene_k)
    ]
    white = np.random.default_rng(1).standard_normal((400, 2, 384), dtype=np.float32)
    got = read(
        np.full((2, 768), float(quadrature_radiance(scene_k, band=BAND))),
        frames=400,
        noise=white * np.float32(netd_radiance(0.3, at_k=298.15, band=BAND)),
    )
    assert got.std() == pytest.approx(0.3 * slope[0] / slope[1], rel=0.01)
    assert got.mean() == pytest.approx(scene_k, abs=0.01)


def test_moments_between_records_and_older_half():
    """Each pixel at its own moment: linear between records, held beyond the ends."""
    scene = np.array([[40.0] * 4, [60.0] * 4, [100.0] * 4])
    late = np.array([[True, False], [False, True]])
    got = read(
        scene, frames=3, moments=np.array([0.5, 1.5, 9.0]), older=np.array([0.0, 1.0, 2.0]),
        late=late,
    )  # fmt: skip
    radiance = quadrature_radiance(got.astype(float), band=BAND)
    assert np.allclose(radiance[:, 0, 0], [50.0, 80.0, 100.0], rtol=1e-5)
    assert np.allclose(radiance[:, 0, 1], [40.0, 60.0, 100.0], rtol=1e-5)


def test_window_hand_and_dead_pixel():
    """0.8 of the signal and 5 of the window's own; a hand over 40 % of one pixel in one frame."""
    cover = np.zeros((1, 4), dtype=np.float32)
    cover[0, 1] = 0.4
    got = read(
        np.full((2, 4), 100.0),
        frames=2,
        path={"transmittance": np.full(2, 0.8), "glow": np.full(2, 5.0)},
        hidden=Occluder(np.array([-1, 0]), cover, np.array([50.0])),
        limits=OutputLimits(0.0, None, None, dead=((1, 1),)),
    )
    radiance = quadrature_radiance(np.nan_to_num(got.astype(float), nan=300.0), band=BAND)
    assert np.allclose(radiance[:, 0, 0], 85.0, rtol=1e-5)
    assert np.allclose(radiance[:, 0, 1], [85.0, 0.8 * 80.0 + 5.0], rtol=1e-5)
    assert np.isnan(got[:, 1, 1]).all()
    assert np.isfinite(got).sum() == 6
    with pytest.raises(OutOfRangeError, match="dead pixel row 2 col 0"):
        read(np.ones((2, 4)), frames=1, limits=OutputLimits(0.0, None, None, dead=((2, 0),)))


def test_wander_is_stationary_and_slow():
    series = wander_k(
        400_000, step_s=0.25, sigma_k=0.2, tau_s=10.0, generator=np.random.default_rng(2)
    )
    assert series.std() == pytest.approx(0.2, rel=0.05)
    later = np.corrcoef(series[:-40], series[40:])[0, 1]  # one time constant on
    assert later == pytest.approx(np.exp(-1.0), abs=0.05)


def test_errors_by_hand():
    """1 K + 0.1 x 10 K + 5 s x 0.01 K/s + 3 K e^-1 in common; 2 % of (500 - 308.15) K on top."""
    common = drift_k(
        unit(),
        housing_k=np.array([308.15]),
        housing_rate_kps=np.array([0.01]),
        awake_s=np.array([80.0]),
    )
    assert common[0] == pytest.approx(1 + 1 + 0.05 + 3 * np.exp(-1))
    got = read(
        np.full((2, 4), float(quadrature_radiance(500.0, band=BAND))),
        frames=1,
        errors=unit(gain_frac=0.02, pixel_offset_k=np.array([[0.0, 1.0], [0.0, 0.0]])),
        path={"housing_k": np.array([308.15]), "common_k": common},
    )
    wanted = 500 + common[0] + 0.02 * (500 - 308.15)
    assert got[0, 0, 0] == pytest.approx(wanted, abs=2e-3)
    assert got[0, 0, 1] - got[0, 0, 0] == pytest.approx(1.0, abs=1e-4)


def test_steps_and_ends_of_the_range():
    kelvin = np.array([[233.2, 300.123, 573.15, 600.0]])
    scene = quadrature_radiance(np.repeat(kelvin, 2, axis=0), band=BAND)
    got = read(scene, frames=1, limits=OutputLimits(0.05, 240.0, 573.1)).ravel()
    assert np.isneginf(got[0])
    assert got[1] - 273.15 == pytest.approx(26.95, abs=1e-4)
    assert np.isposinf(got[2:]).all()
    beyond = np.array([[10.0, 2500.0, 50.0, 50.0]] * 2)  # colder than -40 C, hotter than 600 C
    assert np.isnan(read(beyond, frames=1).ravel()[:2]).all()
    assert np.isposinf(read(beyond, frames=1, limits=OutputLimits(0.0, None, 573.1)).ravel()[1])
    with pytest.raises(OutOfRangeError, match="upside down"):
        read(scene, frames=1, limits=OutputLimits(0.0, 300.0, 200.0))
    with pytest.raises(InputError, match="pixel maps"):
        read(scene, frames=1, errors=unit((3, 3)))
