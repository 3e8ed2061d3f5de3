"""The verdict: exact bounds, grades apart, nothing proven that is not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from trivet.errors import EvidenceError
from trivet.quality import Quality
from trivet.records.alertlog import AlertChange, AlertLog
from trivet.records.benchsheet import SheetBurner, SheetProbe
from trivet.records.business_result import BatteryLife, Economics
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.prediction import Budget, PanView, Prediction, RangeCheck
from trivet.records.recording import BurnerTruth, Event, ProbeSeries, Reference, Truth
from trivet.records.requirement import OF_WORDS
from trivet.records.verdict import ProofCook
from trivet.scoring import burner_figures
from trivet.stages.verify import verify

ZERO_C_K = 273.15
OIL = OF_WORDS.index("oil")
PAN = OF_WORDS.index("pan")
NAN = float("nan")

PREDICTION = Prediction(
    views=(
        PanView("main", "front-left", "iron-24", 1.0, 0.02, 9.0, 0.02, 0.9, 0.2, 0.9),
        PanView("main", "rear-left", "iron-24", 0.9, -0.01, 9.5, 0.02, 0.9, 0.2, 0.9),
        PanView("side", "rear-left", "iron-24", 1.0, 0.03, 7.0, 0.02, 0.9, 0.2, 0.9),
    ),
    budgets=(
        Budget("dry", "iron-24", "pan", 453.15, 0.93, (), 3.0, 6.0, 6.2, -6, 6, 0, True, "", ""),
        Budget(
            "dry",
            "steel-24",
            "pan",
            453.15,
            0.1,
            (),
            NAN,
            NAN,
            NAN,
            NAN,
            NAN,
            1,
            False,
            "shiny",
            "",
        ),
    ),
    ranges=(RangeCheck("main", "ignition", 644.15, NAN, NAN, 600.0),),
    margins=(),
    battery=BatteryLife(150.0, 200.0, 260.0, 0.01, (("measure", 0.9),), ""),
    economics=Economics(
        "USD", "96.85", "45.55", "44.06", 0.455, None, None, "0", 0, "0", (), None, ()
    ),
    assumed=(),
    cautions=(),
)


def _design(tables, **requirement):
    entry = {"id": "Q", "text": "q", **requirement}
    return Design.model_validate({**tables, "requirements": [entry]})


def _one(tables, cooks=(), prediction=PREDICTION, **requirement):
    design = _design(tables, **requirement)
    return verify(design, prediction=prediction, cooks=tuple(cooks)).requirements[0]


def _cook(
    name,
    *,
    plan=None,
    error_k=0.0,
    u95_k=5.0,
    reported=None,
    changes=(),
    peak_c=260.0,
    evidence="simulated",
    flags=0,
    pan="iron-24",
    base="deep-oil",
    of=OIL,
):
    """Return a cook whose oil rises by 1 K/s from 100 C to a peak."""
    time = np.arange(0.0, 240.0, 1.0)
    so = np.minimum(100.0 + time, peak_c) + ZERO_C_K
    n = time.size
    said = so + error_k if reported is None else np.full(n, reported, dtype=float)
    estimate = BurnerEstimate(
        burner="front-left",
        head="main",
        present=np.ones(n, dtype=np.int8),
        of=np.full(n, of, dtype=np.int8),
        reported_k=said,
        u95_k=np.full(n, u95_k),
        hottest_k=said,
        nonuniformity_k=np.full(n, NAN),
        apparent_k=np.full(n, NAN),
        flags=np.broadcast_to(np.asarray(flags, dtype=np.uint32), n).copy(),
        heat_on=np.ones(n, dtype=bool),
        pixels=np.full(n, 50, dtype=np.int8),
    )
    truth = BurnerTruth(
        burner="front-left",
        pan=pan,
        base=base,
        time_s=time,
        seen_of=np.full(n, of, dtype=np.int8),
        seen_k=so,
        pan_k=so + 5.0,
        hottest_k=so + 10.0,
        pan_p5_k=so,
        pan_p95_k=so + 10.0,
        contents_k=so,
        food_k=np.full(n, NAN),
        core_k=np.full(n, NAN),
        contents_kg=np.full(n, 0.3),
        emissivity=np.full(n, 0.95),
        heat_w=np.full(n, 1000.0),
    )
    probe = ProbeSeries(
        SheetProbe(column="t1", burner="front-left", touches="oil"),
        time,
        so,
        np.full(n, 1.0),
    )
    sheet = SheetBurner(
        burner="front-left",
        material="cast-iron",
        finish="seasoned-cast-iron",
        diameter="240 mm",
        contents="oil",
    )
    lit = (Event(0.0, "front-left", "on"),)
    bench = evidence == "bench"
    return ProofCook(
        name=name,
        plan=plan or name,
        evidence=evidence,
        estimate=Estimate(time, (estimate,)),
        alerts=AlertLog(tuple(AlertChange(t, "front-left", a, s) for t, a, s in changes)),
        reference=Reference((probe,), lit, (sheet,)) if bench else Reference((), (), ()),
        truth=None if bench else Truth(name, (truth,)),
    )


def _many(count, prefix="c", **keywords):
    return [_cook(f"{prefix}{i}", **keywords) for i in range(count)]


ERROR = {"metric": "reading_error", "limit": "5 K", "of": "oil"}
WARNED = ((60.0, "smoke-ahead", "on"),)  # the oil reaches 230 C at 130 s


# ------------------------------------------------------------- the decision
def test_59_cooks_without_a_failure_prove_95_percent_and_58_do_not(design_tables):
    assert _one(design_tables, _many(59), **ERROR).decision == "met"
    short = _one(design_tables, _many(58), **ERROR)
    assert short.decision == "not proven"
    assert "59 with as many failures" in short.reason
    assert "within the simulator" in short.reason


def test_0_of_20_prints_its_bound(design_tables):
    line = _one(design_tables, _many(20), **ERROR).lines[0]
    assert "0 of 20 independent cooks failed: at most 13.9 %" in line.text
    assert (line.cooks, line.failures) == (20, 0)


def test_repeats_of_a_plan_count_once(design_tables):
    repeats = [_cook(f"r{i}", plan="one") for i in range(59)]
    found = _one(design_tables, repeats, **ERROR)
    assert found.decision == "not proven"
    assert found.lines[0].cooks == 1
    assert "59 runs; repeats of a plan count once" in found.reason
    # And the worst repeat speaks for the plan.
    repeats[7] = _cook("r7", plan="one", error_k=9.0)
    assert _one(design_tables, repeats, **ERROR).lines[0].failures == 1


def test_one_failure_in_93_still_proves_and_one_in_92_does_not(design_tables):
    bad = _cook("bad", error_k=9.0)
    assert _one(design_tables, [*_many(92), bad], **ERROR).decision == "met"
    assert _one(design_tables, [*_many(91), bad], **ERROR).decision == "not proven"


def test_too_many_failures_are_not_met(design_tables):
    cooks = [*_many(10, "good"), *_many(5, "bad", error_k=9.0)]
    found = _one(design_tables, cooks, **ERROR)
    assert found.decision == "not met"
    assert found.lines[0].value == pytest.approx(9.0)


def test_value_and_bound_of_a_proven_error(design_tables):
    cooks = [_cook(f"c{i}", error_k=0.05 * i) for i in range(59)]
    line = _one(design_tables, cooks, **ERROR).lines[0]
    # 59 cooks: the largest bounds the 95 % quantile; floor(0.05 x 59) = 2 lie above the value.
    assert line.bound == pytest.approx(0.05 * 58)
    assert line.value == pytest.approx(0.05 * 56)


# --------------------------------------------------------- grades of evidence
def test_simulation_never_proves_safety_however_many_cooks(design_tables):
    asked = {**ERROR, "safety": True, "evidence": "simulated"}
    found = _one(design_tables, _many(300), **asked)
    assert found.lines[0].decision == "met"
    assert found.decision == "not proven"
    assert "never met without the bench" in found.reason
    bench = _many(59, "b", evidence="bench")
    assert _one(design_tables, [*_many(300), *bench], **asked).decision == "met"


def test_grades_are_never_pooled(design_tables):
    cooks = [*_many(40), *_many(40, "b", evidence="bench")]
    found = _one(design_tables, cooks, **ERROR)
    assert [(line.evidence, line.cooks) for line in found.lines] == [
        ("simulated", 40),
        ("bench", 40),
    ]
    assert found.decision == "not proven"
    assert "simulator" not in found.lines[1].text


def test_the_least_grade_asked_for_is_respected(design_tables):
    asked = {**ERROR, "evidence": "bench"}
    found = _one(design_tables, _many(100), **asked)
    assert found.decision == "not proven"
    assert "only simulated evidence" in found.reason


def test_a_failure_in_a_lower_grade_is_not_hidden(design_tables):
    cooks = [*_many(59, "b", evidence="bench"), *_many(9, error_k=9.0)]
    assert _one(design_tables, cooks, **ERROR).decision == "not met"


def test_no_data_is_not_proven_and_says_what_is_missing(design_tables):
    assert "no cook covers it" in _one(design_tables, [], **ERROR).reason
    other = _one(design_tables, _many(3), **{**ERROR, "of": "food"})
    assert other.decision == "not proven"
    assert "no reference or no heated moment" in other.reason
    calm = _one(
        design_tables,
        _many(3, peak_c=150.0),
        metric="lead_time",
        limit="60 s",
        alert="smoke-ahead",
    )
    assert "the limit was not reached" in calm.reason


# --------------------------------------------------------------- the metrics
def test_guard_band_counts_the_reference_against_met(design_tables):
    # Bench probes with u = 1 K, U = 2 K: 4 K of error under a limit of 5 K hangs.
    cooks = _many(59, error_k=4.0, evidence="bench")
    hanging = _one(design_tables, cooks, **ERROR)
    assert hanging.decision == "not proven"
    assert "59 undecided within the guard band" in hanging.reason
    assert _one(design_tables, cooks, **ERROR, guard_band=False).decision == "met"
    beyond = _many(59, error_k=6.0, evidence="bench")
    assert _one(design_tables, beyond, **ERROR).decision == "not proven"
    far = _many(59, error_k=7.5, evidence="bench")
    assert _one(design_tables, far, **ERROR).decision == "not met"


def test_withheld_readings_prove_nothing_but_are_no_wrong_number(design_tables):
    blind = _many(59, reported=NAN, flags=int(Quality.SHINY))
    assert _one(design_tables, blind, **ERROR).decision == "not proven"
    wrong = {"metric": "wrong_reading", "limit": "5 %"}
    assert _one(design_tables, blind, **wrong).decision == "met"
    share = {"metric": "valid_share", "limit": "80 %"}
    assert _one(design_tables, blind, **share).decision == "not met"


def test_valid_share_counts_withheld_moments(design_tables):
    flags = np.where(np.arange(240) < 60, int(Quality.STEAM), 0)
    line = _one(design_tables, [_cook("c", flags=flags)], metric="valid_share", limit="80 %").lines[
        0
    ]
    assert line.value == pytest.approx(180 / 240)


def test_wrong_reading_needs_both_15_k_and_a_missed_interval(design_tables):
    wrong = {"metric": "wrong_reading", "limit": "5 %"}
    assert _one(design_tables, _many(9, error_k=20.0, u95_k=25.0), **wrong).lines[0].failures == 0
    assert _one(design_tables, _many(9, error_k=14.0, u95_k=5.0), **wrong).lines[0].failures == 0
    assert _one(design_tables, _many(9, error_k=20.0, u95_k=5.0), **wrong).decision == "not met"


def test_like_is_compared_with_like(design_tables):
    # Right by 0 K against the oil; the pan below is 5 K hotter.
    as_oil = _one(design_tables, [_cook("c")], metric="reading_error", limit="1 K")
    assert as_oil.lines[0].value == 0.0
    mixed = _cook("c")
    said = replace(mixed.estimate.burners[0], of=np.full(240, PAN, dtype=np.int8))
    mixed = replace(mixed, estimate=Estimate(mixed.estimate.time_s, (said,)))
    as_pan = _one(design_tables, [mixed], metric="reading_error", limit="1 K")
    assert as_pan.lines[0].value == pytest.approx(5.0)


def test_interval_coverage_draws_one_moment_a_cook(design_tables):
    asked = {"metric": "interval_coverage", "limit": "90 %"}
    # Lower bound of 29 of 29 at 95 % is 90.2 %; of 28 of 28 89.9 %.
    assert _one(design_tables, _many(29), **asked).decision == "met"
    assert _one(design_tables, _many(28), **asked).decision == "not proven"
    assert _one(design_tables, _many(9, error_k=8.0), **asked).decision == "not met"


def test_pans_bases_and_temperature_select(design_tables):
    cooks = [_cook("iron"), _cook("steel", pan="steel-24", error_k=9.0)]
    only = _one(design_tables, cooks, **ERROR, pans=["iron-24"])
    assert only.lines[0].sources == ("iron",)
    none = _one(design_tables, cooks, **ERROR, bases=["water"])
    assert not none.lines
    bench = _one(
        design_tables,
        [_cook("b", evidence="bench")],
        **ERROR,
        pans=["iron-24"],
        bases=["film"],
    )
    assert bench.lines[0].sources == ("b",)
    hot = _one(design_tables, [_cook("c", error_k=1.0)], **ERROR, above="300 degC")
    assert not hot.lines


# ----------------------------------------------------------------- the alerts
LEAD = {"metric": "lead_time", "limit": "60 s", "alert": "smoke-ahead"}


def test_lead_runs_from_the_alert_to_the_oils_own_limit(design_tables):
    line = _one(design_tables, [_cook("c", changes=WARNED)], **LEAD).lines[0]
    assert line.value == pytest.approx(70.0)
    assert line.failures == 0


def test_an_alert_that_fell_silent_is_no_warning(design_tables):
    changes = (*WARNED, (80.0, "smoke-ahead", "off"))
    for metric in (LEAD, {"metric": "missed_alerts", "limit": "5 %", "alert": "smoke-ahead"}):
        assert _one(design_tables, [_cook("c", changes=changes)], **metric).lines[0].failures == 1
    again = (*changes, (100.0, "smoke-ahead", "on"))
    assert _one(design_tables, [_cook("c", changes=again)], **LEAD).lines[0].value == 30.0


def test_physically_impossible_leads_are_named_not_counted(design_tables):
    asked = {**LEAD, "limit": "140 s"}  # the limit comes 130 s after lighting
    found = _one(design_tables, [_cook("c", changes=WARNED)], **asked)
    assert found.decision == "not proven"
    assert "impossible: 130 s" in found.reason
    # Silence is a failure even then.
    assert _one(design_tables, [_cook("c")], **asked).lines[0].failures == 1


def test_missed_alerts_count_only_cooks_that_reach_the_limit(design_tables):
    asked = {"metric": "missed_alerts", "limit": "5 %", "alert": "smoke-ahead"}
    cooks = [*_many(59, changes=WARNED), *_many(9, "calm", peak_c=150.0)]
    found = _one(design_tables, cooks, **asked)
    assert (found.decision, found.lines[0].cooks) == ("met", 59)


def test_a_nuisance_is_an_alert_without_its_cause(design_tables):
    asked = {"metric": "nuisance_alerts", "limit": "5 %"}
    # 1 K/s at 160 C after 60 s: 230 C lies 70 s ahead, within 1.5 leads of 60 s.
    assert _one(design_tables, _many(9, changes=WARNED), **asked).lines[0].failures == 0
    calm = _many(9, changes=WARNED, peak_c=140.0)
    assert _one(design_tables, calm, **asked).decision == "not met"
    # The pan is 10 K hotter than its oil: 240 C at 130 s, dead band 5 K.
    level = [((t, "over-temperature", "on"),) for t in (130.0, 60.0)]
    rates = [
        _one(design_tables, _many(3, changes=change), **asked).lines[0].failures for change in level
    ]
    assert rates == [0, 3]
    blind = _one(design_tables, _many(3, changes=((5.0, "blind", "on"),)), **asked)
    assert blind.lines[0].failures == 0


# -------------------------------------------------------------- the prediction
@pytest.mark.parametrize(
    ("metric", "limit", "decision", "text"),
    [
        # Two heads see the rear pan: the better one counts, 100 %.
        ("rim_in_view", "100 %", "met", "rim in view at worst 100.0 %"),
        # The head that sees the rim whole stands for the pan, though another has 9.5 on it.
        ("pixels_across", "10", "not met", "pixels across at worst 7"),
        ("range_headroom", "0 K", "not proven", "unknown for ignition by main"),
        ("predicted_u95", "10 K", "not met", "shiny"),
        ("battery_days", "180", "not met", "150 days at P10"),
        ("contribution_frac", "40 %", "met", "44.06"),
        ("break_even_units", "8000", "not met", "never earned"),
    ],
)
def test_predicted_requirements(design_tables, metric, limit, decision, text):
    found = _one(design_tables, metric=metric, limit=limit, evidence="predicted")
    assert found.decision == decision
    assert text in found.lines[0].text
    asked_higher = _one(design_tables, metric=metric, limit=limit, evidence="bench")
    assert asked_higher.decision != "met"


def test_a_filtered_budget_is_judged_alone(design_tables):
    found = _one(
        design_tables,
        metric="predicted_u95",
        limit="10 K",
        evidence="predicted",
        pans=["iron-24"],
        band="sear",
    )
    assert (found.decision, found.lines[0].value) == ("met", 6.2)


# ------------------------------------------------------------------ the strata
def test_strata_keep_grades_surfaces_and_contents_apart(design_tables):
    flags = np.where(np.arange(240) < 60, int(Quality.STEAM), 0)
    cooks = [
        *(_cook(f"s{i}", error_k=float(i), flags=flags) for i in range(6)),
        *_many(2, "b", evidence="bench", error_k=2.0),
    ]
    design = _design(design_tables, **ERROR)
    found = verify(design, prediction=PREDICTION, cooks=cooks).strata
    assert [(s.evidence, s.of, s.contents, s.cooks) for s in found] == [
        ("bench", "oil", "oil", 2),
        ("simulated", "oil", "oil", 6),
    ]
    bench, simulated = found
    assert simulated.valid_frac == pytest.approx(0.75)
    assert simulated.bias_k == pytest.approx(2.5)
    # Six offsets 0..5 K without scatter: sd 1.871 K.
    assert simulated.high_loa_k == pytest.approx(2.5 + 1.96 * 1.8708, abs=1e-3)
    assert (simulated.covered, simulated.drawn) == (6, 6)
    assert np.isnan(bench.low_loa_k)
    assert bench.bias_k == pytest.approx(2.0)


def test_forged_evidence_is_refused(design_tables):
    design = _design(design_tables, **ERROR)
    for cooks in (
        [_cook("a"), _cook("a")],
        [replace(_cook("a"), evidence="bench")],
        [replace(_cook("a"), evidence="predicted")],
    ):
        with pytest.raises(EvidenceError):
            verify(design, prediction=PREDICTION, cooks=cooks)


# -------------------------------------------------------- scores of single cooks
@pytest.mark.parametrize(
    ("keywords", "lead_s", "missed", "nuisance"),
    [
        ({"changes": WARNED}, 70.0, False, False),
        ({}, -np.inf, True, False),
        ({"changes": WARNED, "peak_c": 140.0}, NAN, None, True),
    ],
)
def test_scores_are_what_the_verdict_counts(design_tables, keywords, lead_s, missed, nuisance):
    design, cook = _design(design_tables, **ERROR), _cook("c", **keywords)
    (found,) = burner_figures(cook, design=design).values()
    assert found["lead_s", "smoke-ahead"] == pytest.approx(lead_s, nan_ok=True)
    told = found["missed", "smoke-ahead"], found["nuisance", "smoke-ahead"]
    assert told == (missed, nuisance)
    asked = {"metric": "missed_alerts", "limit": "5 %", "alert": "smoke-ahead"}
    lines = _one(design_tables, [cook], **asked).lines
    assert [line.failures for line in lines] == ([] if missed is None else [int(missed)])
    first_s = 60.0 if "changes" in keywords else np.inf
    assert found["first_s", "smoke-ahead"] == first_s


def test_scores_of_readings(design_tables):
    design = _design(design_tables, **ERROR)

    def figures(*names, **keywords):
        (found,) = burner_figures(_cook("c", **keywords), design=design).values()
        return tuple(found[name, ""] for name in names)

    asked = ("bias_k", "p95_error_k", "covered_frac", "max_pan_k")
    assert figures(*asked, error_k=3.0) == pytest.approx((3.0, 3.0, 1.0, 270.0 + ZERO_C_K))
    asked = ("drawn_covered", "wrong_reading", "covered_frac")
    assert figures(*asked, error_k=3.0) == (True, False, 1.0)
    assert figures(*asked, error_k=-20.0) == (False, True, 0.0)
    asked = ("readings", "valid_frac", "drawn_covered")
    assert figures(*asked, flags=int(Quality.STALE)) == (0, 0.0, None)
    assert np.isnan(figures("bias_k", flags=int(Quality.STALE)))


def test_scores_keep_burners_apart_and_name_limits(design_tables):
    design = _design(design_tables, **ERROR)
    cook = _cook("c")
    assert cook.truth is not None
    second = replace(cook.truth.burners[0], burner="rear-left", hottest_k=np.full(240, 300.0))
    other = replace(cook.estimate.burners[0], burner="rear-left")
    both = replace(
        cook,
        truth=replace(cook.truth, burners=(*cook.truth.burners, second)),
        estimate=replace(cook.estimate, burners=(*cook.estimate.burners, other)),
    )
    found = burner_figures(both, design=design)
    assert list(found) == ["front-left", "rear-left"]
    assert found["rear-left"]["max_pan_k", ""] == 300.0
    smoke = next(limit.name for limit in design.limits if limit.of == "oil")
    # 100 C and 1 K/s to 230 C
    assert found["front-left"]["reached_s", smoke] == pytest.approx(130.0)
