"""Balances: what goes in is stored, lost or boiled off; radiation against an ODE solver."""

from __future__ import annotations

import dataclasses
import functools
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp
from tests.closure.checks.kitchens import kitchen
from tests.closure.checks.registry import Check

from trivet.physics.heat import burners, loads
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import Losses, PanBase, RunSettings, cell_area_frac
from trivet.records.cook import CookPlan
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import Repeat
from trivet.stages.simulate.draws import kitchen as draw_kitchen

GROUP = "Balances"
RADIUS_M = 0.13
AREA_M2 = np.pi * RADIUS_M**2
EVEN = np.full((6, 8, 1), 1 / AREA_M2)
ALUMINIUM = PanBase(RADIUS_M, 0.94, 9760.0)  # 4 mm
SIGMA = 5.670374419e-8  # CODATA 2018


def lumped_radiation() -> float:
    """Return the greatest difference to scipy's solver over 20 minutes, two steps. [K]"""
    losses = Losses(
        top_w_m2k=10.0,
        top_slope_w_m2k2=0.02,
        top_emissivity=0.9,
        bottom_w_m2k=6.0,
        bottom_emissivity=0.8,
        surround_k=300.0,
        below_k=310.0,
    )

    def rate(_: float, t: Any) -> Any:
        top = (t - 293.15) * (10 + 0.02 * (t - 293.15)) + 0.9 * SIGMA * (t**4 - 300.0**4)
        bottom = 6 * (t - 310.0) + 0.8 * SIGMA * (t**4 - 310.0**4)
        return (1200 / AREA_M2 - top - bottom) / 9760.0

    worst = 0.0
    for step_s in (0.5, 1.0):
        run = cook_pans(
            EVEN,
            power_w=np.full((round(1200 / step_s), 1), 1200.0),
            pan=ALUMINIUM,
            losses=losses,
            run=RunSettings(step_s=step_s),
        )
        ode = solve_ivp(rate, (0, 1200), [293.15], t_eval=run.time_s, rtol=1e-10, atol=1e-8)
        assert ode.y[0, -1] > 600
        worst = max(worst, float(np.abs(run.pan_k[:, 0, 0, 0] - ode.y[0]).max()))
    return worst


CLOSURES = {
    "dry": (loads.Layer(), 900.0),
    "film": (loads.oil_layer(9.4e-5), 900.0),
    "deep oil": (loads.oil_layer(0.01), 900.0),
    "water": (loads.water_layer(1.0), 1400.0),
    "boils dry": (loads.water_layer(0.2), 1100.0),
    "butter boils": (
        dataclasses.replace(
            loads.oil_layer(3e-4, mixing_s=10.0), mass_kg=3e-3, boil_k=373.12, release_1_ks=0.004
        ),
        900.0,
    ),
}


@functools.cache
def energy_closure(case: str) -> float:
    """Return the worst of two steps; the ledger sums losses from temperatures. [%]"""
    layer, power_w = CLOSURES[case]
    pattern = burners.default_pattern("gas", radius_m=0.08)
    shape = burners.flux_map(pattern, pan_radius_m=RADIUS_M, offset_m=(0.02, 0.01)).shape_m2
    worst = 0.0
    for step_s in (0.5, 2.0):
        steps = round(900 / step_s)
        level = np.where(np.arange(steps) < 0.7 * steps, power_w, 0.2 * power_w)
        run = cook_pans(
            shape[..., None],
            power_w=level[:, None],
            pan=PanBase(RADIUS_M, 0.5, 8000.0, rim_j_k=150.0, rim_w_k=0.4),
            losses=Losses(top_emissivity=0.4, bottom_emissivity=0.8, top_slope_w_m2k2=0.01),
            layer=layer,
            run=RunSettings(step_s=step_s, record_every=steps),
        )
        ledger = run.ledger
        assert ledger.lost_j[0] > 0.02 * ledger.input_j[0], "losses have to matter"
        assert (ledger.latent_j[0] > 0) == ("water" in case or "boils" in case)
        worst = max(worst, 100.0 * float(ledger.closure_frac[0]))
    return worst


def worst_closure() -> float:
    """Return the worst closure over all contents. [%]"""
    return max(energy_closure(case) for case in CLOSURES)


WHOLE = {
    "coil, water, lid, wall": (
        {"kind": "coil", "efficiency": "90 %"},
        {"base": {"contents": "water", "volume": "1 L"}, "lid": [{"on": "60 s"}]},
    ),
    "gas, butter, wall": (
        {"kind": "gas", "efficiency": "50 %"},
        {"base": {"contents": "butter", "volume": "20 mL"}},
    ),
    "radiant, oil, steak": (
        {"kind": "radiant", "efficiency": "90 %"},
        {
            "base": {"contents": "oil", "volume": "5 mL"},
            "food": {"kind": "steak", "mass": "300 g", "diameter": "150 mm", "in": "120 s"}
            | {"turn": "240 s", "out": "360 s"},
        },
    ),
}


def whole_closure() -> float:
    """Return the worst closure of whole cooks, run by run, over the energy of the cook. [%]"""
    worst = 0.0
    for burner, parts in WHOLE.values():
        design = kitchen(
            {"power": "1.5 kW", "ring_diameter": "160 mm"} | burner,
            pan={"material": "aluminium", "finish": "ptfe-non-stick", "thickness": "4 mm"}
            | {"lid": True},
            base=parts["base"],
        )
        entry = {"burner": "b", "pan": "p", "base": "c"}
        entry |= {"schedule": [{"at": "0 s", "level": "1"}, {"at": "300 s", "level": "0.3"}]}
        entry |= {key: parts[key] for key in ("food", "lid") if key in parts}
        plan = CookPlan.model_validate(
            {"name": "check", "purpose": "proof", "duration": "420 s", "stop_at": "400 degC"}
            | {"burners": [entry]}
        )
        room = draw_kitchen(design, plan=plan, generator=np.random.default_rng(1))
        ledgers = cooked(Repeat(design, plan, "check", room)).ledgers
        total = sum(float(one.input_j[0]) for one in ledgers)
        gap = sum(float(abs(o.input_j[0] - o.lost_j[0] - o.latent_j[0] - o.vapour_j[0]
                            - o.stored_j[0])) for o in ledgers)  # fmt: skip
        worst = max(worst, 100.0 * gap / total)
    return worst


def flux_integral() -> float:
    """Return how far flux over a centred pan is from power x efficiency, worst kind. [%]"""
    area = cell_area_frac(24, 32) * AREA_M2
    worst = 0.0
    for kind in tuple(burners.BURNERS):
        pattern = burners.default_pattern(kind, radius_m=0.08)
        shape = burners.flux_map(pattern, pan_radius_m=RADIUS_M).shape_m2
        worst = max(worst, abs(float((shape * area).sum()) - 1.0))
    return 100.0 * worst


def boil_off_against_latent(net_w: float) -> float:
    """Return how far boil-off is from m L over net power after losses, in per cent.

    Losses are summed by hand from the faces' temperatures, not taken from the ledger.
    """
    run = cook_pans(
        EVEN,
        power_w=np.full((4000, 1), net_w),
        pan=ALUMINIUM,
        losses=Losses(),
        layer=loads.water_layer(0.8, start_k=370.0),
        run=RunSettings(step_s=0.5, start_k=370.0),
    )
    mass = run.mass_kg[:, 0]
    start, stop = (int(np.searchsorted(-mass, -left)) for left in (0.7, 0.25))
    assert stop < len(mass)
    pan, water = run.pan_k[start:stop].mean(), run.surface_k[start:stop].mean()
    bottom = 12.0 * (pan - 293.15)
    surface = 12.0 * (water - 293.15) + 0.95 * SIGMA * (water**4 - 293.15**4)
    loss_w = AREA_M2 * (bottom + surface)
    assert 0.01 < loss_w / net_w < 0.3
    wanted_s = (mass[start] - mass[stop]) * 2.2565e6 / (net_w - loss_w)
    return 100.0 * abs((run.time_s[stop] - run.time_s[start]) / wanted_s - 1.0)


def worst_boil_off() -> float:
    """Return the worst of two powers. [%]"""
    return max(boil_off_against_latent(net_w) for net_w in (900.0, 1850.0))


CHECKS = [
    Check(
        name="one-temperature pan that radiates, greatest difference over 20 minutes",
        group=GROUP,
        measure=lumped_radiation,
        unit="K",
        low=0.0,
        high=0.05,
        source="scipy solve_ivp, relative tolerance 1e-10",
        conditions="4 mm aluminium, 1.2 kW to over 600 K, radiation and convection on both faces; "
        "steps of 0.5 and 1 s",
    ),
    Check(
        name="energy that does not add up, worst cook",
        group=GROUP,
        measure=worst_closure,
        unit="%",
        low=0.0,
        high=0.5,
        source="first law; the ledger sums losses from recorded temperatures",
        conditions="15 minutes off centre, dry, oil film, deep oil, water, boiled dry; steps of "
        "0.5 and 2 s",
    ),
    Check(
        name="energy that does not add up, worst whole cook",
        group=GROUP,
        measure=whole_closure,
        unit="%",
        low=0.0,
        high=0.5,
        source="first law, run by run of the stage's own cooking",
        conditions="wall, hob, lid, butter and food: "
        + "; ".join(WHOLE)
        + "; 7 minutes at 1.5 kW, turned down after 5",
    ),
    Check(
        name="flux over a centred pan against power x efficiency, worst burner",
        group=GROUP,
        measure=flux_integral,
        unit="%",
        low=0.0,
        high=0.1,
        source="first law",
        conditions="gas, coil, radiant and induction under a 26 cm pan",
    ),
    Check(
        name="boil-off against latent heat over net power",
        group=GROUP,
        measure=worst_boil_off,
        unit="%",
        low=0.0,
        high=3.0,
        source="m L / P, L from IAPWS-IF97 at 100 C; losses summed by hand",
        conditions="0.7 to 0.25 kg left, 0.9 and 1.85 kW into the pan",
    ),
]
