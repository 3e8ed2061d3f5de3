"""The alert stage: causal, deaf to what it must not hear, and one with the device."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from trivet.errors import InputError
from trivet.models.oilpoints import limit_value_k
from trivet.quality import Quality
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.benchsheet import Told, ToldEntry
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.stages.alert import DEVICE, alert

ZERO_C_K = 273.15


def _burner(name, hottest_k, *, flags=0, heat_on=True, apparent_k=None):
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
        flags=np.broadcast_to(np.asarray(flags, dtype=np.uint32), n).copy(),
        heat_on=np.broadcast_to(np.asarray(heat_on), n).copy(),
        pixels=np.full(n, 50, dtype=np.int8),
        apparent_k=np.full(n, np.nan)
        if apparent_k is None
        else np.asarray(apparent_k, dtype=np.float64),
    )


WORDS = {
    "cause": "invented",
    "consequence": "invented",
    "action": "look",
    "time_available": "30 s",
    "priority": "low",
}
KINDS = {
    "dry": {"kind": "boil_dry", "plateau": "15 s", "on_delay": "2 s"},
    "ready": {"kind": "ready", "on_delay": "2 s"},
    "low": {"kind": "below_band", "on_delay": "2 s"},
    "uneven": {"kind": "uneven", "spread": "40 K"},
    "alone": {
        "kind": "unattended",
        "on_delay": "10 s",
        "escalate_after": "10 s",
        "escalation": "louder",
    },
    "no-pan": {"kind": "left_on", "on_delay": "5 s"},
    "window": {"kind": "window_dirty"},
    "charge": {"kind": "battery_low"},
    "link": {"kind": "link_lost"},
    "housing": {"kind": "housing_hot", "set_point": "85 degC"},
}


@pytest.fixture
def every(design_tables) -> Design:
    """Return a design with an alert of every kind."""
    design_tables["alerts"] += [{"name": name, **one, **WORDS} for name, one in KINDS.items()]
    design_tables["told"]["channels"] = ["base_contents", "pan", "target_band", "oil"]
    return Design.model_validate(design_tables)


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
    # The gate leaves 80 K, 40 s at this rate: the log says that 60 s cannot be had.
    assert (first.alert, first.note) == (
        "smoke-ahead",
        "by heating rate; 60 s ahead are impossible at 2.0 K/s: from the gate to the limit it"
        " takes 40 s",
    )
    # 1 s on delay later 78 K are left: 39 s, and with 5 K of the reading 36.5 to 41.5 s.
    assert first.rate_kps == pytest.approx(2.0, abs=0.01)
    assert first.left_s == pytest.approx(39.0, abs=0.3)
    assert (first.left_low_s, first.left_high_s) == pytest.approx((36.5, 41.5), abs=0.4)
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
        st.sampled_from([0, int(Quality.ABSENT), int(Quality.STEAM), int(Quality.HAND)]),
        st.booleans(),
        st.booleans(),
    ),
    min_size=3,
    max_size=120,
)


def _watch(time, moments):
    odd = np.array([m[4] for m in moments])
    return Watch(
        time_s=time,
        repeated=odd,
        even=odd & np.roll(odd, 1),
        housing_k=np.where(odd, 380.0, 300.0),
        battery_frac=np.linspace(0.2, 0.0, time.size),
        link=~odd,
        person=odd,
    )


def _part(record, cut):
    arrays = {k: v[cut] for k, v in vars(record).items() if isinstance(v, np.ndarray)}
    return replace(record, **arrays)


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(_moments, st.integers(1, 119))
def test_the_log_of_a_truncated_recording_is_a_prefix(every, moments, cut):
    time = np.cumsum([m[0] for m in moments])
    hot = np.array([m[1] for m in moments])
    flags = np.array([m[2] for m in moments], dtype=np.uint32)
    heat = np.array([m[3] for m in moments])
    burners = (
        _burner("front-left", hot, flags=flags, heat_on=heat, apparent_k=hot),
        _burner("rear-right", hot[::-1], flags=flags[::-1], heat_on=heat[::-1]),
    )
    watch = _watch(time, moments)
    told = Told(every=ToldEntry(base_contents="oil", target_band="sear"))
    whole = alert(Estimate(time, burners), design=every, told=told, watch=watch)
    cut = min(cut, time.size)
    head, tail = slice(None, cut), slice(cut - 1, None)
    part = alert(
        Estimate(time[head], tuple(_part(b, head) for b in burners)),
        design=every,
        told=told,
        watch=_part(watch, head),
    )
    assert part.changes == whole.changes[: len(part.changes)]
    until = time[cut - 1]
    assert all(c.time_s > until for c in whole.changes[len(part.changes) :])
    # And the machine's memory carries over a restart: the rest is the same again.
    after = alert(
        Estimate(time[tail], tuple(_part(b, tail) for b in burners)),
        design=every,
        told=told,
        watch=_part(watch, tail),
        state=DeviceState(machine=part.machine),
    )
    assert after.changes == whole.changes[len(part.changes) :]


def test_the_device_tells_of_itself(every):
    time = np.arange(0.0, 30.0, 0.25)
    estimate = Estimate(time, (_burner("front-left", np.full(time.size, 300.0)),))
    state = DeviceState(battery_frac=0.05, link=False, window_loss_frac=0.2)
    log = alert(estimate, design=every, told=Told(), state=state)
    assert {one for one in _heard(log) if one[0] == DEVICE} == {
        (DEVICE, "charge", "on"),
        (DEVICE, "link", "on"),
        (DEVICE, "window", "on"),
    }


def test_times_that_do_not_rise_are_refused(design):
    time = np.array([0.0, 1.0, 1.0])  # a clock may jump back, but no moment comes twice
    with pytest.raises(InputError, match="after moment 1"):
        alert(Estimate(time, (_burner("a", np.full(3, 300.0)),)), design=design, told=Told())
    time = np.array([0.0, np.nan, 1.0])
    with pytest.raises(InputError, match="finite"):
        alert(Estimate(time, (_burner("a", np.full(3, 300.0)),)), design=design, told=Told())


KITCHEN = Told(every=ToldEntry(base_contents="water"))


def _pot(every, apparent_c, *, flags=0, told=KITCHEN, heat_on=True, watch=None):
    apparent = np.asarray(apparent_c) + ZERO_C_K
    time = np.arange(apparent.size) * 0.25
    burner = _burner(
        "front-left",
        np.full(apparent.size, np.nan),
        flags=flags,
        heat_on=heat_on,
        apparent_k=apparent,
    )
    log = alert(Estimate(time, (burner,)), design=every, told=told, watch=watch)
    return [(c.time_s, c.state) for c in log.changes if c.alert == "dry"], log


def test_a_dry_pot_is_told_whether_it_is_dark_or_shines(every):
    boil = np.concatenate([np.linspace(20.0, 95.0, 200), np.full(200, 95.0)])
    rise = np.concatenate([boil, 95.0 + 0.5 * np.arange(120)])  # 2 K/s
    fall = np.concatenate([boil, np.maximum(95.0 - 0.75 * np.arange(120), 60.0)])
    for course in (rise, fall):
        found, log = _pot(every, course)
        assert [state for _, state in found] == ["not armed", "armed", "on"]
        assert 50.0 < found[1][0] < 75.0
        # 15 K off at 2 to 3 K/s, 2 s of smoothing, 2 s of delay.
        assert 100.0 < found[2][0] < 115.0
    assert log.changes[-1].note.startswith("the pot shines")


def test_a_pot_turned_down_or_filled_up_is_not_dry(every):
    boil = np.concatenate([np.linspace(20.0, 95.0, 200), np.full(200, 95.0)])
    slow = np.concatenate([boil, 95.0 - 0.02 * np.arange(2000)])  # 0.08 K/s
    found, _ = _pot(every, slow)
    assert [state for _, state in found] == ["not armed", "armed", "not armed"]
    # Cold water with a hand there: not dry either.
    cold = np.concatenate([boil, np.full(120, 60.0)])
    flags = np.where((np.arange(cold.size) > 395) & (np.arange(cold.size) < 400), 8, 0)
    assert int(Quality.HAND) == 8
    found, _ = _pot(every, cold, flags=flags)
    assert "on" not in [state for _, state in found]


def test_a_bare_bottom_that_passes_for_a_hand_is_still_dry(every):
    boil = np.concatenate([np.linspace(20.0, 95.0, 200), np.full(200, 95.0)])
    fall = np.concatenate([boil, np.maximum(95.0 - 0.75 * np.arange(160), 45.0)])
    rise = np.concatenate([boil, 95.0 + 0.5 * np.arange(160)])
    place = np.arange(fall.size)
    flags = {
        "stays": (place >= 400) & (place < 450),  # 12 s, and remembered for 10 s
        "late": (place >= 420) & (place < 424),  # the fall began before it
        "brief": (place >= 400) & (place < 408),  # 2 s: cold water was put in
    }
    hand = {name: np.where(there, int(Quality.HAND), 0) for name, there in flags.items()}
    said = {
        name: [state for _, state in _pot(every, fall, flags=one)[0]] for name, one in hand.items()
    }
    assert said == {
        "stays": ["not armed", "armed", "on"],
        "late": ["not armed", "armed", "on"],
        "brief": ["not armed", "armed", "not armed"],
    }
    # No hand is hotter than boiling water.
    assert _pot(every, rise, flags=hand["stays"])[0][-1][1] == "on"


def test_a_pot_without_a_plateau_is_never_called_dry(every):
    found, log = _pot(every, 20.0 + 0.25 * np.arange(900))
    assert [state for _, state in found] == ["not armed"]
    assert "no plateau" in next(c.note for c in log.changes if c.alert == "dry")


def test_a_blind_burner_that_heated_counts_as_heated(design):
    # The lens is covered: no contrast anywhere, which must not pass for a cool hob.
    time = np.arange(0.0, 40.0, 0.25)
    hot = np.where(time < 10.0, 450.0, np.nan)
    flags = np.where(np.isnan(hot), int(Quality.COLD), 0)
    burner = _burner("front-left", hot, flags=flags, heat_on=time < 10.0)
    estimate = Estimate(time, (burner,))
    assert "blind" not in [c.alert for c in alert(estimate, design=design, told=Told()).changes]
    no = np.zeros(time.size, dtype=np.bool_)
    watch = Watch(time, no, time >= 10.0, np.full(time.size, 300.0), np.ones(time.size), ~no, no)
    log = alert(estimate, design=design, told=Told(), watch=watch)
    assert [(c.time_s, c.alert) for c in log.changes] == [(11.0, "blind")]


def test_smoke_point_of_the_told_oil_sinks_with_its_uses(every):
    limit = every.limit("smoke").model_copy(update={"oil_point": "smoke"})
    at = {
        uses: limit_value_k(limit, design=every, told=ToldEntry(oil="canola", uses=uses)) - ZERO_C_K
        for uses in (0, 10)
    }
    # Canola 204 to 230 C, its 5 % quantile 205.3 C; 3 K a use (facts/oils.csv).
    assert at == pytest.approx({0: 205.3, 10: 175.3})
    assert limit_value_k(limit, design=every) == float(limit.value_k)


def test_a_clock_that_jumps_back_is_taken_and_loses_no_alert(design):
    time = np.concatenate([np.arange(0.0, 20.0, 0.25), np.arange(5.0, 30.0, 0.25)])
    estimate = Estimate(time, (_burner("front-left", np.full(time.size, 530.0)),))
    log = alert(estimate, design=design, told=Told())
    assert [(c.time_s, c.alert, c.state) for c in log.changes] == [
        (1.0, "over-temperature", "on"),
        (1.0, "smoke-ahead", "on"),
    ]


def test_nobody_there_for_too_long_escalates(every):
    time = np.arange(0.0, 60.0, 0.25)
    flags = np.where((time > 20.0) & (time < 21.0), int(Quality.HAND), 0)
    burner = _burner("front-left", np.full(time.size, 400.0), flags=flags)
    log = alert(Estimate(time, (burner,)), design=every, told=Told())
    found = [(c.time_s, c.state, c.note) for c in log.changes if c.alert == "alone"]
    # A hand at 20.25 s counts for 60 s: off 5 s later, before it could escalate again.
    assert found == [(10.0, "on", ""), (20.0, "escalated", "louder"), (25.25, "off", "")]
