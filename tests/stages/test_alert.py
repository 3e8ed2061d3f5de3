"""The alert stage: causal, deaf to what it must not hear, and one with the device."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trivet.errors import InputError
from trivet.quality import Quality
from trivet.records.alertlog import DeviceState
from trivet.records.cook import Told, ToldEntry
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.stages.alert import DEVICE, alert

ZERO_C_K = 273.15


def _burner(name, hottest_k, *, flags=0, heat_on=True):
    hottest = np.asarray(hottest_k, dtype=np.float64)
    n = hottest.size
    return BurnerEstimate(
        burner=name,
        head="main",
        present=np.ones(n, dtype=np.int8),
        of=np.zeros(n, dtype=np.int8),
        reported_k=hottest,
        u95_k=np.full(n, 5.0),
        hottest_k=hottest,
        nonuniformity_k=np.full(n, np.nan),
        apparent_k=np.full(n, np.nan),
        flags=np.broadcast_to(np.asarray(flags, dtype=np.uint32), n).copy(),
        heat_on=np.broadcast_to(np.asarray(heat_on), n).copy(),
        pixels=np.full(n, 50, dtype=np.int8),
    )


def _cut(estimate, n):
    burners = tuple(
        replace(b, **{k: v[:n] for k, v in vars(b).items() if isinstance(v, np.ndarray)})
        for b in estimate.burners
    )
    return Estimate(estimate.time_s[:n], burners)


def _rise(rate=2.0, start_c=100.0, seconds=120.0):
    time = np.arange(0.0, seconds, 0.25)
    return time, start_c + ZERO_C_K + rate * time


def _heard(log):
    return [(c.burner, c.alert, c.state) for c in log.changes]


OIL = Told(every=ToldEntry(base_contents="oil"))


def test_lead_before_the_smoke_point_at_two_kelvin_a_second(design: Design):
    # 230 C less 60 s at 2 K/s is 110 C, under the gate of 150 C, reached at 25 s.
    time, hottest = _rise()
    log = alert(Estimate(time, (_burner("front-left", hottest),)), design=design, told=OIL)
    first = log.changes[0]
    assert (first.alert, first.note) == ("smoke-ahead", "by heating rate")
    # On delay 1 s after the gate at 25 s: 39 s before the smoke point at 65 s.
    assert first.time_s == pytest.approx(26.0, abs=0.3)
    level = next(c for c in log.changes if c.alert == "over-temperature")
    assert level.time_s == pytest.approx(70.0 + 1.0, abs=0.3)


def test_alerts_for_told_contents_need_the_telling(design_tables):
    design_tables["alerts"][1]["bases"] = ["film", "deep-oil"]
    design = Design.model_validate(design_tables)
    time, hottest = _rise(seconds=60.0)
    estimate = Estimate(time, (_burner("front-left", hottest),))
    assert _heard(alert(estimate, design=design, told=OIL))
    assert not _heard(alert(estimate, design=design, told=Told()))
    water = Told(every=ToldEntry(base_contents="water"))
    assert not _heard(alert(estimate, design=design, told=water))
    # What the design has no channel for cannot be told.
    design_tables["told"]["channels"] = ["pan"]
    deaf = Design.model_validate(design_tables)
    assert not _heard(alert(estimate, design=deaf, told=OIL))


def test_settling_silences_nothing_and_saturation_alerts(design):
    time = np.arange(0.0, 30.0, 0.25)
    hot = np.where(time < 10.0, 400.0, np.inf)
    flags = np.where(np.isinf(hot), int(Quality.SATURATED), 0) | int(Quality.SETTLING)
    log = alert(
        Estimate(time, (_burner("front-left", hot, flags=flags),)), design=design, told=Told()
    )
    change = next(c for c in log.changes if c.alert == "over-temperature")
    assert (change.time_s, change.note) == (11.0, "at or above range")


def test_missing_frames_are_loss_of_sight(design):
    # Frames stop at 20 s for 40 s; stale after 3 s, on delay 1 s: told by 24 s.
    time = np.concatenate([np.arange(0.0, 20.25, 0.25), np.arange(60.0, 80.0, 0.25)])
    steady = np.full(time.size, 400.0)
    log = alert(Estimate(time, (_burner("front-left", steady),)), design=design, told=Told())
    assert [(c.time_s, c.alert, c.state) for c in log.changes] == [
        (24.0, "blind", "on"),
        (65.0, "blind", "off"),
    ]
    off = alert(
        Estimate(time, (_burner("front-left", steady, heat_on=False),)), design=design, told=Told()
    )
    assert not off.changes


def test_a_steamed_burner_is_not_a_cool_one(design):
    time = np.arange(0.0, 60.0, 0.25)
    hot = np.where(time < 20.0, 530.0, np.nan)
    for flag, ends in ((Quality.ABSENT, True), (Quality.ABSENT | Quality.STEAM, False)):
        flags = np.where(np.isnan(hot), int(flag), 0)
        heat = time < 20.0
        estimate = Estimate(time, (_burner("front-left", hot, flags=flags, heat_on=heat),))
        log = alert(estimate, design=design, told=Told())
        states = [c.state for c in log.changes if c.alert == "over-temperature"]
        assert states == (["on", "off"] if ends else ["on"])


_moments = st.lists(
    st.tuples(
        st.sampled_from([0.25, 0.25, 0.25, 1.0, 4.0, 9.0]),
        st.one_of(st.just(np.nan), st.just(np.inf), st.floats(330.0, 560.0)),
        st.sampled_from([0, int(Quality.ABSENT), int(Quality.STEAM), int(Quality.COLD)]),
        st.booleans(),
    ),
    min_size=3,
    max_size=120,
)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(_moments, st.integers(1, 119))
def test_the_log_of_a_truncated_recording_is_a_prefix(design, moments, cut):
    time = np.cumsum([m[0] for m in moments])
    hot = np.array([m[1] for m in moments])
    flags = np.array([m[2] for m in moments], dtype=np.uint32)
    heat = np.array([m[3] for m in moments])
    burners = (
        _burner("front-left", hot, flags=flags, heat_on=heat),
        _burner("rear-right", hot[::-1], flags=flags[::-1], heat_on=heat[::-1]),
    )
    estimate = Estimate(time, burners)
    whole = alert(estimate, design=design, told=OIL)
    cut = min(cut, time.size)
    part = alert(_cut(estimate, cut), design=design, told=OIL)
    until = time[cut - 1]
    assert part.changes == tuple(c for c in whole.changes if c.time_s <= until)
    # And the machine's memory carries over a restart: the rest is the same again.
    rest = Estimate(
        time[cut - 1 :],
        tuple(
            replace(b, **{k: v[cut - 1 :] for k, v in vars(b).items() if isinstance(v, np.ndarray)})
            for b in burners
        ),
    )
    after = alert(rest, design=design, told=OIL, state=DeviceState(machine=part.machine))
    assert after.changes == tuple(c for c in whole.changes if c.time_s > until)


def test_the_device_tells_of_itself(design):
    time = np.arange(0.0, 5.0, 0.25)
    estimate = Estimate(time, (_burner("front-left", np.full(time.size, 300.0)),))
    state = DeviceState(battery_frac=0.05, link=False)
    log = alert(estimate, design=design, told=Told(), state=state)
    assert _heard(log) == [(DEVICE, "battery_low", "on"), (DEVICE, "link_lost", "on")]


def test_times_that_do_not_rise_are_refused(design):
    time = np.array([0.0, 1.0, 1.0])
    with pytest.raises(InputError, match="after moment 1"):
        alert(Estimate(time, (_burner("a", np.full(3, 300.0)),)), design=design, told=Told())
    time = np.array([0.0, np.nan, 1.0])
    with pytest.raises(InputError, match="finite"):
        alert(Estimate(time, (_burner("a", np.full(3, 300.0)),)), design=design, told=Told())
