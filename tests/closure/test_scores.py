"""Short random cooks on calibrated units: do the stated intervals hold, stratum by stratum?"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

import pytest

from trivet.files.newproject import scenarios
from trivet.flow.score import Scorer, ShortRun
from trivet.flow.sweep import Pool, Pools
from trivet.kernels.statistics.intervals import clopper_pearson
from trivet.records.scoring import ScoreSheet

COOKS, UNITS = 525, 10
HOLDS = ("dark-pan", "other")
WIDE = "liquid"
"""Its intervals are wider than they need be (125 of 126 on this seed, docs/scoring.md): the
window's doubt is counted in full. Never too narrow, at least."""
FALLS_SHORT = {"oil": 0.85, "thin-oil": 0.85, "seasoned": 0.75, "food": 0.75}
"""Strata whose intervals may be too narrow (docs/scoring.md), and the share that the
exact interval must still reach: worse than that is a step back."""


def in_thread() -> Pools:
    @contextmanager
    def opened() -> Iterator[Pool]:
        with ThreadPoolExecutor(1) as pool:
            yield pool, 1

    return opened


@pytest.fixture(scope="module")
def sheet(tmp_path_factory: pytest.TempPathFactory) -> ScoreSheet:
    folder = tmp_path_factory.mktemp("score")
    for name in ("design.toml", "cooks.toml"):
        shutil.copy(Path(str(scenarios()["larkpane"])) / name, folder)
    asked = ShortRun(count=COOKS, units=UNITS, mismatched=False, seed="closure")
    (found,) = Scorer(folder).short_sheets(asked, pools=in_thread())
    return found


def drawn(sheet: ScoreSheet, name: str) -> tuple[int, int]:
    whole = next(one.whole for one in sheet.strata if one.whole.name == name)
    return whole.covered, whole.drawn


@pytest.mark.slow
def test_every_cook_gives_something(sheet: ScoreSheet) -> None:
    assert sheet.cooks >= 500
    assert not sheet.failed
    assert sheet.units == UNITS


@pytest.mark.slow
@pytest.mark.parametrize("name", HOLDS)
def test_intervals_hold(sheet: ScoreSheet, name: str) -> None:
    covered, count = drawn(sheet, name)
    low, high = clopper_pearson(covered, count)
    assert low <= 0.95 <= high, f"{covered} of {count}"


@pytest.mark.slow
def test_wide_intervals_are_not_too_narrow(sheet: ScoreSheet) -> None:
    covered, count = drawn(sheet, WIDE)
    assert clopper_pearson(covered, count)[1] >= 0.95, f"{covered} of {count}"


@pytest.mark.slow
@pytest.mark.parametrize("name", FALLS_SHORT)
def test_intervals_that_fall_short_do_not_get_worse(sheet: ScoreSheet, name: str) -> None:
    covered, count = drawn(sheet, name)
    assert clopper_pearson(covered, count)[1] >= FALLS_SHORT[name], f"{covered} of {count}"


@pytest.mark.slow
def test_a_bare_shiny_pan_never_shows_a_wrong_number(sheet: ScoreSheet) -> None:
    shiny = next(one.whole for one in sheet.strata if one.whole.name == "shiny")
    assert shiny.cooks >= 20
    assert shiny.large_cooks == 0
