"""The alert machine, rule by rule; expected times are worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trivet.device import alertmachine as machine
from trivet.device import alertpot
from trivet.device import alertrules as judging
from trivet.device.alertmemory import restored_states, saved_states
from trivet.device.alertwords import (
    AT_RANGE,
    COOL,
    HEAT_ON,
    NO_VALUE,
    PERSON,
    AlertSettings,
    settings_array,
)
from trivet.errors import InputError, OutOfRangeError

LEVEL = AlertSettings("level", set_dk=5000, deadband_dk=80, on_ms=1000, off_ms=5000)
AHEAD = AlertSettings(
    "time_to_limit",
    set_dk=5000,
    lead_ms=60_000,
    deadband_dk=50,
    on_ms=0,
    off_ms=5000,
    gate_dk=3800,
    window_ms=10_000,
)
BLIND = AlertSettings("loss_of_sight", on_ms=10_000, off_ms=5000)


def _run(rows, time_ms, reading, word=None, state=None):
    time_ms = np.asarray(time_ms, dtype=np.int64)
    reading = np.asarray(reading, dtype=np.int64)
    word = np.full(time_ms.shape, HEAT_ON) if word is None else np.asarray(word)
    state = state or machine.cold_start(len(rows))
    changes = machine.burner_changes(
        time_ms,
        signals=reading[None, :],
        word=word.astype(np.int64),
        settings=settings_array(tuple(rows)),
        state=state,
    )
    return [(int(time_ms[i]), int(k), int(on), int(why)) for i, k, on, why, *_ in changes]


def _steps(*parts, period=250):
    """Return times and readings of (seconds, reading) parts."""
    reading = np.concatenate([np.full(int(s * 1000 / period), r) for s, r in parts])
    return np.arange(reading.size) * period, reading


def test_level_waits_for_its_delay_and_clears_below_the_dead_band():
    time, reading = _steps((10, 4000), (10, 5000), (10, 4950), (10, 4919))
    assert _run([LEVEL], time, reading) == [
        (11_000, 0, 1, judging.BY_READING),
        (35_000, 0, 0, judging.BY_READING),
    ]


def test_a_flicker_shorter_than_the_delay_is_no_alert():
    time, reading = _steps((5, 4000), (0.75, 5200), (5, 4000), (0.75, 5200), (5, 4000))
    assert _run([LEVEL], time, reading) == []


def test_saturation_counts_as_above_every_limit():
    time, reading = _steps((5, 4000), (5, AT_RANGE))
    assert _run([LEVEL, AHEAD], time, reading) == [
        (5000, 1, 1, judging.BY_RANGE),
        (6000, 0, 1, judging.BY_RANGE),
    ]


def test_no_reading_neither_clears_nor_forgets():
    time, reading = _steps((5, 5100), (60, NO_VALUE), (1, 5100), (60, NO_VALUE))
    assert _run([LEVEL], time, reading) == [(1000, 0, 1, judging.BY_READING)]
    # A rise begun before the blindness keeps its start.
    time, reading = _steps((0.5, 5100), (2, NO_VALUE), (1, 5100))
    assert _run([LEVEL], time, reading) == [(2500, 0, 1, judging.BY_READING)]


def test_a_pan_taken_away_clears_the_alert_once_the_heat_is_off():
    time, reading = _steps((5, 5100), (20, NO_VALUE))
    gone = np.where(time >= 5000, COOL, HEAT_ON)
    assert _run([LEVEL], time, reading, gone)[1:] == [(10_000, 0, 0, judging.BY_READING)]


def test_predicted_time_on_a_straight_rise():
    # 2 K/s from 350 K: 20 dK a second. 60 s before 500 K is at 380 K = the gate.
    time = np.arange(0, 90_000, 250)
    reading = 3500 + (time * 20) // 1000
    first = _run([AHEAD], time, reading)[0]
    assert first == (15_000, 0, 1, judging.BY_RATE)
    # 1 K/s: 60 s before 500 K is at 440 K, 90 s after 350 K.
    time = np.arange(0, 180_000, 250)
    slow = _run([AHEAD], time, 3500 + time // 100)
    assert slow[0][1:] == (0, 1, judging.BY_RATE)
    assert slow[0][0] == pytest.approx(90_000, abs=1000)


def test_a_rate_from_under_five_seconds_is_withheld():
    time = np.arange(0, 30_000, 250)
    reading = 4000 + (time * 50) // 1000  # 5 K/s: the limit is 20 s away at once
    assert _run([AHEAD], time, reading)[0][0] == 5000
    # After a gap of more than half a window the rate starts anew.
    gap = np.where((time >= 3000) & (time < 9000), NO_VALUE, reading)
    assert _run([AHEAD], time, gap)[0][0] == 14_000


def test_a_leap_is_no_heating_but_fast_heating_is():
    time = np.arange(0, 60_000, 250)
    # A steak is turned: 24 K more within a second, then a slow fall. 24 K over a window of
    # 10 s look like 3.6 K/s at worst, and 60 s of that would pass the limit.
    turned = np.where(time < 30_000, 4300, 4540 - (time - 30_000) // 250)
    turned = np.where(
        (time >= 29_250) & (time < 30_000), 4300 + (time - 29_000) * 240 // 1000, turned
    )
    assert _run([AHEAD], time, turned) == []
    # Heating that sets in after it is told once the leap has left the window.
    heated = turned + 20 * np.maximum(time - 32_000, 0) // 1000
    assert _run([AHEAD], time, heated)[0][0] == pytest.approx(40_000, abs=1500)
    # 12 K/s all along is a thin pan on a strong burner, and told as soon as a rate is known.
    assert _run([AHEAD], time, 3900 + time * 120 // 1000)[0][0] == 5000


def test_predicted_alert_clears_when_the_rise_stops():
    time = np.arange(0, 120_000, 250)
    reading = 3500 + np.minimum(time * 20 // 1000, 600)  # levels off at 410 K after 30 s
    changes = _run([AHEAD], time, reading)
    assert [c[2] for c in changes] == [1, 0]
    assert 30_000 < changes[1][0] < 50_000


def test_loss_of_sight_only_while_the_burner_heats():
    time, reading = _steps((5, 4000), (30, NO_VALUE), (10, 4000))
    assert _run([BLIND], time, reading) == [
        (15_000, 0, 1, judging.BY_BLINDNESS),
        (40_000, 0, 0, judging.BY_BLINDNESS),
    ]
    assert _run([BLIND], time, reading, np.zeros(time.size)) == []


def test_a_clock_that_jumps_back_restarts_delays_but_keeps_alerts():
    time, reading = _steps((3, 5100))
    again = np.concatenate([time, time])
    assert _run([LEVEL], again, np.concatenate([reading, reading])) == [
        (1000, 0, 1, judging.BY_READING)
    ]
    half = np.concatenate([[0, 250, 500, 750], [0, 250, 500, 750, 1000]])
    assert _run([LEVEL], half, np.full(9, 5100)) == [(1000, 0, 1, judging.BY_READING)]


def test_more_changes_than_the_first_guess_are_all_returned():
    quick = AlertSettings("level", set_dk=5000)
    time, reading = _steps(*[(0.25, 5100), (0.25, 4000)] * 100)
    assert len(_run([quick], time, reading)) == 200


# Every rule, each on the one signal that the moments have.
EVERY = [
    LEVEL,
    AHEAD,
    BLIND,
    AlertSettings("below", set_dk=4500, top_dk=4500, gate_dk=3600, on_ms=3000, needs=HEAT_ON),
    AlertSettings("in_band", set_dk=4300, top_dk=4800, deadband_dk=40, on_ms=2000, off_ms=900),
    AlertSettings(
        "boil_dry",
        set_dk=5600,
        gate_dk=3300,
        top_dk=150,
        deadband_dk=900,
        lead_ms=30_000,
        window_ms=5000,
        escalate_ms=2000,
    ),
    AlertSettings("condition", needs=HEAT_ON, forbids=PERSON, on_ms=3000, escalate_ms=4000),
]
_words = st.lists(
    st.tuples(
        st.integers(1, 3000),
        st.one_of(st.just(NO_VALUE), st.just(AT_RANGE), st.integers(3300, 5600)),
        st.integers(0, 31),
    ),
    min_size=2,
    max_size=150,
)


@settings(max_examples=60, deadline=None)
@given(_words, st.integers(0, 150))
def test_a_restart_with_saved_memory_changes_nothing(words, cut):
    rows = EVERY
    time = np.cumsum([w[0] for w in words])
    reading, word = np.array([w[1] for w in words]), np.array([w[2] for w in words])
    whole = _run(rows, time, reading, word)
    table = settings_array(tuple(rows))
    state = machine.cold_start(len(rows))
    first = _run(rows, time[:cut], reading[:cut], word[:cut], state)
    # Causality: what happened before the cut does not depend on what follows.
    assert first == [c for c in whole if c[0] <= (time[:cut].max() if cut else -1)]
    (again,) = restored_states(saved_states((state,), settings=table[None]), settings=table[None])
    assert first + _run(rows, time[cut:], reading[cut:], word[cut:], again) == whole


@settings(max_examples=20, deadline=None)
@given(_words)
def test_twin_and_compiled_code_agree(words):
    rows = settings_array(tuple(EVERY))
    moments = tuple(np.array(column, dtype=np.int64) for column in zip(*words, strict=True))
    moments = (np.cumsum(moments[0]), moments[1][None, :], moments[2])
    results = []
    for run in (machine.run_burner, _plain_run):
        state = machine.cold_start(len(EVERY))
        changes = np.zeros((500, judging.CHANGE), dtype=np.int64)
        count = run(moments, rows, (state.alerts, state.ring, state.common), changes)
        results.append((count, changes.tolist(), state.alerts.tolist()))
    assert results[0] == results[1]


def _plain_run(*arguments):
    """Run the machine uncompiled, all the way down."""
    rooms = (machine, alertpot, judging)
    kept = {
        (room, name): one
        for room in rooms
        for name, one in vars(room).items()
        if hasattr(one, "py_func")
    }
    try:
        for (room, name), function in kept.items():
            setattr(room, name, function.py_func)
        return machine.run_burner(*arguments)
    finally:
        for (room, name), function in kept.items():
            setattr(room, name, function)


def test_slope_sums_do_not_drift_over_days():
    # 200,000 readings: the running sums equal those of the ring, exactly.
    time = np.arange(200_000) * 250
    reading = 4000 + (np.sin(time / 7e4) * 300).astype(np.int64)
    state = machine.cold_start(1)
    _run([AHEAD], time, reading, state=state)
    s = state.alerts[0]
    places = (s[judging.HEAD] + np.arange(s[judging.COUNT])) % judging.RATE_RING
    t, y = (state.ring[0, places, 0] - s[judging.BASE_MS]), state.ring[0, places, 1]
    assert (s[judging.SUM_T], s[judging.SUM_TT]) == (t.sum(), (t * t).sum())
    assert (s[judging.SUM_Y], s[judging.SUM_TY]) == (y.sum(), (t * y).sum())


def test_settings_that_could_overflow_are_refused():
    for bad in (
        AlertSettings("time_to_limit", window_ms=4999),
        AlertSettings("time_to_limit", window_ms=120_001),
        AlertSettings("time_to_limit", lead_ms=600_001),
        AlertSettings("level", set_dk=AT_RANGE),
        AlertSettings("level", on_ms=-1),
    ):
        with pytest.raises(OutOfRangeError):
            settings_array((bad,))


def test_damaged_or_foreign_memory_is_refused():
    table = settings_array((LEVEL,))[None]
    saved = saved_states((machine.cold_start(1),), settings=table)
    damaged = saved[:40] + bytes([saved[40] ^ 1]) + saved[41:]
    for bytes_, rows in (
        (b"", table),
        (damaged, table),
        (saved, settings_array((BLIND,))[None]),
        (saved, np.concatenate([table, table])),
    ):
        with pytest.raises(InputError, match="start cold"):
            restored_states(bytes_, settings=rows)
