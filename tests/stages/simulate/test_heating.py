"""Burners of every kind under planned cooks: after-heat, limiter, pulses, thermostat, walls."""

from __future__ import annotations

import copy

import numpy as np
import pytest

from trivet.physics.heat.burners import level_frac
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import Repeat, kitchen, stream
from trivet.stages.simulate.setting import COOK_STEP_S

KELVIN = 273.15


@pytest.fixture
def cook(design_tables):
    """Cook one pan on one burner of a given kind and return its history and ledger."""

    def made(kind, *, off_s=200, seconds=400, level="100 %", base="dry", burner=None, **pan):
        changed = copy.deepcopy(design_tables)
        power = {"gas": ("2600 W", "42 %"), "induction": ("1850 W", "84 %")}
        rated, share = power.get(kind, ("1800 W", "77 %"))
        changed["burners"][0] |= {"kind": kind, "power": rated, "efficiency": share}
        changed["pans"][0] |= pan
        plan = CookPlan.model_validate(
            {
                "name": "cook",
                "purpose": "proof",
                "duration": f"{seconds} s",
                "stop_at": "600 degC",
                "burners": [
                    {
                        "burner": changed["burners"][0]["name"],
                        "pan": changed["pans"][0]["name"],
                        "base": base,
                        "schedule": [
                            {"at": "0 s", "level": level},
                            {"at": f"{off_s} s", "level": "0 %"},
                        ],
                    }
                    | (burner or {})
                ],
            }
        )
        design = Design.model_validate(changed)
        room = kitchen(design, plan=plan, generator=stream(1, cook="cook", name="room"))
        run = cooked(Repeat(design, plan, "cook", room))
        assert max(float(part.closure_frac.max()) for part in run.ledgers) <= 1e-3
        return run.pans[0], sum(float(part.input_j.sum()) for part in run.ledgers)

    return made


def mean_k(one):
    return one.pan_k @ one.setting.area_m2 / one.setting.area_m2.sum()


@pytest.mark.parametrize("kind", ["gas", "coil", "radiant", "induction"])
def test_heat_is_power_times_efficiency(cook, kind):
    """Knob x rating x efficiency x share captured, within 0.1 %."""
    one, joules = cook(kind, seconds=300)
    burner = one.setting.burner
    asked = float(burner.power_w) * one.setting.efficiency_frac * 200.0
    assert joules == pytest.approx(asked * one.setting.flux().captured_frac, rel=1e-3)
    assert one.heat_w.size == one.time_s.size
    assert np.isfinite(one.hob_k).all() == (kind != "gas")


def test_glass_goes_on_heating_and_gas_does_not(cook):
    off = round(200 / COOK_STEP_S)
    rises = {}
    for kind in ("gas", "radiant", "coil"):
        one, _ = cook(kind)
        mean = mean_k(one)
        rises[kind] = float(mean[off:].max() - mean[off])
    assert rises["gas"] < 3
    assert 5 < rises["radiant"] < 80
    assert rises["coil"] > 5


def test_limiter_acts_on_the_glass_under_a_bowed_pan(cook):
    """Boiling water holds the pan cold: only the gap decides how hot the glass gets."""
    means = []
    for bow in ("0 mm", "3 mm"):
        one, _ = cook("radiant", off_s=700, seconds=700, base="water", bow=bow)
        means.append(float(one.heat_w[one.time_s > 400.0].mean()))
    assert means[1] < 0.95 * means[0]
    cut = one.heat_w[one.time_s > 400.0] < 0.05 * one.heat_w.max()
    assert 1 <= np.count_nonzero(np.diff(cut.astype(int)) == 1) <= 30  # it cycles


def test_induction_pulses_at_low_level_and_its_glass_follows_the_pan(cook):
    one, joules = cook("induction", level="10 %", off_s=300, seconds=300)
    steady = 0.1 * 1850.0 * one.setting.efficiency_frac * one.setting.flux().captured_frac
    late = one.heat_w[one.time_s > 50.0]  # means over 1 s of pulses of about 2 s
    assert late.max() > 1.6 * steady
    assert late.min() < 0.4 * steady
    assert joules == pytest.approx(steady * 300.0, rel=0.01)
    assert one.hob_k[-1] < mean_k(one)[-1]


def test_thermostat_holds_the_pan(cook):
    one, _ = cook("gas", off_s=600, seconds=600, burner={"thermostat": "180 degC"})
    held = mean_k(one)[one.time_s > one.time_s[-1] - 150.0]
    assert abs(float(held.mean()) - KELVIN - 180.0) < 8.0


def test_wall_is_warm_at_the_rim_and_cooler_at_the_top(cook):
    one, _ = cook("gas", off_s=400)
    rim = one.pan_k[:, -32:].mean(axis=1)
    assert one.wall_k.shape == (one.time_s.size, 6)
    assert one.wall_k[-1, 0] > one.wall_k[-1, -1] + 5
    assert abs(one.wall_k[-1, 0] - rim[-1]) < 15


def test_layers_replace_the_material(cook):
    """A clad base of copper under steel spreads the heat better than steel of its thickness."""
    spreads = []
    for layers in (
        [{"material": "stainless-304", "thickness": "3 mm"}],
        [
            {"material": "copper", "thickness": "2.5 mm"},
            {"material": "stainless-304", "thickness": "0.5 mm"},
        ],
    ):
        one, _ = cook("gas", seconds=60, thickness="3 mm", layers=layers)
        spreads.append(float(np.ptp(one.pan_k[-1])))
    assert spreads[1] < 0.3 * spreads[0]


def test_knob_before_the_first_step_is_off():
    assert level_frac([0.0, 4.9, 5.0], change_s=[5.0], level=[0.5]).tolist() == [0.0, 0.0, 0.5]
