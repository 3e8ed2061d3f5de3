"""``trivet score`` and ``trivet reporters``: what they print, and what they refuse."""

from __future__ import annotations

import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from trivet.present import on_terminal
from trivet.present.figures import chart_svg
from trivet.present.score import judged_sections, reporters_section, score_charts
from trivet.records.calibration import ReporterChoice, ReporterScore
from trivet.records.design import Display
from trivet.records.dossier import Section
from trivet.records.scoring import GoalLine, MetricValue, PartScore, Score, ScoreSheet, StratumScore
from trivet.scoring.registry import METRICS

ROOT = Path(__file__).parents[2]
NAN = float("nan")
COOKS = """
format = 1
[[cooks]]
name = "hot"
purpose = "proof"
duration = "30 s"
[[cooks.burners]]
burner = "front-right"
pan = "nonstick-pan"
base = "dry"
schedule = [{ at = "0 s", level = "100 %" }]
"""


def trivet(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "trivet", *arguments], capture_output=True, text=True, check=False
    )


def part(name="dark-pan", label="", **changed):
    figures = {
        "valid": MetricValue(0.9, 0.85, 0.95),
        "astray": MetricValue(0.0),
        "bias": MetricValue(1.25, -4.0, 6.5),
        "median": MetricValue(2.0, 1.8, 2.2),
        "p95": MetricValue(5.0, 4.5, 5.5),
        "covered": MetricValue(94 / 99, 0.89, 0.98, 94, 99),
        "interval_score": MetricValue(20.0),
        "u95": MetricValue(6.0),
        "large": MetricValue(0.02, NAN, 0.062, 2, 100),
        "flagged": MetricValue(NAN),
        "false_flag": MetricValue(0.03, 0.01, 0.05),
        "blind": MetricValue(12.0),
        "lag": MetricValue(NAN),
    }
    assert set(figures) == set(METRICS["score"])
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


def printed(*shown: Section) -> str:
    console = Console(file=io.StringIO(), width=100)
    console.print(on_terminal(shown))
    text = console.file.getvalue()  # type: ignore[attr-defined]
    return str(text)


def test_a_score_prints_goals_figures_and_its_grade() -> None:
    text = printed(*judged_sections(Score("Larkpane", (sheet(),))))
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


def test_reporters_print_what_the_choice_rests_on() -> None:
    rows = (ReporterScore("ring", 4, 1.0, 0.5, 0.2, NAN, 8.0, 2.0),)
    choice = ReporterChoice("bench", "ring", "least loss", {"bias": 1.0}, rows, (), 2.5, ())
    text = printed(reporters_section(choice))
    for words in ("(bench)", "ring", "Chosen: ring; least loss.", "left out: 2.50", "bias 1"):
        assert words in text


def test_the_commands(tmp_path: Path) -> None:
    shutil.copy(ROOT / "examples" / "larkpane" / "design.toml", tmp_path)
    (tmp_path / "cooks.toml").write_text(COOKS, encoding="utf-8")
    done = trivet("score", str(tmp_path), "--pictures", str(tmp_path / "p"), "--json")
    assert done.returncode == 1  # one cook meets nothing
    record = json.loads(done.stdout)
    assert "sheets" in json.dumps(record)
    pictures = " ".join(sorted(one.name for one in (tmp_path / "p").glob("*.svg")))
    for words in ("error-against", "do-the-95-intervals", "what-is-said-of-bare-pans"):
        assert words in pictures
    assert trivet("score", str(tmp_path), "--mismatch").returncode == 2
    bad = trivet("score", str(tmp_path), "--cooks", "2", "--seed", "A B")
    assert bad.returncode == 2
    assert "cannot name" in bad.stderr
    ranked = trivet("reporters", str(tmp_path))
    assert ranked.returncode == 0
    assert "area-mean" in ranked.stdout
