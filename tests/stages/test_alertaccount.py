"""The account of the alerts: bounds against tables, repeats once, faults seen, fronts."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import numpy as np
import pytest
from pydantic import ValidationError
from rich.console import Console
from scipy.stats import binomtest

from trivet.files.design import read_design
from trivet.present import on_terminal
from trivet.present.alertaccount import SMOKE_ALARMS, study_sections
from trivet.present.readings import _alert_spans
from trivet.records.alertaccount import AlertCase
from trivet.records.alertlog import AlertChange, AlertLog, AlertWord, TunedPoint
from trivet.records.benchsheet import Told
from trivet.records.design import Design
from trivet.records.product import PresenceChannel
from trivet.records.recording import HeadFrames, PresenceSeries, ProductInput
from trivet.records.requirement import AlertKind
from trivet.scoring.alertaccount import alert_study, share_of
from trivet.scoring.alertmetrics import on_since_s
from trivet.stages.alert import watching
from trivet.stages.alert.injection import FAULTS, IN_FRAMES, faulty_input, jumped_back
from trivet.stages.simulate.occupancy import presence
from trivet.stages.tune import _front


def _case(plan, *, end="no event", nuisance=False, style="searing", alert="over-temperature"):
    return AlertCase(
        cook=f"{plan}-r0",
        plan=plan,
        evidence="simulated",
        style=style,
        burner="front-left",
        alert=alert,
        kind="time_to_limit" if alert == "smoke-ahead" else "level",
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
    assert found.high == pytest.approx(np.sqrt(0.95), abs=1e-6)


def test_told_blindness_is_no_miss_and_a_censored_cook_counts_for_nothing(design: Design):
    ends = ("in time", "blindness told", "censored", "impossible", "missed")
    study = alert_study(design, cases=[_case(end, end=end, style="") for end in ends])
    (row,) = study.rows
    assert (row["missed"].count, row["missed"].of) == (1, 3)
    assert [row[name].count for name in ("blind", "censored", "impossible")] == [1, 1, 1]


@pytest.mark.parametrize("key", ["action", "time_available"])
def test_an_alert_that_nobody_can_act_on_is_refused_by_its_name(design_tables, key):
    design_tables["alerts"][1][key] = "  "
    with pytest.raises(ValidationError, match=f"alert 'smoke-ahead' has no {key}"):
        Design.model_validate(design_tables)


def test_an_alert_that_escalates_says_how(design_tables):
    design_tables["alerts"][1]["escalate_after"] = "20 s"
    with pytest.raises(ValidationError, match="'smoke-ahead' escalates without saying how"):
        Design.model_validate(design_tables)
    design_tables["alerts"][1]["escalation"] = "a call through the link"
    assert Design.model_validate(design_tables).alerts[1].escalation


def test_an_alert_that_escalated_is_on_until_it_goes_off():
    words: tuple[tuple[float, AlertWord], ...] = ((10.0, "on"), (30.0, "escalated"), (80.0, "off"))
    log = AlertLog(tuple(AlertChange(at, "front-left", "hot", word) for at, word in words))
    cook = SimpleNamespace(alerts=log)
    for at_s, since_s in ((20.0, 10.0), (40.0, 10.0), (90.0, np.inf)):
        assert on_since_s(cook, "hot", burner="front-left", at_s=at_s) == since_s
    (span,) = _alert_spans(log.changes, "front-left", np.array([0.0, 100.0]))
    assert (span.start, span.end) == (10.0, 80.0)


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
    return ProductInput((head,), Told())


def test_faults_show_in_what_the_device_knows(design):
    sound = watching(_sight(), design=design)
    assert not sound.repeated.any()
    assert not sound.even.any()
    then = sound.time_s >= 5.0
    stuck = watching(faulty_input(_sight(), "stuck frame", at_s=5.0), design=design)
    # The first frame of the fault is new; each one after it is the same again.
    assert stuck.repeated.tolist() == (sound.time_s > 5.0).tolist()
    covered = watching(faulty_input(_sight(), "lens covered", at_s=5.0), design=design)
    assert covered.even.tolist() == then.tolist()
    hot = watching(faulty_input(_sight(), "housing over temperature", at_s=5.0), design=design)
    assert np.unique(hot.housing_k).tolist() == [310.0, 390.0]
    gone = watching(faulty_input(_sight(), "dropped frames", at_s=5.0), design=design)
    assert np.diff(gone.time_s).max() == pytest.approx(10.0)
    assert set(IN_FRAMES) < set(FAULTS)
    assert np.diff(jumped_back(sound.time_s, at_s=5.0)).min() == pytest.approx(-19.75)


def test_presence_counts_for_as_long_as_declared(design_tables):
    design_tables["alerting"] = {"presence": {"name": "invented", "hold": "3 s"}}
    design = Design.model_validate(design_tables)
    inputs = ProductInput(
        _sight().heads, Told(), PresenceSeries((0.0, 4.0, 8.0), (False, True, False))
    )
    person = watching(inputs, design=design).person
    time = inputs.heads[0].time_s
    assert person.tolist() == ((time >= 4.0) & (time <= 7.0)).tolist()
    for nobody in (PresenceSeries((0.0, 4.0), (False, False)), PresenceSeries((), ())):
        assert not watching(replace(inputs, presence=nobody), design=design).person.any()


def test_a_foretold_limit_that_never_came_is_told_apart(design: Design):
    # A predicted alert that was right at its rate, in an ordinary cook that turned the knob.
    quiet = replace(_case("quiet", alert="smoke-ahead"), on_s=np.inf)
    cases = [
        _case("turned", alert="smoke-ahead"),
        quiet,
        _case("came", end="late", alert="smoke-ahead"),
    ]
    row = next(one for one in alert_study(design, cases=cases).rows if one.alert == "smoke-ahead")
    assert (row["turned"].count, row["turned"].of, row["nuisance"].count) == (1, 3, 0)


def test_leads_are_kept_apart_by_heating_rate(design_tables):
    design_tables["limits"].append({"name": "iron", "of": "pan", "value": "371 degC"})
    design_tables["alerts"][0]["limit"] = "iron"
    design = Design.model_validate(design_tables)
    cases = [
        replace(_case(f"c{rate}", end=end, style=""), rate_kps=rate, lead_s=lead)
        for rate, end, lead in (
            (0.9, "in time", 120.0),
            (1.8, "in time", 80.0),
            (1.9, "late", 50.0),
            (4.4, "impossible", 40.0),
        )
    ]
    rates = alert_study(design, cases=cases).rates
    found = [(one["missed"].count, one["missed"].of, one["impossible"].count) for one in rates]
    assert found == [(0, 1, 0), (1, 2, 0), (0, 0, 0), (0, 0, 1), (0, 0, 0)]
    assert rates[1]["leads"].value == pytest.approx(65.0)
    out = Console(file=io.StringIO(), width=200)
    out.print(on_terminal(study_sections(alert_study(design, cases=cases), design=design)))
    for span in ("up to 1.0 K/s", "1.0 K/s to 2.0 K/s", "3.0 K/s to 4.4 K/s"):
        assert span in out.file.getvalue()


def test_the_smoke_alarms_beside_ours_have_exact_intervals(design: Design):
    # Counts of 469 cooks as published; intervals of Clopper and Pearson by scipy.
    for count in (41, 53, 14):
        ends = binomtest(count, 469).proportion_ci(0.95, method="exact")
        for share in (count / 469, ends.low, ends.high):
            assert f"{100 * share:.1f}" in SMOKE_ALARMS
    out = Console(file=io.StringIO(), width=200)
    out.print(on_terminal(study_sections(alert_study(design, cases=[_case("a")]), design=design)))
    text = out.file.getvalue()
    assert "11.3 % (53, dual)" in text
    for one in design.alerts:
        assert one.action in text
        assert one.consequence in text


def test_the_demonstration_rationalises_every_kind():
    demo = read_design(Path(__file__).parents[2] / "examples" / "larkpane")
    kinds = {one.kind for one in demo.alerts}
    assert kinds == set(get_args(AlertKind))
    for one in demo.alerts:
        assert min(len(one.cause), len(one.consequence), len(one.action)) > 10, one.name
        assert float(one.time_available_s) > 0, one.name
        # What is urgent says what happens when nobody acts.
        assert one.escalation or one.priority != "high" or one.kind == "housing_hot", one.name


def test_the_presence_channel_errs_at_the_rates_that_it_declares():
    channel = PresenceChannel.model_validate(
        {"name": "invented", "period": "1 s", "miss": "10 %", "false": "2 %"}
    )
    plan = SimpleNamespace(away=[SimpleNamespace(at_s=10_000.0, for_s=10_000.0)])
    rng = np.random.default_rng(7)
    series = presence(channel, plan=plan, until_s=20_000.0, generator=rng)
    seen = np.array(series.present)
    # Binomial, 10,000 answers each: four standard deviations are 1.2 and 0.6 %.
    assert seen[:10_000].mean() == pytest.approx(0.90, abs=0.012)
    assert seen[10_000:].mean() == pytest.approx(0.02, abs=0.006)


def test_a_front_holds_what_nothing_beats():
    def point(lead, missed, nuisance, chatters):
        return TunedPoint((("lead", f"{lead} s"),), lead, missed, nuisance, chatters)

    best, fewer, beaten = point(70.0, 0, 4, 0), point(50.0, 0, 1, 0), point(49.0, 0, 1, 0)
    assert _front([beaten, best, fewer]) == (best, fewer)
