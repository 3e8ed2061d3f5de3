"""A campaign: every cook simulated, read, alerted on and scored; one row a cook and burner."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import (
    FIRST_COMPLETED,
    BrokenExecutor,
    CancelledError,
    Executor,
    Future,
    wait,
)
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from trivet.errors import InputError
from trivet.files.campaign_table import (
    cook_file,
    require_duckdb,
    sweep_figures,
    table_columns,
    write_rows,
    write_table,
)
from trivet.flow.cooked import Setting, packed, run_cook
from trivet.flow.executors import cluster_workers, local_workers
from trivet.flow.project import ProjectFolder, Tell
from trivet.flow.steps import calibrated
from trivet.records.campaign import Row, Sweep, SweepCook
from trivet.scoring.campaign import failed_rows

Pool = tuple[Executor, int]
"""Where cooks run, and how many of them at a time."""
Pools = Callable[[], AbstractContextManager[Pool]]
DIED = "worker: its process died (out of memory, or a crash); the next sweep tries it again"


@dataclass(frozen=True)
class SweepResult:
    """What a campaign gave, and where its table lies."""

    sweep: Sweep
    table: Path


def sweep(project: ProjectFolder, *, pools: Pools, limit: int | None = None) -> SweepResult:
    """Run the campaign of a project, or what is left of it, and write its table.

    Parameters
    ----------
    project : ProjectFolder
        Its proof cooks are run; a fresh one runs cooks again that are done.
    pools : callable
        Opens the workers, see :func:`local_pools` and :func:`cluster_pools`.
    limit : int or None
        Only the first so many simulations of the campaign.

    Raises
    ------
    InputError
        If no proof cook is planned, DuckDB is missing, or no worker can run a cook.
    StorageError
        If the disk is full; what is done is kept.

    Notes
    -----
    The numbers depend on the cook alone, not on workers, order or clock.
    Memory holds the plans (some 3 kB each) and the cooks in flight.
    """
    require_duckdb()
    planned, design = project.campaign().planned("proof"), project.design
    project.tell("calibration", 0, 1)
    setting = Setting(design, {"": calibrated(project, "simulated")})
    project.tell("calibration", 1, 1)
    project.memory.clear()  # recordings to calibrate on are let go
    cooks = planned[:limit]
    kept = project.store.path("sweep", design, setting.calibrations[""])
    run = CookRun(
        work=run_cook,
        setting=packed(setting),
        cooks={cook_file(kept, one): one for one in cooks},
        lost=lambda cook: failed_rows(cook, DIED, design=design),
        tell=project.tell,
    )
    run.all(pools, fresh=project.fresh)
    table = write_table(
        kept,
        cooks=((path, run.died.get(path)) for path in (cook_file(kept, one) for one in planned)),
        columns=table_columns(
            factors=dict.fromkeys(name for one in planned for name in one.levels),
            limits=[one.name for one in design.limits],
            alerts=[one.name for one in design.alerts],
        ),
    )
    alerts = [one.name for one in design.alerts if one.limit is not None]
    return SweepResult(sweep_figures(table, planned=len(planned), alerts=alerts), table)


def local_pools(workers: int) -> Pools:
    """Return what opens processes on this machine.

    Raises
    ------
    InputError
        If ``workers`` is under 1.
    """
    if workers < 1:
        raise InputError(f"--workers {workers}: allowed 1 or more")

    @contextmanager
    def opened() -> Iterator[Pool]:
        with local_workers(workers) as pool:
            yield pool, workers

    return opened


def cluster_pools(address: str) -> Pools:
    """Return what opens the workers of a dask scheduler.

    Raises
    ------
    InputError
        At once, if the scheduler does not answer or its workers will not do.
    """
    with cluster_workers(address):
        return lambda: cluster_workers(address)


@dataclass
class CookRun:
    """The cooks on their way through the workers."""

    work: Callable[[bytes, SweepCook], list[Row]]
    """What a worker does with a cook; each row says in ``error`` what went wrong, or None."""
    setting: bytes
    cooks: dict[Path, SweepCook]
    lost: Callable[[SweepCook], list[Row]]
    """Rows of a cook that takes its worker with it; their error is DIED."""
    tell: Tell
    done: int = 0
    died: dict[Path, list[Row]] = field(default_factory=dict)

    def all(self, pools: Pools, *, fresh: bool) -> None:
        """Run every cook that is not done; one that takes its worker with it is found and named."""
        left = [path for path in self.cooks if fresh or not path.exists()]
        self.done = len(self.cooks) - len(left)
        self.tell("cooks", self.done, len(self.cooks))
        waiting = iter(left)
        suspects = self._stream(pools, waiting) if left else []
        while suspects:
            for path in suspects:
                if self._stream(pools, iter([path])):
                    self._ended(path, self.lost(self.cooks[path]))
            suspects = self._stream(pools, waiting)

    def _stream(self, pools: Pools, waiting: Iterator[Path]) -> list[Path]:
        """Run cooks as workers get free; return those in flight when a worker died."""
        with pools() as (pool, at_once):
            running: dict[Future[list[Row]], Path] = {}
            lost: list[Path] = []
            while True:
                while not lost and len(running) < 2 * at_once:
                    path = next(waiting, None)
                    if path is None:
                        break
                    try:
                        running[pool.submit(self.work, self.setting, self.cooks[path])] = path
                    except BrokenExecutor:
                        lost.append(path)
                if not running:
                    return lost
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    path = running.pop(future)
                    fault = future.exception()
                    if fault is None:
                        self._ended(path, future.result())
                    elif _worker_gone(fault):
                        lost.append(path)
                    else:
                        raise InputError(
                            f"the workers cannot run a cook: {type(fault).__name__}: {fault}; "
                            "what is done is kept"
                        ) from fault

    def _ended(self, path: Path, rows: list[Row]) -> None:
        if rows and rows[0]["error"] == DIED:
            self.died[path] = rows
        else:
            write_rows(path, rows)
        self.done += 1
        self.tell("cooks", self.done, len(self.cooks))


def _worker_gone(fault: BaseException) -> bool:
    """Return whether a cook was lost with its worker; else no worker can run any."""
    gone = isinstance(fault, BrokenExecutor | CancelledError | MemoryError)
    return gone or type(fault).__module__.startswith("distributed")
