"""What the simulator adds on the way from surfaces to readings, each part on its own."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import csr_array

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat.cellstats import area_quantiles_k, hottest_mean_k
from trivet.physics.heat.oilfilm import film_thickness_m, smooth_field
from trivet.physics.radiation.mie import PlumeColumn, through_plume
from trivet.physics.radiation.planck import flat_band, quadrature_radiance
from trivet.physics.radiation.render import Cells, disc_cover, mixed_radiance, pixel_radiance
from trivet.physics.sensor.probes import ProbeErrors, probe_reading_k, swapped_poles_k
from trivet.physics.sensor.readout import (
    Exposure,
    Hidden,
    OutputLimits,
    SensorErrors,
    SensorPath,
    drift_k,
    netd_radiance,
    readings_k,
    wander_k,
)

BAND = flat_band(8e-6, 14e-6)


def cells_of(kelvin, *, eps=1.0, share=None, thing=None, first=0):
    n = kelvin.shape[1]
    return Cells(
        kelvin,
        np.broadcast_to(np.float64(eps), (1, n)).copy(),
        np.ones((n, 1)) if share is None else share,
        np.zeros((1, 1)) if thing is None else thing,
        first,
    )


def test_pixels_are_sums_of_surfaces():
    """Against Planck's law by quadrature and the sum by hand."""
    matrix = csr_array(np.array([[0.25, 0.75, 0.0], [0.0, 0.5, 0.5], [0.3, 0.3, 0.4]]))
    kelvin = np.array([[300.0, 500.0], [320.0, 480.0]])
    rest = np.array([[50.0], [60.0]])
    surfaces = np.hstack([quadrature_radiance(kelvin, band=BAND), rest])
    got = pixel_radiance(matrix, cells=(cells_of(kelvin),), rest=rest, band=BAND)
    assert np.allclose(got, surfaces @ matrix.toarray().T, rtol=2e-6)
    with pytest.raises(InputError, match="surfaces given; wanted 3"):
        pixel_radiance(matrix, cells=(cells_of(kelvin),), rest=np.zeros((2, 2)), band=BAND)
    with pytest.raises(InputError, match="wanted"):
        pixel_radiance(matrix, cells=(cells_of(kelvin[:1]),), rest=rest, band=BAND)


def test_cells_mirror_their_own_things():
    """Long enough to cross blocks, lines and chunks; each cell mirrors its own share."""
    rng = np.random.default_rng(4)
    kelvin = rng.uniform(280.0, 600.0, (300, 150))
    share = rng.uniform(0.0, 0.5, (150, 2))
    thing = rng.uniform(20.0, 80.0, (300, 2))
    eps = rng.uniform(0.1, 1.0, (300, 150))
    cells = Cells(kelvin, eps, share, thing, 0)
    got = pixel_radiance(
        csr_array(np.eye(151)), cells=(cells,), rest=np.full((300, 1), 7.0), band=BAND
    )
    wanted = eps * quadrature_radiance(kelvin, band=BAND) + (1 - eps) * (thing @ share.T)
    assert np.allclose(got[:, :150], wanted, rtol=5e-6)
    assert np.all(got[:, 150] == 7.0)
    hot = cells_of(np.array([[900.0, 300.0]]))
    beyond = pixel_radiance(csr_array(np.eye(3)), cells=(hot,), rest=np.ones((1, 1)), band=BAND)
    assert np.array_equal(np.isnan(beyond[0]), [True, False, False])


def test_shiny_surface_mostly_mirrors():
    mirrored = float(quadrature_radiance(300.0, band=BAND))
    got = mixed_radiance(500.0, emissivity=0.1, mirrored=mirrored, band=BAND)
    wanted = 0.1 * quadrature_radiance(500.0, band=BAND) + 0.9 * mirrored
    assert got == pytest.approx(float(wanted), rel=1e-6)


def test_disc_covers_its_area():
    x, y = np.meshgrid(np.arange(200) * 1e-3, np.arange(200) * 1e-3)
    cover = disc_cover(x, y_m=y, centre_m=(0.1, 0.1), radius_m=0.05, soft_m=2e-3)
    assert cover.sum() * 1e-6 == pytest.approx(np.pi * 0.05**2, rel=0.005)


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
        hidden=Hidden(np.array([-1, 0]), cover, np.array([50.0])),
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


def test_probe_clock_and_class():
    """A clock that gains 1 % is 1 s ahead after 100 s; half of class 1 at 500 C is 1 K."""
    time = np.arange(0.0, 100.05, 0.05)
    errors = ProbeErrors(0.0, 0.0, 0.0, 0.0, 0.0, clock_drift_frac=0.01, wire_frac=0.5)
    got = probe_reading_k(
        773.15 + 0.1 * time,
        step_s=0.05,
        air_k=300.0,
        errors=errors,
        generator=np.random.default_rng(0),
        tolerance_k=2.0,
    )
    assert got[1600] == pytest.approx(773.15 + 0.1 * 80.8 + 1.0, abs=1e-6)


def test_swapped_poles_fall_as_the_pan_heats():
    """Type K by its IEC 60584-1 table: 4.096 mV at 100 C, 0.798 mV at 20 C, -2.500 mV at -68.0 C.

    Table values from memory.
    """
    got = swapped_poles_k(np.array([293.15, 373.15]), kind="K", cold_junction_k=293.15)
    assert got[0] == pytest.approx(293.15, abs=0.01)
    assert got[1] - 273.15 == pytest.approx(-67.5, abs=1.0)
    assert np.isnan(swapped_poles_k(np.array([900.0]), kind="K", cold_junction_k=293.15)).all()


def test_plume_thins_outwards_and_glows():
    """At its middle the table's transmittance, at 1/e radius that of water / e, beyond none."""
    table = np.linspace(0.0, 1e-3, 101)
    plume = PlumeColumn(np.array([0.0, 1e-3]), np.zeros((2, 2)), radius_m=0.1, glow=40.0)
    points = np.array([[0.0, 0.0], [0.1, 0.0], [0.0, 0.2], [np.nan, 0.0]])
    scene = np.full((2, 4), 100.0, dtype=np.float32)
    got = through_plume(
        scene, points_m=points, plume=plume, table_kg_m2=table, table_frac=np.exp(-700 * table)
    )
    assert np.all(got[0] == 100.0)
    tau = np.exp(-0.7 * np.array([1.0, np.exp(-1.0)]))
    assert np.allclose(got[1, :2], 40.0 + tau * 60.0, rtol=1e-4)
    assert np.all(got[1, 2:] == 100.0)


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
