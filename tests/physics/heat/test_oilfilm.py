"""What lies on a pan: boiling, films that flow and dry, foam, and core lethality."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError
from trivet.physics.heat.oilfilm import (
    FilmBase,
    film_thickness_m,
    flowed_film_m,
    oil_vapour_kg_m2s,
    oil_viscosity_pa_s,
    smooth_field,
)
from trivet.physics.heat.pan.model import cell_area_frac, cell_centres


def test_oil_thins_as_it_warms():
    """60, 4.4 and 2.3 mPa s at 20, 140 and 200 C: from memory."""
    got = oil_viscosity_pa_s(np.array([293.15, 413.15, 473.15]))
    assert got == pytest.approx([0.060, 0.0044, 0.0023], rel=0.02)


def test_vapour_of_oil_is_slow_at_the_smoke_point_and_feeds_a_flame_at_the_fire_point():
    fire = 354.0 + 273.15
    rate = oil_vapour_kg_m2s(np.array([489.15, fire]), fire_k=fire)
    assert 1e-3 <= rate[1] <= 4e-3  # Drysdale: 1 to 4 g/m2/s, from memory
    film = 1e-4 * 865.0
    assert film / rate[0] > 24 * 3600.0  # a film lasts days at the smoke point
    assert film / rate[1] < 60.0


def pan(height=0.0, hot=0.0):
    """A 26 cm pan with a linear height or temperature across it."""
    r, theta = cell_centres()
    x = 0.13 * r[:, None] * np.cos(theta)
    return FilmBase(0.13, height * x), 413.15 + hot * x, x


def volume(film):
    return float((film * cell_area_frac() * np.pi * 0.13**2).sum())


def test_a_film_runs_downhill_as_lubrication_says():
    """A uniform film on a slope moves at rho g h2 slope / 3 mu: its centre of mass does too."""
    film = np.full((24, 32), 1e-4)
    base, hot, x = pan(height=0.02)
    after = flowed_film_m(film, temperature_k=hot, base=base, seconds=20.0)
    assert volume(after) == pytest.approx(volume(film), rel=1e-9)
    speed = 865.0 * 9.81 * 1e-8 * 0.02 / (3.0 * 0.0044)
    area = cell_area_frac()
    moved = float((after * area * x).sum() / (after * area).sum())
    # the rim holds back what reaches it and a residue stays: slower than a free film
    assert -1.05 * speed * 20.0 < moved < -0.6 * speed * 20.0


def test_a_film_leaves_the_hot_side():
    """Surface tension pulls it to the cold side at h slope grad T / 2 mu."""
    film = np.full((24, 32), 1e-4)
    base, hot, x = pan(hot=300.0)
    after = flowed_film_m(film, temperature_k=hot, base=base, seconds=20.0)
    assert volume(after) == pytest.approx(volume(film), rel=1e-9)
    speed = 7e-5 * 300.0 * 1e-4 / (2.0 * 0.0044)
    area = cell_area_frac()
    moved = float((after * area * x).sum() / (after * area).sum())
    assert -1.1 * speed * 20.0 < moved < -0.5 * speed * 20.0


def test_a_pool_spreads_until_its_edge_is_low_and_then_stays():
    film = np.zeros((24, 32))
    film[:10] = 3e-4
    base, hot, _ = pan()
    after = flowed_film_m(film, temperature_k=hot, base=base, seconds=120.0)
    assert (after > 0.0).sum() > (film > 0.0).sum()
    assert volume(after) == pytest.approx(volume(film), rel=1e-9)
    thin = np.zeros((24, 32))
    thin[:10] = 5e-5
    held = flowed_film_m(thin, temperature_k=hot, base=base, seconds=120.0)
    assert (held > 0.0).sum() == (thin > 0.0).sum()


def test_a_film_dries_out_by_what_it_loses():
    film = np.full((24, 32), 2e-5)
    base, hot, _ = pan()
    after = flowed_film_m(
        film, temperature_k=hot, base=base, seconds=100.0, lost_kg_m2s=865.0 * 1e-7
    )
    assert after.mean() == pytest.approx(1e-5, rel=1e-6)
    with pytest.raises(InputError, match="0 or more"):
        flowed_film_m(-film, temperature_k=hot, base=base, seconds=1.0)


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
