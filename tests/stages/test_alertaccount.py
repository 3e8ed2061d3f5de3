"""The account of the alerts: bounds against tables, repeats once, faults seen, fronts."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from trivet.flow.tune import _front
from trivet.records.alertaccount import AlertCase
from trivet.records.cook import Told
from trivet.records.design import Design
from trivet.records.recording import HeadFrames, PresenceSeries, Sight
from trivet.records.tuning import TunedPoint
from trivet.stages.alert import watching
from trivet.stages.alert.injection import FAULTS, IN_FRAMES, faulty_sight, jumped_back
from trivet.stages.verify.alertaccount import alert_study, share_of


def _case(plan, *, end="no event", nuisance=False, style="searing", alert="over-temperature"):
    return AlertCase(
        cook=f"{plan}-r0",
        plan=plan,
        evidence="simulated",
        style=style,
        burner="front-left",
        alert=alert,
        end=end,
        on_s=100.0,
        due_s=120.0,
        lead_s=80.0,
        rate_kps=1.5,
        oily=True,
        nuisance=nuisance,
        judged=True,
        chatters=0,
    )


def test_no_nuisance_in_299_cooks_bounds_one_in_a_hundred(design: Design):
    # Zero-failure rule, 1 - 0.05 ** (1 / n): 299 cooks for 1 %, 298 are one too few.
    goals = {}
    for n in (298, 299):
        study = alert_study(design, cases=[_case(f"c{i}") for i in range(n)])
        goals[n] = next(g for g in study.goals if g.text.startswith("nuisance"))
    assert (goals[298].decision, goals[299].decision) == ("not proven", "met")


def test_repeats_of_a_plan_count_once_and_at_their_worst():
    cases = [_case("a"), _case("a", nuisance=True), _case("b")]
    found = share_of(cases, lambda one: one.nuisance)
    assert (found.count, found.of) == (1, 2)
    # Clopper and Pearson: 1 of 2, upper one-sided 95 %: sqrt(0.95).
    assert found.bound_frac == pytest.approx(np.sqrt(0.95), abs=1e-6)


def test_told_blindness_is_no_miss_and_a_censored_cook_counts_for_nothing(design: Design):
    ends = ("in time", "blindness told", "censored", "impossible", "missed")
    study = alert_study(design, cases=[_case(end, end=end, style="") for end in ends])
    (row,) = study.rows
    assert (row.missed.count, row.missed.of) == (1, 3)
    assert (row.blind, row.censored, row.impossible) == (1, 1, 1)


@pytest.mark.parametrize("key", ["action", "time_available"])
def test_an_alert_that_nobody_can_act_on_is_refused_by_its_name(design_tables, key):
    design_tables["alerts"][1][key] = "  "
    with pytest.raises(ValidationError, match=f"alert 'smoke-ahead' has no {key}"):
        Design.model_validate(design_tables)


def _sight(frames=60):
    noise = np.random.default_rng(5).normal(0.0, 0.1, (frames, 24, 32))
    apparent = 300.0 + noise
    apparent[:, 5:12, 5:12] += 150.0
    time = np.arange(frames) * 0.25
    head = HeadFrames(
        "main",
        time,
        apparent.astype(np.float32),
        np.full(frames, 310.0),
        time + 5.0,
    )
    return Sight((head,), Told())


def test_faults_show_in_what_the_device_knows(design):
    sound = watching(_sight(), design=design)
    assert not sound.repeated.any()
    assert not sound.even.any()
    then = sound.time_s >= 5.0
    stuck = watching(faulty_sight(_sight(), "stuck frame", at_s=5.0), design=design)
    # The first frame of the fault is new; each one after it is the same again.
    assert stuck.repeated.tolist() == (sound.time_s > 5.0).tolist()
    covered = watching(faulty_sight(_sight(), "lens covered", at_s=5.0), design=design)
    assert covered.even.tolist() == then.tolist()
    hot = watching(faulty_sight(_sight(), "housing over temperature", at_s=5.0), design=design)
    assert np.unique(hot.housing_k).tolist() == [310.0, 390.0]
    gone = watching(faulty_sight(_sight(), "dropped frames", at_s=5.0), design=design)
    assert np.diff(gone.time_s).max() == pytest.approx(10.0)
    assert set(IN_FRAMES) < set(FAULTS)
    assert np.diff(jumped_back(sound.time_s, at_s=5.0)).min() == pytest.approx(-19.75)


def test_presence_counts_for_as_long_as_declared(design_tables):
    design_tables["alerting"] = {"presence": {"name": "invented", "hold": "3 s"}}
    design = Design.model_validate(design_tables)
    sight = Sight(_sight().heads, Told(), PresenceSeries((0.0, 4.0, 8.0), (False, True, False)))
    person = watching(sight, design=design).person
    time = sight.heads[0].time_s
    assert person.tolist() == ((time >= 4.0) & (time <= 7.0)).tolist()


def test_a_front_holds_what_nothing_beats():
    def point(lead, missed, nuisance, chatters):
        return TunedPoint((("lead", f"{lead} s"),), lead, missed, nuisance, chatters)

    best, fewer, beaten = point(70.0, 0, 4, 0), point(50.0, 0, 1, 0), point(49.0, 0, 1, 0)
    assert _front([beaten, best, fewer]) == (best, fewer)
