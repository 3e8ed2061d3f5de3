"""The pan simulator against an ODE solver, hand balances and its own bounds."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.heat import food, loads
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import (
    Control,
    Losses,
    PanBase,
    RunSettings,
    cell_area_frac,
)

RADIUS = 0.13
AREA = np.pi * RADIUS**2
EVEN = np.full((6, 8, 1), 1 / AREA)
ALUMINIUM = PanBase(RADIUS, 0.94, 9760.0)
SIGMA = 5.670374419e-8  # CODATA 2018


def run_even(power_w, steps, **kwargs):
    settings = {"pan": ALUMINIUM, "losses": Losses()} | kwargs
    return cook_pans(EVEN, power_w=np.full((steps, 1), power_w), **settings)


@pytest.mark.parametrize("step_s", [0.5, 1.0])
def test_lumped_radiation_against_ode_solver(step_s):
    """A pan so conductive that it is one temperature: radiation and convection on both faces."""
    losses = Losses(
        top_w_m2k=10.0, top_slope_w_m2k2=0.02, top_emissivity=0.9,
        bottom_w_m2k=6.0, bottom_emissivity=0.8, surround_k=300.0, below_k=310.0,
    )  # fmt: skip

    def rate(_, t):
        top = (t - 293.15) * (10 + 0.02 * (t - 293.15)) + 0.9 * SIGMA * (t**4 - 300.0**4)
        bottom = 6 * (t - 310.0) + 0.8 * SIGMA * (t**4 - 310.0**4)
        return (1200 / AREA - top - bottom) / 9760.0

    run = run_even(1200.0, round(1200 / step_s), losses=losses, run=RunSettings(step_s=step_s))
    ode = solve_ivp(rate, (0, 1200), [293.15], t_eval=run.time_s, rtol=1e-10, atol=1e-8)
    assert ode.y[0, -1] > 600
    assert np.abs(run.pan_k[:, 0, 0, 0] - ode.y[0]).max() <= 0.05


@pytest.mark.parametrize("net_w", [900.0, 1850.0])
def test_boil_off_is_power_over_latent_heat(net_w):
    """m L / P after the losses that the ledger computed, between two moments of full boil."""
    layer = loads.water_layer(0.8, start_k=370.0)
    run = run_even(net_w, 4000, layer=layer, run=RunSettings(step_s=0.5, start_k=370.0))
    mass = run.mass_kg[:, 0]
    start, stop = np.searchsorted(-mass, -0.7), np.searchsorted(-mass, -0.25)
    assert stop < len(mass)
    loss_w = loss_at_boil()
    wanted_s = (mass[start] - mass[stop]) * 2.2565e6 / (net_w - loss_w)
    assert run.time_s[stop] - run.time_s[start] == pytest.approx(wanted_s, rel=0.03)
    assert 0.01 < loss_w / net_w < 0.3


def loss_at_boil():
    """Losses at the boil by hand: bottom at about 104 C, water surface at 100 C."""
    bottom = 12.0 * (377.5 - 293.15)
    surface = 12.0 * (373.12 - 293.15) + 0.95 * SIGMA * (373.12**4 - 293.15**4)
    return AREA * (bottom + surface)


def test_boil_dry_plateau_then_rise():
    run = run_even(1400.0, 1800, layer=loads.water_layer(0.25), run=RunSettings(step_s=0.5))
    pan_c = run.pan_k[:, 0, 0, 0] - 273.15
    gone = int(np.flatnonzero(run.mass_kg[:, 0] == 0.0)[0])
    assert pan_c[gone // 2] == pytest.approx(103, abs=5)
    rise = (pan_c[gone + 60] - pan_c[gone]) / 30.0
    assert rise == pytest.approx(1400 / AREA / 9760.0, rel=0.25)  # dry rate, losses aside
    assert pan_c[-1] > 350
    assert run.ledger.closure_frac[0] <= 0.005


def test_oil_surface_lags_the_pan():
    """At 5 mm and about 2 K/s tens of kelvin; at 0.1 mm about 3 K (flux x thickness / k)."""
    drops = []
    for thickness in (0.005, 0.0001):
        layer = loads.oil_layer(thickness)
        power = 2.0 * AREA * (9760.0 + float(np.asarray(layer.areal_j_m2k)))
        run = run_even(power, 100, layer=layer)
        drops.append(float((run.pan_k - run.surface_k)[-1].mean()))
    assert 20 < drops[0] < 80
    surface = float(run.surface_k[-1].mean())
    loss = 12.0 * (surface - 293.15) + 0.9 * SIGMA * (surface**4 - 293.15**4)
    rise = float(run.layer_k[-1].mean() - run.layer_k[-2].mean())
    into = loss + rise * float(np.asarray(layer.areal_j_m2k))
    assert drops[1] == pytest.approx(0.5 * (into + loss) * 0.0001 / loads.OIL_W_MK, rel=0.02)


def test_thick_oil_without_convection_follows_conduction():
    """Steady one-dimensional conduction: drop = loss flux x thickness / conductivity."""
    layer = dataclasses.replace(loads.oil_layer(0.003), nusselt=0.0, emissivity=0.0)
    run = run_even(300.0, 4000, layer=layer)
    surface = run.surface_k[-1].mean()
    flux = 12.0 * (surface - 293.15)
    drop = run.pan_k[-1].mean() - surface
    assert drop == pytest.approx(flux * 0.003 / loads.OIL_W_MK, rel=0.01)


def patch(steps, n_theta=8):
    piece = np.full((6, n_theta, 1), -1)
    piece[:3] = 0  # the inner half of the radius, a quarter of the base
    contact = food.contact_w_m2k(
        np.arange(steps) * 1.0, start_w_m2k=250, peak_w_m2k=650, peak_s=60, decay_s=120
    )
    column = food.food_column(
        0.012,
        density_kg_m3=1050.0,
        specific_heat_j_kgk=3560.0,
        conductivity_w_mk=0.5,
        water_frac=0.6,
    )
    deep = (slice(None), None, None, None)
    return food.FoodPatch(
        piece,
        contact[:, None, None],
        column_k=np.full((column.areal_j_m2k.size, 6, n_theta, 1), 278.15),
        water_kg_m2=column.water_kg_m2[deep],
        areal_j_m2k=column.areal_j_m2k[deep],
        between_w_m2k=column.between_w_m2k[deep],
        half_m2k_w=column.half_m2k_w,
    )


def test_cold_food_pulls_the_pan_down_and_closes_energy():
    hot = RunSettings(start_k=473.15)
    bare = run_even(800.0, 120, run=hot)
    fed = run_even(800.0, 120, run=hot, food=patch(120))
    drop = (bare.pan_k - fed.pan_k)[60, 0].mean()
    assert 20 < drop < 120
    assert fed.ledger.latent_j[0] > 0
    assert fed.ledger.closure_frac[0] <= 0.005
    assert fed.surface_k[-1, 0].mean() < fed.surface_k[-1, 5].mean() - 50  # food top is cool


def test_runs_join_seamlessly():
    layer = loads.water_layer(0.3)
    whole = run_even(900.0, 400, layer=layer)
    first = run_even(900.0, 150, layer=layer)
    second = run_even(900.0, 250, layer=layer, run=RunSettings(start=first.state))
    assert np.allclose(second.pan_k[-1], whole.pan_k[-1], atol=1e-9)
    assert second.mass_kg[-1, 0] == pytest.approx(whole.mass_kg[-1, 0], rel=1e-12)


def test_batch_equals_single_cooks():
    power = np.linspace(200, 1500, 19)[None, :].repeat(60, axis=0)
    shape = np.repeat(EVEN, 19, axis=2)
    layer = loads.stack_layers([loads.water_layer(0.1 + 0.01 * n) for n in range(19)])
    batch = cook_pans(shape, power_w=power, pan=ALUMINIUM, losses=Losses(), layer=layer)
    one = cook_pans(
        EVEN, power_w=power[:, 17:18], pan=ALUMINIUM, losses=Losses(),
        layer=loads.water_layer(0.27),
    )  # fmt: skip
    assert np.array_equal(batch.pan_k[..., 17:18], one.pan_k)
    assert batch.ledger.input_j.shape == (19,)


def test_thermostat_holds_its_band():
    control = Control(off_above_k=473.15, hysteresis_k=4.0)
    run = run_even(1500.0, 900, run=RunSettings(control=control))
    mean = run.pan_k[300:].mean((1, 2, 3))
    assert mean.min() > 463
    assert mean.max() < 478


def test_shorter_steps_agree():
    """Off-centre heating, boiling on: halving the step moves the pan little."""
    shape = np.zeros((24, 32, 1))
    shape[8:14, :12] = 1.0
    area = cell_area_frac()[..., None] * AREA
    shape /= (shape * area).sum()
    ends = []
    for step in (1.0, 0.25):
        run = cook_pans(
            shape, power_w=np.full((round(600 / step), 1), 900.0), pan=ALUMINIUM,
            losses=Losses(top_emissivity=0.3), layer=loads.water_layer(0.4),
            run=RunSettings(step_s=step, record_every=round(10 / step)),
        )  # fmt: skip
        ends.append(run.pan_k[..., 0])
    assert np.sqrt(((ends[0] - ends[1]) ** 2).mean()) < 0.1


def test_bad_input_is_named():
    with pytest.raises(OutOfRangeError, match="mass_kg"):
        loads.water_layer(-0.1)
    with pytest.raises(OutOfRangeError, match="thickness_m"):
        loads.oil_layer(float("nan"))
    with pytest.raises(OutOfRangeError, match="step_s"):
        run_even(100.0, 10, run=RunSettings(step_s=5.0))
    with pytest.raises(OutOfRangeError, match="step_s"):
        run_even(100.0, 10, run=RunSettings(step_s=float("nan")))
    with pytest.raises(InputError, match="power_w"):
        run_even(float("nan"), 10)
    with pytest.raises(InputError, match="power_w"):
        run_even(-1.0, 10)
    with pytest.raises(InputError, match="areal_j_m2k"):
        run_even(100.0, 10, pan=PanBase(RADIUS, 0.9, 0.0))
    with pytest.raises(OutOfRangeError, match="cook 0 left"):
        run_even(1e6, 600)
    with pytest.raises(InputError, match="emissivity"):
        run_even(100.0, 10, losses=Losses(top_emissivity=1.2))
