"""What lies on a pan: boiling, films that flow and dry, foam, and core lethality."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.facts.contents import hold_table
from trivet.physics.heat import boiling
from trivet.physics.heat.boiling import browned_frac, foam_frac
from trivet.physics.heat.lethality import Z_K, hold_verdict, log_reduction
from trivet.physics.heat.loads import CRITICAL_W_M2, NUCLEATE_W_M2K3
from trivet.physics.heat.oilfilm import (
    FilmBase,
    flowed_film_m,
    oil_vapour_kg_m2s,
    oil_viscosity_pa_s,
)
from trivet.physics.heat.pan.model import cell_area_frac, cell_centres

HOLD = hold_table("beef-6.5-log")

BOIL_K = 373.124


def test_nucleate_boiling_of_the_textbook():
    """Incropera et al., example 10.1: copper at 118 C, 836 kW/m2; critical 1.26 MW/m2."""
    steep = boiling.nucleate_w_m2k3(BOIL_K, factor=0.0128)
    # the textbook prints Prandtl 1.76 for what its own properties make 1.73
    assert steep * 18.0**3 == pytest.approx(836e3, rel=0.06)
    assert steep == pytest.approx(NUCLEATE_W_M2K3, rel=0.06)
    assert boiling.critical_w_m2(BOIL_K) == pytest.approx(1.26e6, rel=0.005)
    assert pytest.approx(1.26e6, rel=0.005) == CRITICAL_W_M2


def test_two_correlations_of_boiling_agree_within_their_scatter():
    """Rohsenow against Cooper at burner fluxes: 25 % in superheat is the stated scatter."""
    for flux in (1e4, 3e4, 1e5):
        rohsenow = (flux / boiling.nucleate_w_m2k3(BOIL_K, factor=0.0132)) ** (1.0 / 3.0)
        cooper = flux / boiling.cooper_w_m2k(flux, boil_k=BOIL_K)
        assert rohsenow == pytest.approx(float(cooper), rel=0.25)


def test_boiling_out_of_range_is_named():
    with pytest.raises(OutOfRangeError, match="surface factor"):
        boiling.nucleate_w_m2k3(BOIL_K, factor=0.0)
    with pytest.raises(OutOfRangeError, match="flux"):
        boiling.cooper_w_m2k(0.0, boil_k=BOIL_K)


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


def test_foam_comes_and_goes_with_the_boiling_rate():
    assert foam_frac(0.0) == 0.0
    assert foam_frac(-1.0) == 0.0
    rate = 5e3 / 2.2565e6  # 5 kW/m2 into water
    assert foam_frac(rate) > 0.85
    assert foam_frac(rate / 10) < 0.3
    brown = browned_frac(np.full(600, 423.15), step_s=1.0)
    assert np.all(np.diff(brown) >= 0.0)
    assert brown[22] == pytest.approx(0.63, abs=0.05)


# USDA FSIS Appendix A (1999), 6.5 log10: temperature in F, seconds held.
TABLE = {130: 6720, 135: 2160, 140: 720, 145: 240, 146: 169, 150: 67, 155: 22, 157: 14, 158: 0}


def test_the_hold_table_is_reproduced_exactly():
    made = {round((k - 273.15) * 1.8 + 32): s for k, s in HOLD}
    assert made == TABLE
    for row_f, seconds in TABLE.items():
        level = (row_f - 32.0) / 1.8 + 273.15 + 1e-6
        time = np.arange(0.0, seconds + 2.0, 1.0)
        core = np.where(time <= seconds, level, 290.0)
        met = hold_verdict(time, core_k=core, table=HOLD, of="core")
        assert met.held
        assert met.wanted_s == seconds
        if seconds > 1:
            core = np.where(time <= seconds - 1, level, 290.0)
            assert not hold_verdict(time, core_k=core, table=HOLD, of="core").held


def test_the_z_value_of_the_table():
    """6720 s at 130 F against 67 s at 150 F: a factor of 100 in 20 F, z = 10 F."""
    assert pytest.approx(20.0 / 1.8 / np.log10(6720 / 67), rel=0.01) == Z_K
    for row_f, seconds in TABLE.items():
        if seconds >= 60:
            core = np.full(2, (row_f - 32.0) / 1.8 + 273.15 + 1e-3)
            decades = log_reduction(np.array([0.0, seconds]), core_k=core)
            assert decades == pytest.approx(6.5, rel=0.17), row_f


def test_a_surface_reading_is_no_core():
    time = np.arange(10.0)
    with pytest.raises(InputError, match="surface"):
        hold_verdict(time, core_k=np.full(10, 350.0), table=HOLD, of="surface")
    short = hold_verdict(time, core_k=np.full(10, 335.0), table=HOLD, of="core")
    assert not short.held
    assert short.wanted_s > 9
    broken = hold_verdict(time, core_k=np.where(time == 5, np.nan, 345.0), table=HOLD, of="core")
    assert broken.held_s <= 4.0
