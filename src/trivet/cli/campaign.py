"""Commands about campaigns: plan many cooks, and run them."""

from __future__ import annotations

import os
from typing import Annotated

import typer

from trivet.cli.program import Fresh, Json, Project, app, open_project, show
from trivet.errors import InputError


@app.command()
def plan(project: Project, json: Json = False) -> None:
    """Count the cooks of cooks.toml, matrices expanded, and say what so many can show.

    Example: trivet plan my-monitor
    """
    from trivet.flow.campaign import planned_campaign
    from trivet.present.console_campaign import show_plan

    record = planned_campaign(open_project(project))
    show(record, show_plan(record), json)


@app.command()
def sweep(
    project: Project,
    *,
    workers: Annotated[
        int | None, typer.Option(help="Processes on this machine; one a core if left out.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(help="Address of a dask scheduler; its workers run the cooks.")
    ] = None,
    limit: Annotated[
        int | None, typer.Option(help="Only the first so many simulations.", min=1)
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Simulate, read and score every proof cook; one row a cook and burner, in parquet.

    Stopped or killed, it goes on where it stopped.

    Example: trivet sweep my-monitor --workers 2
    """
    from trivet.flow.sweep import cluster_pools, local_pools
    from trivet.flow.sweep import sweep as run
    from trivet.present.console_campaign import show_sweep
    from trivet.present.progress import progress_bars

    if scheduler is not None and workers is not None:
        raise InputError("--workers is for this machine; a scheduler knows its own workers")
    count = workers if workers is not None else os.cpu_count() or 1
    pools = cluster_pools(scheduler) if scheduler else local_pools(count)
    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        done = run(opened, pools=pools, limit=limit)
    shown = [show_sweep(done.sweep, display=opened.design.display), f"table: {done.table}"]
    show(done.sweep, shown, json)
