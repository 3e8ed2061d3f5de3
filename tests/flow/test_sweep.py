"""Campaigns: what is done is kept, what fails is named, and nothing depends on the workers."""

from __future__ import annotations

import multiprocessing
import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from trivet.errors import InputError
from trivet.files import campaign_table
from trivet.files.store import code_version
from trivet.flow import executors, sweep
from trivet.flow.cooked import Setting, packed, run_cook
from trivet.flow.project import ProjectFolder
from trivet.models.campaign import planned_campaign
from trivet.records.campaign import Row, SweepCook
from trivet.scoring.campaign import failed_rows

duckdb = pytest.importorskip("duckdb")

ROOT = Path(__file__).parents[2]
COOKS = """
format = 1
[[cooks]]
name = "cal"
purpose = "calibration"
duration = "12 s"
[[cooks.burners]]
burner = "front-left"
pan = "small-iron"
base = "dry"
schedule = [{ at = "0 s", level = "80 %" }]

[[matrix]]
name = "m"
purpose = "proof"
repeats = 2
[matrix.common]
duration = "20 s"
schedule = [{ at = "0 s", level = "100 %" }]
[[matrix.factors]]
name = "burner"
levels = ["front-left", "back-right"]
[[matrix.factors]]
name = "base"
levels = ["dry", "deep-oil"]
[[matrix.factors]]
name = "pan"
levels = ["nonstick-pan"]
"""


@pytest.fixture
def project(tmp_path: Path) -> Path:
    return new_project(tmp_path / "p")


def new_project(folder: Path) -> Path:
    folder.mkdir()
    shutil.copy(ROOT / "examples" / "larkpane" / "design.toml", folder)
    (folder / "cooks.toml").write_text(COOKS, encoding="utf-8")
    return folder


def in_thread() -> sweep.Pools:
    @contextmanager
    def opened() -> Iterator[sweep.Pool]:
        with ThreadPoolExecutor(1) as pool:
            yield pool, 1

    return opened


def table(result: sweep.SweepResult, columns: str = "*") -> list[tuple[Any, ...]]:
    found: list[tuple[Any, ...]] = duckdb.sql(f"select {columns} from '{result.table}'").fetchall()
    return found


def good_rows(cook: SweepCook) -> list[Row]:
    rows = failed_rows(cook, "", design=DESIGN["design"])
    return [{**row, "error": None, "max_pan_k": 400.0 + cook.repeat} for row in rows]


DESIGN: dict[str, Any] = {}
RUN: list[str] = []


def quick(setting: bytes, cook: SweepCook) -> list[Row]:
    """Stand in for a cook."""
    RUN.append(f"{cook.plan.name}-r{cook.repeat}")
    return good_rows(cook)


def deadly(setting: bytes, cook: SweepCook) -> list[Row]:
    """Take the process with it, for one of the cooks."""
    if cook.plan.name == "m-front-left-deep-oil" and cook.repeat == 1:
        os._exit(9)
    return good_rows(cook)


@pytest.fixture
def light(monkeypatch: pytest.MonkeyPatch) -> Callable[[Callable[..., list[Row]]], None]:
    """Leave out the calibration, and let a function stand in for the cooks."""

    def uncalibrated(project: ProjectFolder, evidence: str) -> None:
        DESIGN["design"] = project.design

    def put(stand_in: Callable[..., list[Row]]) -> None:
        RUN.clear()
        monkeypatch.setattr(sweep, "calibrated", uncalibrated)
        monkeypatch.setattr(sweep, "run_cook", stand_in)

    return put


def test_one_row_a_cook_and_burner_in_the_order_of_the_plan(project: Path, light: Any) -> None:
    light(quick)
    result = sweep.sweep(ProjectFolder(project), pools=in_thread())
    names = [name for (name,) in table(result, "cook")]
    assert tuple(names) == planned_campaign(ProjectFolder(project).campaign()).names
    assert names[:2] == ["m-front-left-dry-r0", "m-front-left-dry-r1"]
    assert table(result, "distinct evidence, factor_burner, factor_pan")[0][0] == "simulated"
    assert (result.sweep.planned, result.sweep.done, result.sweep.failed) == (8, 8, 0)


def test_repeats_count_as_one_cook(project: Path, light: Any) -> None:
    light(quick)
    rates = {
        one.name: one for one in sweep.sweep(ProjectFolder(project), pools=in_thread()).sweep.rates
    }
    nothing = rates["cook that gave nothing"]
    assert (nothing.failures, nothing.cooks) == (0, 4)
    # 0 of 4, two-sided 95 %: 1 - 0.025 ** (1 / 4) (Clopper and Pearson, closed form)
    assert nothing.high_frac == pytest.approx(1.0 - 0.025**0.25, rel=1e-9)


def test_a_stopped_campaign_goes_on_where_it_stopped(project: Path, light: Any) -> None:
    light(quick)

    def stop(task: str, done: int, total: int) -> None:
        if task == "cooks" and done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        sweep.sweep(ProjectFolder(project, tell=stop), pools=in_thread())
    kept = list((project / "results" / "sweep").rglob("*.jsonl"))
    assert len(kept) == 3
    begun = len(RUN)
    told: list[int] = []
    result = sweep.sweep(
        ProjectFolder(
            project, tell=lambda task, done, _: told.append(done) if task == "cooks" else None
        ),
        pools=in_thread(),
    )
    assert told[0] == 3
    assert len(RUN) == begun + 5
    names = [name for (name,) in table(result, "cook")]
    assert sorted(names) == sorted(set(names))
    assert len(names) == 8
    assert not list((project / "results" / "sweep").rglob(".*"))


def test_done_cooks_are_not_run_again_unless_fresh(project: Path, light: Any) -> None:
    light(quick)
    first = sweep.sweep(ProjectFolder(project), pools=in_thread(), limit=5)
    assert (first.sweep.done, first.sweep.planned, len(RUN)) == (5, 8, 5)
    sweep.sweep(ProjectFolder(project), pools=in_thread())
    assert len(RUN) == 8
    sweep.sweep(ProjectFolder(project, fresh=True), pools=in_thread())
    assert len(RUN) == 16


def test_a_cook_that_kills_its_worker_is_named_and_the_rest_kept(project: Path, light: Any) -> None:
    light(deadly)

    @contextmanager
    def forked() -> Iterator[sweep.Pool]:
        with ProcessPoolExecutor(2, mp_context=multiprocessing.get_context("fork")) as pool:
            yield pool, 2

    result = sweep.sweep(ProjectFolder(project), pools=forked)
    failed = [row for row in table(result, "cook, error") if row[1]]
    assert failed == [("m-front-left-deep-oil-r1", sweep.DIED)]
    assert (result.sweep.done, result.sweep.failed) == (8, 1)
    light(quick)
    again = sweep.sweep(ProjectFolder(project), pools=in_thread())
    assert RUN == ["m-front-left-deep-oil-r1"]
    assert again.sweep.failed == 0


def lost_once(setting: bytes, cook: SweepCook) -> list[Row]:
    """Run out of memory on the first cook, once."""
    RUN.append(cook.plan.name)
    if len(RUN) == 1:
        raise MemoryError
    return good_rows(cook)


def test_a_cook_that_was_only_unlucky_is_run_again(project: Path, light: Any) -> None:
    light(lost_once)
    result = sweep.sweep(ProjectFolder(project), pools=in_thread())
    assert (result.sweep.done, result.sweep.failed) == (8, 0)


def no_module(setting: bytes, cook: SweepCook) -> list[Row]:
    """Stand for a worker without what it needs."""
    raise ImportError("no module named 'numba'")


def test_workers_that_can_run_nothing_stop_the_campaign(project: Path, light: Any) -> None:
    light(no_module)
    with pytest.raises(InputError, match="no module named 'numba'"):
        sweep.sweep(ProjectFolder(project), pools=in_thread())


def test_a_failing_cook_is_named_with_its_step(project: Path) -> None:
    """Nothing to calibrate with: the reading fails, in the very code that workers run."""
    inputs = ProjectFolder(project)
    cook = inputs.planned("proof")[0]
    setting = packed(Setting(inputs.design, {"": None}))  # type: ignore[arg-type]
    (row,) = run_cook(setting, cook)
    assert str(row["error"]).startswith("estimate: ")
    assert (row["cook"], row["burner"], row["base"]) == ("m-front-left-dry-r0", "front-left", "dry")


def test_a_damaged_file_is_named(project: Path, light: Any) -> None:
    light(quick)
    sweep.sweep(ProjectFolder(project), pools=in_thread())
    first = next((project / "results" / "sweep").rglob("*.jsonl"))
    first.write_text('{"cook": ', encoding="utf-8")
    with pytest.raises(Exception, match=first.name):
        sweep.sweep(ProjectFolder(project), pools=in_thread())


def test_without_duckdb_the_extra_is_named(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(campaign_table, "find_spec", lambda name: None)
    with pytest.raises(InputError, match=r"trivet\[stats\]"):
        sweep.sweep(ProjectFolder(project), pools=in_thread())


def test_no_proof_cook_is_refused(project: Path, light: Any) -> None:
    text = (project / "cooks.toml").read_text("utf-8")
    (project / "cooks.toml").write_text(text.replace('"proof"', '"calibration"'), encoding="utf-8")
    with pytest.raises(InputError, match="plans no cook of purpose 'proof'"):
        sweep.sweep(ProjectFolder(project), pools=in_thread())


def test_no_worker_and_no_scheduler_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="--workers 0"):
        sweep.local_pools(0)
    monkeypatch.setattr(executors, "import_module", lambda name: __import__("no_such_module"))
    with pytest.raises(InputError, match=r"trivet\[cluster\]"), sweep.cluster_pools("a:1")():
        pass


def command(project: Path, *more: str) -> list[str]:
    return [sys.executable, "-m", "trivet", "sweep", str(project), *more]


@pytest.mark.slow
def test_two_workers_killed_on_the_way_give_what_one_gives(tmp_path: Path) -> None:
    one, two = new_project(tmp_path / "one"), new_project(tmp_path / "two")
    expected = sweep.sweep(ProjectFolder(one), pools=sweep.local_pools(1))
    running = subprocess.Popen(
        command(two, "--workers", "2"), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    deadline = time.monotonic() + 300
    while not list(two.glob("results/sweep/*/cooks/*/*.jsonl")):
        assert running.poll() is None, "finished before it could be killed"
        assert time.monotonic() < deadline
        time.sleep(0.02)
    running.send_signal(signal.SIGKILL)
    running.wait()
    found = sweep.sweep(ProjectFolder(two), pools=sweep.local_pools(2))
    assert table(found) == table(expected)
    assert found.table.read_bytes() == expected.table.read_bytes()
    assert {row[0] for row in table(found, "error")} == {None}
    assert found.sweep == expected.sweep


@pytest.mark.slow
def test_a_cluster_gives_what_one_machine_gives(tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    one, two = new_project(tmp_path / "one"), new_project(tmp_path / "two")
    expected = sweep.sweep(ProjectFolder(one), pools=sweep.local_pools(1))
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        found = sweep.sweep(
            ProjectFolder(two), pools=sweep.cluster_pools(cluster.scheduler_address)
        )
    assert table(found) == table(expected)
    assert found.sweep == expected.sweep


def test_a_scheduler_that_does_not_answer_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    pytest.importorskip("distributed")
    monkeypatch.setattr(executors, "CONNECT_S", 0.2)
    address = "tcp://127.0.0.1:1"
    with pytest.raises(InputError, match=address), sweep.cluster_pools(address)():
        pass


class Cluster:
    """A client whose workers say which code they have."""

    def __init__(self, *versions: str):
        self.versions = versions

    def run(self, function: Callable[[], str]) -> dict[str, str]:
        return {str(at): version for at, version in enumerate(self.versions)}


def test_workers_with_other_code_are_refused() -> None:
    executors._same_code(Cluster(code_version(), code_version()), "here")
    with pytest.raises(InputError, match="another version"):
        executors._same_code(Cluster(code_version(), "older"), "here")
