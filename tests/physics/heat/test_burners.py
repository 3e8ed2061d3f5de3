"""Burner patterns: their integral, their place, and refusals."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat import burners
from trivet.physics.heat.pan.model import cell_area_frac, cell_centres


def integral(shape, radius):
    return float((shape * cell_area_frac(*shape.shape)).sum() * np.pi * radius**2)


@pytest.mark.parametrize("kind", tuple(burners.BURNERS))
@pytest.mark.parametrize("radius", [0.06, 0.13, 0.165])
def test_power_times_efficiency_on_a_centred_pan(kind, radius):
    made = burners.flux_map(burners.default_pattern(kind, radius_m=0.09), pan_radius_m=radius)
    power = burners.pan_power_w(0.7, rated_w=2600.0, efficiency_frac=0.42)
    assert integral(made.shape_m2, radius) * power == pytest.approx(0.7 * 2600 * 0.42, rel=1e-3)
    assert made.captured_frac == pytest.approx(1.0)
    assert made.shape_m2.min() >= 0.0


def test_ring_is_a_ring():
    pattern = burners.BurnerPattern("gas", 0.065, 0.008, 0.1)
    shape = burners.flux_map(pattern, pan_radius_m=0.13).shape_m2
    r, _ = cell_centres()
    assert abs(r[shape.mean(1).argmax()] * 0.13 - 0.065) < 0.13 / 24
    assert np.ptp(shape, axis=1).max() < 1e-9 * shape.max()


def test_pan_off_its_burner_is_heated_on_the_burners_side_and_less():
    pattern = burners.default_pattern("gas", radius_m=0.1)
    made = burners.flux_map(pattern, pan_radius_m=0.13, offset_m=(0.06, 0.0))
    assert 0.6 < made.captured_frac < 1.0
    assert integral(made.shape_m2, 0.13) == pytest.approx(made.captured_frac, rel=1e-3)
    r, theta = cell_centres()
    x = r[:, None] * np.cos(theta)
    heat = made.shape_m2 * cell_area_frac()
    assert (x * heat).sum() / heat.sum() < -0.05  # pan moved to +x: the burner lies at -x


def test_spiral_winds_as_often_as_told():
    pattern = burners.BurnerPattern("coil", 0.05, 0.001, 0.09, inner_radius_m=0.02, turns=4)
    shape = burners.flux_map(pattern, pan_radius_m=0.1, n_r=400, n_theta=16).shape_m2
    ray = shape[:, 7] > 0.5 * shape[:, 7].max()
    assert np.count_nonzero(np.diff(ray.astype(int)) == 1) == 4


def test_knob_and_pulses():
    level = burners.level_frac([0.0, 9.9, 10.0, 50.0], change_s=[10.0, 40.0], level=[1.0, 0.3])
    assert level.tolist() == [0.0, 0.0, 1.0, 0.3]
    pulsed = burners.pulsed_level(np.full(1200, 0.1), step_s=0.5, floor_frac=0.3, period_s=4.0)
    assert pulsed.mean() == pytest.approx(0.1, rel=1e-9)
    assert pulsed.max() == pytest.approx(0.3)
    assert pulsed.min() == 0.0
    steady = burners.pulsed_level([0.3, 0.8], step_s=0.5, floor_frac=0.3, period_s=4.0)
    assert steady.tolist() == [0.3, 0.8]


@pytest.mark.parametrize("kind", tuple(burners.BURNERS))
@pytest.mark.parametrize("level", [0.0, 0.2, 1.0])
def test_power_times_efficiency_with_a_wall_at_every_level(kind, level):
    """Base and wall together take all of a centred pan's heat, within 0.1 %."""
    pattern = burners.turned_down(burners.default_pattern(kind, radius_m=0.09), level_frac=level)
    made = burners.flux_map(pattern, pan_radius_m=0.13, wall=True)
    assert integral(made.shape_m2, 0.13) + made.wall_frac == pytest.approx(1.0, rel=1e-3)
    assert (made.wall_frac > 0.0) == (kind == "gas" and level > 0.0)


def test_share_off_centre_is_geometric():
    """An even disc of 10 cm under a pan of 10 cm, 6 cm off: the lens of two circles."""
    pattern = burners.BurnerPattern("radiant", 0.05, 0.02, 0.10, skirt_frac=1.0)
    made = burners.flux_map(pattern, pan_radius_m=0.10, offset_m=(0.06, 0.0), n_r=60, n_theta=128)
    d, r = 0.06, 0.10
    lens = 2 * r**2 * np.arccos(d / (2 * r)) - 0.5 * d * np.sqrt(4 * r**2 - d**2)
    assert made.captured_frac == pytest.approx(lens / (np.pi * r**2), rel=5e-3)


def test_flames_draw_in_at_low_power():
    full = burners.default_pattern("gas", radius_m=0.1)
    low = burners.turned_down(full, level_frac=0.2)
    r, _ = cell_centres()
    peaks = [
        float(r[burners.flux_map(one, pan_radius_m=0.13).shape_m2[:-1].mean(1).argmax()]) * 0.13
        for one in (full, low)
    ]
    assert 0.006 < peaks[0] - peaks[1] < 0.02


def test_bad_input_is_named():
    with pytest.raises(OutOfRangeError, match="efficiency_frac"):
        burners.pan_power_w(1.0, rated_w=2000.0, efficiency_frac=1.1)
    with pytest.raises(OutOfRangeError, match="rated_w is -5"):
        burners.pan_power_w(1.0, rated_w=-5.0, efficiency_frac=0.4)
    with pytest.raises(OutOfRangeError, match="level_frac"):
        burners.pan_power_w([0.5, 1.2], rated_w=2000.0, efficiency_frac=0.4)
    with pytest.raises(InputError, match="rise"):
        burners.level_frac([0.0], change_s=[5.0, 5.0], level=[1.0, 0.0])
    with pytest.raises(OutOfRangeError, match="no heat"):
        burners.flux_map(
            burners.BurnerPattern("gas", 0.3, 0.001, 0.31), pan_radius_m=0.05, offset_m=(0.0, 0.0)
        )
    with pytest.raises(InputError, match="allowed: gas"):
        burners.default_pattern("wood", radius_m=0.1)
