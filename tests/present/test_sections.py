"""What sections say of remedies, campaigns and scores."""

from __future__ import annotations

import math

import numpy as np
import pytest

from trivet.present.campaign import sweep_section
from trivet.present.figures import chart_svg
from trivet.present.population import remedies_section
from trivet.present.score import judged_sections, reporters_section, score_charts
from trivet.records.calibration import ReporterChoice, ReporterScore
from trivet.records.campaign import FailedCook, Rate, Spread, Sweep
from trivet.records.design import Display
from trivet.records.prediction import Remedies, Remedy
from trivet.records.scoring import GoalLine, MetricValue, PartScore, Score, ScoreSheet, StratumScore
from trivet.scoring.registry import METRICS

NAN = float("nan")


def remedy(option: str, before: float, after: float, *, inside: bool, note: str = "") -> Remedy:
    return Remedy(option, "R4", "predicted_u95", 10.0, before, after, inside, note)


RECORD = Remedies(
    tried=(
        remedy("line", math.inf, 8.0, inside=True),
        remedy("other card", math.inf, math.nan, inside=False, note="unknown: no price"),
        remedy("paint", math.inf, math.inf, inside=False),
    ),
    failing=("R4", "R9"),
    unhelped=("R9",),
)


@pytest.fixture
def shown(printed):
    def show(record: Remedies, unit: str = "degC") -> str:
        return printed(remedies_section(record, display=Display(temperature=unit)), width=160)

    return show


def test_unknown_and_not_measurable_are_words_and_never_numbers(shown) -> None:
    text = shown(RECORD)
    assert "not measurable" in text
    assert "unknown: no price" in text
    assert "8.0 K" in text
    assert "nan" not in text
    assert "inf" not in text


def test_what_does_not_move_is_left_out_and_counted(shown) -> None:
    text = shown(RECORD)
    assert "paint" not in text
    assert "because nothing moves: 1." in text
    assert "no single declared change brings R9 inside." in text


def test_a_difference_in_fahrenheit_has_no_offset(shown) -> None:
    assert "14.4 °F" in shown(RECORD, "degF")  # 8 K times 1.8


def test_nothing_fails_and_nothing_is_declared_are_told_apart(shown) -> None:
    assert "holds as the design stands" in shown(Remedies((), (), ()))
    assert "declares no [[options]]" in shown(Remedies((), ("R1",), ("R1",)))


def test_every_rate_stands_beside_its_bounds_and_is_labelled(printed) -> None:
    sweep = Sweep(
        table="sweep.parquet",
        evidence="simulated",
        planned=12,
        done=10,
        rows=11,
        failed=1,
        first_failed=(FailedCook("m-one", "simulate: OutOfRangeError: [red] hot"),),
        rates=(Rate("pan-hot: missed", "cooks that reached its limit", 0, 20, 0.0, 0.0, 0.168),),
        spreads=(Spread("P95 of the error", "K", 20, 3.0, 9.5, 12.0),),
    )
    text = printed(sweep_section(sweep, display=Display()), width=150)
    line = next(line for line in text.splitlines() if "pan-hot: missed" in line)
    assert "0 of 20" in line
    assert "0.0 % to 16.8 %" in line
    assert "simulated" in line
    assert "10 of 12" in text
    assert "[red] hot" in text
    assert "9.5 K" in text


def part(name="dark-pan", label="", **changed):
    figures = dict.fromkeys(METRICS["score"], MetricValue(NAN)) | {
        "valid": MetricValue(0.9, 0.85, 0.95),
        "astray": MetricValue(0.0),
        "bias": MetricValue(1.25, -4.0, 6.5),
        "median": MetricValue(2.0, 1.8, 2.2),
        "p95": MetricValue(5.0, 4.5, 5.5),
        "covered": MetricValue(94 / 99, 0.89, 0.98, 94, 99),
        "interval_score": MetricValue(20.0),
        "u95": MetricValue(6.0),
        "large": MetricValue(0.02, NAN, 0.062, 2, 100),
        "false_flag": MetricValue(0.03, 0.01, 0.05),
        "blind": MetricValue(12.0),
    }
    return PartScore(name, label, 100, 5000, figures | changed)


def sheet():
    whole = StratumScore(part(), np.array([400.0, 450.0]), np.array([1.0, 40.0]))
    nothing = dict.fromkeys(("bias", "median", "covered"), MetricValue(NAN))
    shiny = part("shiny", valid=MetricValue(0.0), **nothing)
    empty = StratumScore(shiny, np.empty(0), np.empty(0))
    goals = (
        GoalLine("dark-pan", "median error", "≤ 4 K", "2.0 K", "met", "95 %"),
        GoalLine("shiny", "coverage", "95 %", "0 of 0", "too few", "no interval"),
    )
    return ScoreSheet(
        "by hand",
        "simulated",
        120,
        100,
        10,
        ("x: melts",),
        (whole, empty),
        (part("dark-pan", "rim: cut"),),
        goals,
    )


def test_a_score_prints_goals_figures_and_its_grade(printed) -> None:
    text = printed(*judged_sections(Score("Larkpane", (sheet(),))), width=100)
    for words in (
        "by hand (simulated)",
        "120 cooks, 100 of them independent, on 10 sensor units",
        "● met",
        "◇ too few",
        "94 of 99",
        "2 of 100",
        "dark-pan; rim:",
        "x: melts",
        "within the simulator",
    ):
        assert words in text
    assert "nan" not in text


@pytest.mark.parametrize("unit", ["degC", "degF"])
def test_pictures_carry_their_grade(unit) -> None:
    charts = score_charts(sheet())
    assert [one.kind for one in charts] == ["scatter", "coverage"]
    for one in charts:
        svg = chart_svg(one, display=Display(temperature=unit), key="x")
        assert "SIMULATED" in svg
        assert chart_svg(one, display=Display(temperature=unit), key="x") == svg


def test_reporters_print_what_the_choice_rests_on(printed) -> None:
    rows = (ReporterScore("ring", 4, 1.0, 0.5, 0.2, NAN, 8.0, 2.0),)
    choice = ReporterChoice("bench", "ring", "least loss", {"bias": 1.0}, rows, (), 2.5, ())
    text = printed(reporters_section(choice), width=100)
    for words in ("(bench)", "ring", "Chosen: ring; least loss.", "left out: 2.50", "bias 1"):
        assert words in text
