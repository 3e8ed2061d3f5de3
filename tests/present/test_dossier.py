"""The dossier stage, on small records made here; no simulator is needed."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from trivet.physics.geometry.occlusion import visible_base_frac
from trivet.present.dossier import dossier
from trivet.present.numbers import Formatter, failure_rate, money, share
from trivet.present.planview import hidden_outline
from trivet.quality import Quality
from trivet.records.alertlog import AlertChange, AlertLog
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told
from trivet.records.calibration import (
    Calibration,
    DriftCalibration,
    HeadCalibration,
    PoseCalibration,
    SurfaceCalibration,
)
from trivet.records.design import Design, Display
from trivet.records.dossier import Chart, Dossier, Section, ShownCook, Table
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.prediction import (
    AlertMargin,
    BatteryLife,
    Budget,
    BudgetLine,
    Economics,
    PanView,
    Prediction,
    RangeCheck,
)
from trivet.records.provenance import fingerprint
from trivet.records.recording import (
    BurnerTruth,
    ProbeSeries,
    Reference,
    Truth,
)
from trivet.records.requirement import OF_WORDS
from trivet.records.verdict import (
    EvidenceLine,
    ProofCook,
    RequirementVerdict,
    Stratum,
    Verdict,
)

NAN = math.nan


def design_table(**changes: Any) -> dict[str, Any]:
    table: dict[str, Any] = {
        "format": 1,
        "project": {"name": "Testpane", "team": "Invented Bench", "invented": True},
        "cooktop": {"width": "760 mm", "depth": "530 mm"},
        "burners": [
            {
                "name": name,
                "kind": "gas",
                "x": x,
                "y": y,
                "power": "2.6 kW",
                "efficiency": "0.4",
                "ring_diameter": "110 mm",
            }
            for name, x, y in (
                ("front-left", "-200 mm", "-130 mm"),
                ("back-right", "200 mm", "130 mm"),
            )
        ],
        "heads": [
            {
                "name": "hood",
                "sensor": "card",
                "mount": {"height": "0.70 m"},
                "window": {"transmittance": "0.9"},
            }
        ],
        "sensors": [
            {
                "name": "card",
                "technology": "thermopile",
                "rows": 24,
                "cols": 32,
                "fov_h": "55 deg",
                "fov_v": "35 deg",
                "frame_rate": "4 Hz",
                "netd": "0.1 K",
                "source": "made up for this test",
            }
        ],
        "pans": [
            {
                "name": "skillet",
                "material": "cast-iron",
                "finish": "seasoned",
                "diameter": "260 mm",
                "depth": "50 mm",
                "thickness": "5 mm",
            },
            {
                "name": "stockpot",
                "material": "stainless",
                "finish": "bare",
                "diameter": "220 mm",
                "depth": "160 mm",
                "thickness": "3 mm",
            },
        ],
        "bases": [
            {"name": "oil-5", "contents": "oil", "volume": "5 mL"},
            {"name": "none", "contents": "dry"},
        ],
        "limits": [
            {
                "name": "smoke",
                "of": "oil",
                "value": {"value": "230 degC", "low": "210 degC", "high": "250 degC"},
            },
            {"name": "ignition", "of": "pan", "value": "371 degC"},
        ],
        "alerts": [
            {
                "name": "smoke-soon",
                "kind": "time_to_limit",
                "limit": "smoke",
                "bases": ["oil"],
                "cause": "oil nears its smoke point",
                "consequence": "smoke, then fire",
                "action": "turn the burner down",
                "time_available": "60 s",
                "priority": "high",
            },
            {
                "name": "blind",
                "kind": "loss_of_sight",
                "cause": "the sensor does not see the pan",
                "consequence": "no alert would come",
                "action": "look at the pan",
                "time_available": "120 s",
                "priority": "medium",
            },
        ],
        "requirements": [
            requirement("R1", "rim_in_view", "100 %", evidence="predicted"),
            requirement("R2", "reading_error", "10 K"),
            requirement("R3", "missed_alerts", "5 %", alert="smoke-soon", safety=True),
            requirement("R4", "lead_time", "60 s", alert="smoke-soon", evidence="bench"),
        ],
        "battery": {
            "energy": "13.5 Wh",
            "sleep": "30 uW",
            "measure": "70 mW",
            "message": "1 mJ",
            "message_every": "10 s",
        },
        "diary": {"cooking_per_day": "1.5 h"},
        "costs": {
            "price": "149.00 USD",
            "channel": "35 %",
            "unit_cost": "41.00 USD",
            "freight": "1.00 USD",
            "support": "4.00 USD",
            "fixed": "310000.00 USD",
            "units_per_month": "300",
        },
    }
    return table | changes


def requirement(name: str, metric: str, limit: str, **more: Any) -> dict[str, Any]:
    return {"id": name, "text": f"text of {name}", "metric": metric, "limit": limit} | more


def make_prediction() -> Prediction:
    views = (
        PanView("hood", "front-left", "skillet", 0.8, -0.042, 9.1, 0.021, 1.0, 0.33, 0.9),
        PanView("hood", "front-left", "stockpot", 1.0, 0.004, 12.0, 0.021, 0.82, 0.33, 0.9),
        PanView("hood", "back-right", "skillet", 0.8, -0.042, 11.1, 0.021, 0.97, 0.33, 0.9),
    )
    lines = (
        BudgetLine("emissivity", 4.4, "rectangular", "surface library"),
        BudgetLine("sensor accuracy", 3.2, "rectangular", "card"),
        BudgetLine("window", 1.2, "normal", "assumed"),
    )
    budgets = (
        Budget(
            "oil-5",
            "skillet",
            "oil",
            453.15,
            0.93,
            lines,
            5.6,
            11.2,
            11.9,
            -12.0,
            11.8,
            0.0,
            True,
            "emissivity",
            "the inverse bends",
        ),
        Budget(
            "none",
            "stockpot",
            "pan",
            453.15,
            0.15,
            lines,
            NAN,
            NAN,
            NAN,
            NAN,
            NAN,
            0.4,
            False,
            "emissivity under 0.30",
            "",
        ),
    )
    return Prediction(
        views=views,
        budgets=budgets,
        ranges=(RangeCheck("hood", "ignition", 644.15, 573.15, -71.0, 620.0),),
        margins=(
            AlertMargin("smoke-soon", "smoke", 2.0, 383.15, 400.15, 51.5, True, ""),
            AlertMargin("smoke-soon", "smoke", 4.4, 239.15, 400.15, 23.4, False, "too fast"),
        ),
        battery=BatteryLife(48.0, 58.0, 71.0, 0.0067, (("measure", 0.97), ("sleep", 0.004)), ""),
        economics=Economics(
            "USD",
            "96.85",
            "42.00",
            "43.81",
            0.4523,
            7077,
            24,
            "-310000.00",
            0,
            "-12345.67",
            (0.08,),
            24.4,
            ("-310000.00", "-296857.00", "1000.00"),
        ),
        assumed=(
            "heads.hood.window.transmittance = 0.9 (no cleaner known)",
            "battery.sleep = 30 uW",
        ),
        cautions=("A caution of the prediction.",),
    )


def make_verdict() -> Verdict:
    def line(evidence: str, value: float, bound: float, cooks: int, failures: int, decision: str):
        text = f"{failures} of {cooks} cooks failed" if cooks else "calculated"
        return EvidenceLine(evidence, value, bound, cooks, failures, text, decision, ("c",))  # type: ignore[arg-type]

    return Verdict(
        requirements=(
            RequirementVerdict(
                "R1",
                "text of R1",
                "rim_in_view",
                "100 %",
                False,
                "not met",
                "front to back is cut",
                (line("predicted", 0.8, 0.8, 0, 0, "not met"),),
            ),
            RequirementVerdict(
                "R2",
                "text of R2",
                "reading_error",
                "10 K",
                False,
                "met",
                "fits",
                (line("simulated", 6.0, 7.5, 59, 0, "met"),),
            ),
            RequirementVerdict(
                "R3",
                "text of R3",
                "missed_alerts",
                "5 %",
                True,
                "not proven",
                "simulation alone",
                (
                    line("simulated", 0.0, 0.139, 20, 0, "not proven"),
                    line("bench", 0.0, 0.632, 3, 0, "not proven"),
                ),
            ),
            RequirementVerdict(
                "R4", "text of R4", "lead_time", "60 s", False, "not proven", "no bench cook", ()
            ),
        ),
        strata=(
            Stratum("simulated", "oil", "oil", 20, 4000, 0.83, 0.8, -6.0, 7.6, 6.9, 19, 20),
            Stratum("bench", "oil", "oil", 3, 500, 0.71, -2.5, -9.0, 4.0, 8.8, 3, 3),
        ),
    )


def make_cook(name: str = "sear-r0", *, evidence: str = "simulated") -> ShownCook:
    time_s = np.arange(0.0, 200.0, 0.5)
    true_k = 295.0 + 1.2 * time_s
    flags = np.zeros(time_s.size, dtype=np.uint32)
    flags[100:140] = int(Quality.STEAM)
    flags[380:] = int(Quality.SATURATED)
    reported = np.where(flags == 0, true_k + 2.0, NAN)
    hottest = np.where(flags & int(Quality.SATURATED), np.inf, true_k + 4.0)
    burner = BurnerEstimate(
        burner="front-left",
        head="hood",
        present=np.ones(time_s.size, dtype=np.int8),
        of=np.full(time_s.size, OF_WORDS.index("oil"), dtype=np.int8),
        reported_k=reported,
        u95_k=np.full(time_s.size, 9.0),
        hottest_k=hottest,
        nonuniformity_k=np.full(time_s.size, 5.0),
        apparent_k=np.full(time_s.size, np.nan),
        flags=flags,
        heat_on=np.ones(time_s.size, dtype=np.bool_),
        pixels=np.full(time_s.size, 30, dtype=np.int8),
    )
    truth = BurnerTruth(
        burner="front-left",
        pan="skillet",
        base="oil-5",
        time_s=time_s,
        seen_of=np.full(time_s.size, OF_WORDS.index("oil"), dtype=np.int8),
        seen_k=true_k,
        pan_k=true_k + 5,
        hottest_k=true_k + 9,
        pan_p5_k=true_k,
        pan_p95_k=true_k + 8,
        contents_k=true_k,
        food_k=np.full(time_s.size, NAN),
        core_k=np.full(time_s.size, NAN),
        contents_kg=np.full(time_s.size, 0.005),
        emissivity=np.full(time_s.size, 0.9),
        heat_w=np.full(time_s.size, 1000.0),
    )
    probe = ProbeSeries(
        SheetProbe(column="tc1", burner="front-left", touches="oil"),
        time_s,
        true_k,
        np.full(time_s.size, 1.0),
    )
    sheet = (SheetBurner(burner="front-left", diameter_m="260 mm", contents="oil"),)
    bench = evidence == "bench"
    return ShownCook(
        ProofCook(
            name=name,
            plan=name.removesuffix("-r0").removesuffix("-r1"),
            evidence="bench" if bench else "simulated",
            estimate=Estimate(time_s, (burner,)),
            alerts=AlertLog((AlertChange(120.0, "front-left", "smoke-soon", "on"),)),
            reference=Reference((probe,) if bench else (), (), sheet if bench else ()),
            truth=None if bench else Truth(name, (truth,)),
        ),
        Told.model_validate({"base_contents": "oil"}),
    )


def make_calibration() -> Calibration:
    pose = PoseCalibration(
        "fitted",
        np.array([0.001, 0.002, 0.7, 0.01, 0.0, 0.0]),
        np.eye(6) * 1e-6,
        0.004,
        "four burners",
    )
    drift = DriftCalibration("nominal", np.zeros(4), np.eye(4), 305.15, 60.0, NAN, "one ramp only")
    surface = SurfaceCalibration(
        "oil", "", "fitted", 0.93, 0.02, 9.4e-5, 1e-5, 330.0, 480.0, 3, 1.1, "paired cooks"
    )
    head = HeadCalibration("hood", pose, drift, 0.9, 0.01, 0.02)
    return Calibration("simulated", (head,), (surface,), ("cal-r0",), ("drift: one ramp only",))


def build(display: dict[str, str] | None = None, **changes: Any) -> Dossier:
    table = design_table(display=display or {})
    given: dict[str, Any] = {
        "prediction": make_prediction(),
        "calibrations": (make_calibration(),),
        "cooks": (make_cook(), make_cook("sear-r1"), make_cook("bench-1", evidence="bench")),
        "verdict": make_verdict(),
        "hashes": {"design": "ab" * 32, "prediction": "cd" * 32},
    }
    return dossier(Design.model_validate(table), **(given | changes))


@pytest.fixture(scope="module")
def review() -> Dossier:
    return build()


def section(review: Dossier, title: str) -> Section:
    return next(one for one in review.sections if title in one.title)


def table(part: Section, title: str) -> Table:
    return next(one for one in part.tables if title in f"{one.title}, {one.evidence}")


def charts(review: Dossier, kind: str) -> list[Chart]:
    return [chart for part in review.sections for chart in part.charts if chart.kind == kind]


def test_all_requirements_stand_in_claims_and_in_the_table(review: Dossier) -> None:
    names = ["R1", "R2", "R3", "R4"]
    assert [claim.id for claim in review.claims] == names
    asked = table(section(review, "Requirements"), "What was asked")
    assert [row[0].split()[0] for row in asked.rows] == names
    assert review.claims[3].evidence == "none; bench needed"
    assert review.claims[2].evidence == "simulated, bench"


def test_an_unjudged_requirement_is_not_lost() -> None:
    verdict = make_verdict()
    short = build(verdict=replace(verdict, requirements=verdict.requirements[:3]))
    rows = table(section(short, "Requirements"), "What was asked").rows
    assert rows[-1][0] == "R4"
    assert rows[-1][-1] == "not judged"


def test_simulated_and_bench_evidence_stay_apart(review: Dossier) -> None:
    part = section(review, "Requirements")
    simulated, bench = table(part, "Evidence, simulated"), table(part, "Evidence, bench")
    assert (simulated.evidence, bench.evidence) == ("simulated", "bench")
    assert [row[0] for row in simulated.rows] == ["R2", "R3"]
    assert [row[0] for row in bench.rows] == ["R3"]
    assert all("within the simulator" in row[3] for row in simulated.rows)
    assert not any("within the simulator" in row[3] for row in bench.rows)


def test_every_count_has_its_exact_bound(review: Dossier) -> None:
    # 0 of 20 -> 13.9 %, 0 of 59 -> under 5 %: 1 - 0.05^(1/n), closed form
    assert failure_rate(0, 20, 0.95) == "0 of 20 (≤ 13.9 % at 95 %)"
    assert f"{100 * (1 - 0.05 ** (1 / 20)):.1f}" == "13.9"
    counted = re.compile(r"\b\d+ of \d+\b")
    for part in review.sections:
        for one in part.tables:
            for row in one.rows:
                for cell in row:
                    if counted.search(cell):
                        assert "%" in cell, (one.title, cell)


def test_shares_never_round_to_certainty() -> None:
    assert share(0.99999) == "> 99.9 %"
    assert share(1e-6) == "< 0.1 %"
    assert (share(1.0), share(0.0), share(NAN)) == ("100.0 %", "0.0 %", "unknown")


def test_money_is_exact() -> None:
    assert money("-310000.005", "USD").startswith("−310\u202f000.0")
    assert money("1234567.89", "USD") == "1\u202f234\u202f567.89 USD"
    assert money("odd", "USD") == "odd"


def test_gaps_carry_their_reason_and_no_value(review: Dossier) -> None:
    chart = next(one for one in charts(review, "trace") if "sear-r0" in one.title)
    reading = next(line for line in chart.lines if line.style == "reading")
    gaps = [span for span in chart.spans if span.kind == "gap"]
    assert [(span.label, span.start, span.end) for span in gaps] == [
        ("steam", 50.0, 70.0),
        ("saturated", 190.0, 200.0),
    ]
    for span in gaps:
        inside = (reading.x >= span.start) & (reading.x < span.end)
        assert inside.any()
        assert np.isnan(reading.y[inside]).all()
    assert "steam 20 s" in chart.caption


def test_a_number_under_a_blocking_flag_is_a_gap() -> None:
    shown = make_cook()
    time_s, (one,) = shown.cook.estimate.time_s, shown.cook.estimate.burners
    bold = replace(one, reported_k=np.full(one.reported_k.shape, 300.0))
    cook = replace(shown.cook, estimate=Estimate(time_s, (bold,)))
    drawn = build(cooks=(replace(shown, cook=cook),))
    reading = next(line for line in charts(drawn, "trace")[0].lines if line.style == "reading")
    assert np.isnan(reading.y[100:140]).all()


def test_traces_show_one_repeat_truth_or_reference_and_alerts(review: Dossier) -> None:
    traces = charts(review, "trace")
    assert [chart.title for chart in traces] == [
        "Cook sear-r0, burner front-left",
        "Cook bench-1, burner front-left",
    ]
    assert [chart.evidence for chart in traces] == ["simulated", "bench"]
    simulated, bench = ({line.style for line in chart.lines} for chart in traces)
    assert "truth" in simulated
    assert "reference" not in simulated
    assert "reference" in bench
    assert "truth" not in bench
    alert = next(span for span in traces[0].spans if span.kind == "alert")
    assert (alert.label, alert.start, alert.end) == ("smoke-soon", 120.0, 199.5)
    assert "Largest error while shown: 2.0 K" in traces[0].caption


def test_leads_are_from_first_onset_to_truth_at_the_limit(review: Dossier) -> None:
    row = table(section(review, "Alerts"), "proof cooks, simulated").rows[0]
    # oil passes 503.15 K at (503.15 - 295) / 1.2 = 173.46 s, the alert is on since 120 s;
    # two repeats of one plan are one cook: 1 - 0.05^(1/1) = 95 %
    assert row[2:6] == ("1", "1", "0 of 1 (≤ 95.0 % at 95 %)", "53 s")


def test_an_alert_that_went_off_before_the_limit_is_no_alert() -> None:
    shown = make_cook()
    off = AlertChange(150.0, "front-left", "smoke-soon", "off")
    cook = replace(shown.cook, alerts=AlertLog((*shown.cook.alerts.changes, off)))
    drawn = build(cooks=(replace(shown, cook=cook),))
    row = table(section(drawn, "Alerts"), "simulated").rows[0]
    assert row[4:6] == ("1 of 1 (≤ 100.0 % at 95 %)", "–")


def test_infinite_metrics_are_words() -> None:
    show = Formatter(Display())
    assert show.metric_value(-math.inf, "lead_time") == "no alert"
    assert show.metric_value(math.inf, "break_even_units") == "never"
    assert show.metric_value(NAN, "lead_time") == "no value"
    assert show.metric_bound(NAN, "lead_time") == "too few cooks for a bound"


def test_not_measurable_is_said_in_words(review: Dossier) -> None:
    part = section(review, "Error budget")
    assert table(part, "none: 95 %").rows == (("stockpot", "pan", "not measurable"),)
    row = table(part, "none: what dominates").rows[0]
    assert row == ("stockpot", "–", "180 °C: emissivity under 0.30", "–")
    assert [chart.title for chart in charts(review, "budget")] == [
        "Error budget: base oil-5 at 180 °C"
    ]
    assert any("none: not measurable" in text for text in part.paragraphs)


def test_fahrenheit_moves_temperatures_and_scales_differences() -> None:
    part = section(build({"temperature": "degF"}), "Error budget")
    widths = table(part, "oil-5: 95 %")
    assert widths.columns[2] == "356 °F"  # 180 °C
    assert widths.rows[0][2] == "20.2 / 21.4"  # 11.2 K and 11.9 K, no offset
    ranges = table(part, "range").rows[0]
    assert (ranges[2], ranges[5]) == ("700 °F", "−128 °F")  # 371 °C; -71 K


def test_hidden_part_has_the_area_of_the_closed_form() -> None:
    eye, centre = (0.0, 0.0, 0.7), (0.2, 0.13)
    points = hidden_outline(centre, radius_m=0.11, depth_m=0.16, eye_m=eye)
    x, y = points.T
    area = 0.5 * abs(np.dot(x, np.roll(y, 1)) - np.dot(y, np.roll(x, 1)))
    seen = visible_base_frac(eye, centre_m=centre, radius_m=0.11, depth_m=0.16)
    assert area / (math.pi * 0.11**2) == pytest.approx(1 - seen, abs=2e-3)
    assert 1 - seen > 0.05
    assert len(hidden_outline((0.0, 0.0), radius_m=0.11, depth_m=0.16, eye_m=eye)) == 0


def test_plan_shows_the_field_to_scale(review: Dossier) -> None:
    (chart,) = charts(review, "plan")
    assert chart.plan is not None
    ((_, outline),) = chart.plan.fields
    # 0.70 m, 35 deg front to back: 2 * 0.7 * tan(17.5 deg)
    assert np.ptp(outline[:, 1]) == pytest.approx(1.4 * math.tan(math.radians(17.5)), rel=1e-6)
    assert np.ptp(outline[:, 0]) == pytest.approx(1.4 * math.tan(math.radians(27.5)), rel=1e-6)


def test_cautions_say_what_must_be_minded(review: Dossier) -> None:
    text = " ".join(review.cautions)
    for word in (
        "certifies nothing",
        "alerts does not prevent",
        "suppression",
        "250 °C",
        "hour",
        "birds",
        "Thermocouple",
        "60 °C",
        "±20 K",
        "local codes",
        "A caution of",
    ):
        assert word in text, word


def test_assumptions_and_hashes_are_listed(review: Dossier) -> None:
    rows = section(review, "Assumptions").tables[0].rows
    assert rows[0] == ("heads.hood.window.transmittance", "0.9", "no cleaner known")
    assert review.hashes == (("design", "ab" * 32), ("prediction", "cd" * 32))


def test_calibration_says_nominal_and_why(review: Dossier) -> None:
    part = section(review, "Calibration")
    drift = [row for row in part.tables[0].rows if row[1] == "offset"]
    assert drift[0][4:] == ("nominal", "one ramp only")
    assert any("Refused (simulated): drift: one ramp only" in text for text in part.paragraphs)


def test_nothing_at_hand_still_makes_a_dossier() -> None:
    bare = build(cooks=(), calibrations=(), verdict=Verdict((), ()), hashes={})
    assert "none judged" in bare.summary
    assert "No proof cook" in " ".join(section(bare, "Proof cooks").paragraphs)


def test_same_records_same_hash() -> None:
    assert fingerprint(build()) == fingerprint(build())
