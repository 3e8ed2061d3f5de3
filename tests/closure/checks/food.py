"""Food: a slab with both faces stepped, a thick piece on a hot pan, both in closed form."""

from __future__ import annotations

from typing import Any

import numpy as np
from scipy.special import erfc, erfcx
from tests.closure.checks.registry import Check

from trivet.physics.heat.food import FoodColumn, FoodPatch, coldest_k, food_column
from trivet.physics.heat.pan.cook import cook_pans
from trivet.physics.heat.pan.model import Losses, PanBase, RunSettings

GROUP = "Food"
# Lean beef near 20 C after Choi and Okos 1986; diffusivity 1.35e-7 m2/s.
DENSITY, CONDUCTIVITY = 1055.0, 0.507
DIFFUSIVITY = 1.35e-7
HEAT = CONDUCTIVITY / DENSITY / DIFFUSIVITY
COLD_K, HOT_K = 278.15, 373.15
# Carslaw and Jaeger's series: 25 mm, 5 C, both faces at 100 C; middle [C] by time [s].
SLAB_M = 0.025
SLAB_C = {60: 5.361, 120: 10.337, 300: 36.319, 600: 66.339}
THICK_M, CONTACT_W_M2K = 0.060, 500.0


def _cooked(
    thickness_m: float, *, seconds: int, contact_w_m2k: float, top_w_m2k: float
) -> tuple[FoodColumn, Any]:
    """Return a column of food and its temperatures after a time on a pan that stays at 100 C."""
    column = food_column(
        thickness_m,
        density_kg_m3=DENSITY,
        specific_heat_j_kgk=HEAT,
        conductivity_w_mk=CONDUCTIVITY,
        water_frac=0.0,
    )
    step_s, deep = 0.5, (slice(None), None, None, None)
    steps = round(seconds / step_s)
    shape = (4, 8, 1)
    piece = np.zeros(shape, dtype=np.int64)
    piece[-1] = -1  # the outermost ring stays open
    food = FoodPatch(
        piece,
        np.full((steps, 1, 1), contact_w_m2k),
        column_k=np.full((column.areal_j_m2k.size, *shape), COLD_K),
        water_kg_m2=column.water_kg_m2[deep],
        areal_j_m2k=column.areal_j_m2k[deep],
        between_w_m2k=column.between_w_m2k[deep],
        half_m2k_w=column.half_m2k_w,
        boil_k=1000.0,
        emissivity=0.0,
        evaporation_m_s=0.0,
    )
    run = cook_pans(
        np.full(shape, 1 / (np.pi * 0.1**2)),
        power_w=np.zeros((steps, 1)),
        pan=PanBase(0.1, 1.0, 1e9),
        losses=Losses(
            ambient_k=HOT_K, surround_k=HOT_K, below_k=HOT_K, top_w_m2k=top_w_m2k, bottom_w_m2k=0.0
        ),
        food=food,
        run=RunSettings(step_s=step_s, record_every=steps, start_k=HOT_K),
    )
    return column, run.state.column_k[:, 0, 0, 0]


def slab_middle() -> float:
    """Return the worst difference of the middle over four times, of the step, in per cent."""
    worst = 0.0
    for seconds, middle_c in SLAB_C.items():
        _, nodes_k = _cooked(SLAB_M, seconds=seconds, contact_w_m2k=1e6, top_w_m2k=1e6)
        coldest = float(coldest_k(nodes_k)) - 273.15
        worst = max(worst, abs(coldest - middle_c) / 95.0)
    return 100.0 * worst


def thick_piece() -> float:
    """Return the worst difference of all nodes after 20, 60 and 180 s, of the step, in per cent.

    Rise in a half space behind a contact coefficient; under 180 s the far face of 60 mm
    is out of reach.
    """
    worst = 0.0
    for seconds in (20, 60, 180):
        column, nodes_k = _cooked(
            THICK_M, seconds=seconds, contact_w_m2k=CONTACT_W_M2K, top_w_m2k=0.0
        )
        depth, spread = column.middle_m, np.sqrt(DIFFUSIVITY * seconds)
        lag = CONTACT_W_M2K * spread / CONDUCTIVITY
        u = depth / (2 * spread)
        exact = erfc(u) - np.exp(-(u**2)) * erfcx(u + lag)
        rise = (nodes_k - COLD_K) / (HOT_K - COLD_K)
        worst = max(worst, float(np.abs(rise - exact).max()))
    return 100.0 * worst


CHECKS = [
    Check(
        name="slab of meat with both faces stepped, middle, of the step",
        group=GROUP,
        measure=slab_middle,
        unit="%",
        low=0.0,
        high=1.0,
        source="Carslaw and Jaeger, Conduction of Heat in Solids: series for a slab, 5.361, "
        "10.337, 36.319 and 66.339 C",
        conditions="25 mm, 1.35e-7 m2/s, 5 C, faces at 100 C; after 60, 120, 300 and 600 s; the "
        "middle is the lowest point of a parabola through three of 14 nodes",
    ),
    Check(
        name="thick piece on a pan that stays hot, any node, of the step",
        group=GROUP,
        measure=thick_piece,
        unit="%",
        low=0.0,
        high=1.0,
        source="half space behind a contact coefficient: Incropera et al., equation 5.63, Carslaw "
        "and Jaeger, chapter 2",
        conditions="60 mm, 1.35e-7 m2/s, contact 500 W/m2K, pan 95 K warmer; after 20, 60 and "
        "180 s",
    ),
]
