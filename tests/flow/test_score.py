"""Scores of a project: its own cooks and short random ones, kept, resumed and never pooled."""

from __future__ import annotations

import csv
import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from trivet.errors import InputError, StorageError
from trivet.files.tables import write_estimate_csv
from trivet.flow import cooked, steps
from trivet.flow import score as flow_score
from trivet.flow.project import ProjectFolder
from trivet.flow.score import OWN, SHORT, SHORT_MISMATCHED, ShortRun, score, short_sheets
from trivet.flow.sweep import Pool, Pools
from trivet.scoring.cookanswers import answer_row, row_answer

ROOT = Path(__file__).parents[2]
COOKS = """
format = 1
[[cooks]]
name = "cal"
purpose = "calibration"
duration = "20 s"
[[cooks.burners]]
burner = "front-left"
pan = "small-iron"
base = "dry"
schedule = [{ at = "0 s", level = "80 %" }]

[[cooks]]
name = "hot"
purpose = "proof"
duration = "40 s"
[[cooks.burners]]
burner = "front-right"
pan = "nonstick-pan"
base = "dry"
schedule = [{ at = "0 s", level = "100 %" }]

[[cooks]]
name = "apart"
purpose = "proof"
duration = "40 s"
mismatch = { blur_scale = "1.3" }
[[cooks.burners]]
burner = "front-right"
pan = "nonstick-pan"
base = "dry"
schedule = [{ at = "0 s", level = "100 %" }]
"""


def in_thread() -> Pools:
    @contextmanager
    def opened() -> Iterator[Pool]:
        with ThreadPoolExecutor(1) as pool:
            yield pool, 1

    return opened


@pytest.fixture
def project(tmp_path: Path) -> Path:
    shutil.copy(ROOT / "examples" / "larkpane" / "design.toml", tmp_path)
    (tmp_path / "cooks.toml").write_text(COOKS, encoding="utf-8")
    return tmp_path


def test_own_cooks_are_scored_and_a_mismatch_is_not_pooled_with_them(project: Path) -> None:
    record, page = score(ProjectFolder(project))
    assert next((one.condition, one.cooks) for one in record.sheets) == (OWN, 1)
    assert [one.cooks for one in record.sheets] == [1, 1]
    assert len({one.condition for one in record.sheets}) == 2
    assert all(one.evidence == "simulated" for one in record.sheets)
    assert not record.met  # one cook shows nothing
    text = page.read_text(encoding="utf-8")
    assert "never pooled" in text
    assert "within the simulator" in text
    assert "adds up to" in text  # what the readout's steps add is declared
    assert score(ProjectFolder(project))[1] == page


def test_short_cooks_go_on_where_they_stopped(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run: list[str] = []
    plain = cooked.run_score_cook

    def counted(setting: bytes, cook):  # type: ignore[no-untyped-def]
        run.append(cook.plan.name)
        return plain(setting, cook)

    monkeypatch.setattr(flow_score, "run_score_cook", counted)
    asked = ShortRun(count=2, units=1, mismatched=False, seed="s")
    first = short_sheets(ProjectFolder(project), asked, pools=in_thread())
    assert run == ["s-0001", "s-0002"]
    more = ShortRun(count=3, units=1, mismatched=True, seed="s")
    sheets = short_sheets(ProjectFolder(project), more, pools=in_thread())
    assert run[2:] == ["s-0003", "s-apart-0001", "s-apart-0002", "s-apart-0003"]
    assert [one.condition for one in sheets] == [SHORT, SHORT_MISMATCHED]
    assert (first[0].cooks, sheets[0].cooks, sheets[1].cooks) == (2, 3, 3)


def test_a_cook_that_fails_is_named_and_the_rest_is_kept(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plain = cooked.scored

    def failing(setting, cook):  # type: ignore[no-untyped-def]
        if cook.plan.name == "s-0001":
            raise RuntimeError("the pan\nmelts")
        return plain(setting, cook)

    monkeypatch.setattr(cooked, "scored", failing)
    asked = ShortRun(count=2, units=1, mismatched=False, seed="s")
    (sheet,) = short_sheets(ProjectFolder(project), asked, pools=in_thread())
    assert sheet.failed == ("s-0001: RuntimeError: the pan melts",)
    assert sheet.cooks == 1


def test_rows_hold_what_a_piece_holds(project: Path) -> None:
    opened = ProjectFolder(project)
    answers = flow_score._answers(opened, opened.entry("hot"))
    assert {type(one).__name__ for one in answers} == {"StratumPiece", "Check", "PanWord"}
    for one in answers:
        assert answer_row(row_answer(answer_row(one))) == answer_row(one)
    broken = project / "rows.jsonl"
    broken.write_text("{", encoding="utf-8")
    with pytest.raises(StorageError, match="damaged"):
        flow_score._rows(broken)


def test_nothing_to_score_is_refused(project: Path) -> None:
    only = COOKS.split('[[cooks]]\nname = "hot"', maxsplit=1)[0]
    (project / "cooks.toml").write_text(only, encoding="utf-8")
    with pytest.raises(InputError, match="no proof cook to score"):
        score(ProjectFolder(project))


def test_a_ranked_reporter_goes_into_the_calibration_with_its_reason(project: Path) -> None:
    design = project / "design.toml"
    text = design.read_text(encoding="utf-8")
    design.write_text(
        text.replace("[estimation]\n", '[estimation]\nreporter = "ranked"\n'), "utf-8"
    )
    opened = ProjectFolder(project)
    found = steps.calibrated(opened, "simulated")
    choice = steps.reporters(opened, "simulated")
    assert (found.reporter, found.reporter_reason) == (choice.chosen, choice.reason)
    assert "at least 3" in found.reporter_reason  # one calibration cook chooses nothing
    assert choice.evidence == "simulated"


def test_the_csv_has_the_number_on_the_display(project: Path) -> None:
    opened = ProjectFolder(project)
    read = steps.read(opened, opened.entry("hot"))
    write_estimate_csv(project / "hot.csv", read, display=opened.design.display)
    with (project / "hot.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["burner"] == "front-right"]
    assert all((row["shown_c"] == "") == (row["valid"] == "0") for row in rows)
    shown = [float(row["shown_c"]) * 1.8 + 32.0 for row in rows if row["shown_c"]]
    assert shown  # in steps of 4 degF, as the design says
    assert all(abs(value / 4.0 - round(value / 4.0)) < 0.01 for value in shown)
