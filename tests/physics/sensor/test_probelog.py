"""Faults that a probe's readings give away: planted, and not called where there are none."""

from __future__ import annotations

import numpy as np
import pytest

from trivet.errors import OutOfRangeError, ProbeLogError
from trivet.physics.sensor.probelog import (
    blamed_probes,
    disagreements,
    follows,
    stuck_moments,
)
from trivet.physics.sensor.probes import moving_uncertainty_k

TIME = np.arange(0.0, 600.0, 2.0)
RISE = 295.0 + 0.15 * TIME


def test_stuck_while_others_move():
    rng = np.random.default_rng(0)
    live = np.round(RISE + rng.normal(0, 0.1, TIME.size), 1)
    stuck = live.copy()
    stuck[100:250] = stuck[100]
    got = stuck_moments(np.column_stack([live, stuck, live + 1.0]), time_s=TIME)
    assert got[100:250, 1].all()
    assert got.sum() == 150


def test_a_settled_bath_and_a_lone_probe_are_not_stuck():
    calm = np.full((TIME.size, 3), 297.0)
    assert not stuck_moments(calm, time_s=TIME).any()
    assert not stuck_moments(np.full((TIME.size, 1), 300.0), time_s=TIME).any()
    with pytest.raises(ProbeLogError):
        stuck_moments(calm, time_s=TIME[:5])


def test_a_room_channel_in_the_pot():
    warm_room = 295.0 + 6.0 * (TIME / 600)
    assert not follows(warm_room, other_k=RISE)
    assert follows(295.0 + 0.8 * (RISE - 295.0), other_k=RISE)
    assert not follows(np.full(TIME.size, np.nan), other_k=RISE)


def test_probes_within_their_classes_never_disagree():
    """Both errors drawn inside their limits, as a class promises: no false refusal."""
    rng = np.random.default_rng(1)
    half = 0.8 * np.sqrt(3)
    for _ in range(500):
        readings = RISE[:, None] + rng.uniform(-half, half, 2)
        assert not disagreements(readings, u_k=np.full(readings.shape, 0.8))


def test_the_odd_one_of_three_and_both_of_two():
    readings = RISE[:, None] + np.array([0.0, 5.0, 0.4])
    found = disagreements(readings, u_k=np.full(readings.shape, 0.8))
    assert [(one.first, one.second) for one in found] == [(0, 1), (1, 2)]
    assert found[0].difference_k == pytest.approx(-5.0)
    assert found[0].allowed_k == pytest.approx(2 * np.sqrt(3) * 0.8)
    assert blamed_probes(found, n=3) == (1,)
    pair = disagreements(readings[:, :2], u_k=np.full((TIME.size, 2), 0.8))
    assert blamed_probes(pair, n=2) == (0, 1)
    with pytest.raises(OutOfRangeError):
        disagreements(readings, u_k=np.zeros(readings.shape))


def test_moving_costs_clock_and_lag():
    """3 K/s: half a second is 1.5 K, a spring's unmeasured 3 s are 5.2 K."""
    clock = moving_uncertainty_k(3.0, attachment="spring", lag_u_s=0.0, clock_u_s=0.5)
    assert clock == pytest.approx(1.5)
    lag = moving_uncertainty_k(3.0, attachment="spring", lag_u_s=None, clock_u_s=0.0)
    assert lag == pytest.approx(5.196, abs=1e-3)
    assert moving_uncertainty_k(np.nan, attachment="welded", lag_u_s=None, clock_u_s=0.5) == 0.0
    with pytest.raises(OutOfRangeError):
        moving_uncertainty_k(1.0, attachment="glued", lag_u_s=None, clock_u_s=0.5)
