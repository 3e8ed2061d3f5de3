"""A hidden pan carried on, against pans integrated by other means."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from trivet.physics.heat.carriedpan import CarryRule, carry, nothing_carried
from trivet.physics.statistics.intervals import clopper_pearson

ROOM_K, FRIDGE_K, AREA_M2, STORE_JK = 295.0, 278.15, 0.045, 600.0
RULE = CarryRule(STORE_JK, AREA_M2, 2.0, ROOM_K, FRIDGE_K)
CELLS, CELL_M, MEAT = 60, 0.4e-3, (0.45, 1050.0 * 3500.0)


def pan(time_s, *, heat_w, loss_w_k, food=None):
    """Temperature of a pan; food is (moment, share, contact W/m2/K), a slab of 60 cells."""
    k, heat_m3 = MEAT

    def slope(t, state):
        meat = state[1:]
        flow = np.zeros(CELLS + 1)
        if food is not None and t >= food[0]:
            flow[0] = (state[0] - meat[0]) / (1.0 / food[2] + 0.5 * CELL_M / k)
            flow[1:-1] = k * (meat[:-1] - meat[1:]) / CELL_M
        share = food[1] if food is not None else 0.0
        own = heat_w - loss_w_k * (state[0] - ROOM_K) - share * AREA_M2 * flow[0]
        return np.concatenate([[own / STORE_JK], (flow[:-1] - flow[1:]) / (heat_m3 * CELL_M)])

    start = np.concatenate([[ROOM_K + 5.0], np.full(CELLS, FRIDGE_K)])
    # The moment at which food goes in is a break for the integrator.
    found = solve_ivp(slope, (0, time_s[-1]), start, t_eval=time_s, method="LSODA", max_step=1.0)
    return found.y[0]


def carried(true_k, time_s, *, hidden, share, u_k=2.0, memory=None, rule=RULE):
    new = hidden & ~np.concatenate([[False], hidden[:-1]])
    return carry(
        np.where(hidden, np.nan, true_k),
        u_k=np.full(time_s.size, u_k),
        time_s=time_s,
        covered_frac=np.where(hidden, share, 0.0),
        fresh=new,
        rule=rule,
        memory=nothing_carried() if memory is None else memory,
    )


def test_a_hand_is_bridged_and_the_interval_grows() -> None:
    time_s = np.arange(0, 60, 0.25)
    true_k = pan(time_s, heat_w=700.0, loss_w_k=1.5)
    hidden = time_s >= 40.0
    got = carried(true_k, time_s, hidden=hidden, share=0.0)
    assert np.isnan(got[~hidden, :2]).all()
    error = np.abs(got[hidden, 0] - true_k[hidden])
    assert error.max() < 0.5
    u = got[hidden, 1]
    assert u[0] >= 2.0  # never surer than the last reading of the pan itself
    assert (np.diff(u) > 0).all()
    # A rate that walks at random: integrated, the variance grows as the cube of the time.
    knob = (RULE.full_kps / 3.0) ** 2 / 120.0
    assert u[-1] ** 2 > u[0] ** 2 + knob * 19.75**3 / 3.0


def test_nothing_is_carried_without_a_history_or_without_a_told_pan() -> None:
    time_s = np.arange(0, 30, 0.25)
    true_k = pan(time_s, heat_w=700.0, loss_w_k=1.5)
    short = carried(true_k, time_s, hidden=time_s >= 8.0, share=0.4)
    assert np.isnan(short[:, 0]).all()
    untold = RULE._replace(store_jk=math.nan)
    assert np.isnan(carried(true_k, time_s, hidden=time_s >= 20, share=0.4, rule=untold)).all()
    gap_s = time_s + np.where(time_s >= 20.0, 60.0, 0.0)
    late = carried(true_k, gap_s, hidden=time_s >= 20.0, share=0.4)
    assert np.isnan(late[:, 0]).all()


def test_blocks_give_the_bits_of_the_whole() -> None:
    time_s = np.arange(0, 60, 0.25)
    true_k = pan(time_s, heat_w=700.0, loss_w_k=1.5)
    hidden = (time_s >= 30.0) & (time_s < 50.0)
    whole = carried(true_k, time_s, hidden=hidden, share=0.3)
    memory, parts = nothing_carried(), []
    for begin in range(0, time_s.size, 7):
        part = slice(begin, begin + 7)
        # Food is new where the whole record says so, not where a block begins.
        new = hidden & ~np.concatenate([[False], hidden[:-1]])
        parts.append(
            carry(
                np.where(hidden, np.nan, true_k)[part],
                u_k=np.full(time_s[part].size, 2.0),
                time_s=time_s[part],
                covered_frac=np.where(hidden, 0.3, 0.0)[part],
                fresh=new[part],
                rule=RULE,
                memory=memory,
            )
        )
    np.testing.assert_array_equal(np.concatenate(parts), whole)


@pytest.mark.parametrize("turned", [False, True])
def test_intervals_cover_pans_under_meat_of_any_contact(turned) -> None:
    """Contact drawn from none to 1,200 W/m2/K; knob left alone or turned under the food."""
    rng = np.random.default_rng(5)
    time_s, at_s = np.arange(0, 55, 0.5), 30.0
    hidden, cooks, missed = time_s >= at_s, 60, 0
    for _ in range(cooks):
        heat_w, loss_w_k = rng.uniform(200, 1100), rng.uniform(0.8, 2.5)
        share, contact = rng.uniform(0.1, 0.6), rng.uniform(1.0, 1200.0)
        food = (at_s, share, contact)
        true_k = pan(time_s, heat_w=heat_w, loss_w_k=loss_w_k, food=food)
        if turned:  # by a sixth of full heat, for the rest of the cook
            step = rng.choice([-1.0, 1.0]) / 6.0 * RULE.full_kps
            true_k = true_k + np.where(hidden, step * (time_s - at_s), 0.0)
        seen_k = true_k + rng.normal(0.0, 0.3, time_s.size)
        got = carried(seen_k, time_s, hidden=hidden, share=share)
        moment = rng.choice(np.flatnonzero(hidden))
        missed += abs(got[moment, 0] - true_k[moment]) > 1.96 * got[moment, 1]
    low, _ = clopper_pearson(missed, cooks, confidence=0.95)
    assert low <= 0.05, f"{missed} of {cooks} missed"
