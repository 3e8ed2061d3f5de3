"""Commands over many cooks: account, settings, campaign, score, and simulator beside bench."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from trivet.cli.program import MET, NOT_MET, Fresh, Json, Project, app, open_project, show
from trivet.errors import InputError

SENSOR_UNITS = 10
"""Sensor units that short cooks are cooked on, each calibrated on cooks of its own.

Own estimate: the spread from unit to unit shows, and calibrating them takes minutes."""


@app.command()
def alerts(
    project: Project,
    limit: Annotated[
        int | None, typer.Option("--limit", min=1, help="Only the first so many simulations.")
    ] = None,
    pictures: Annotated[
        Path | None, typer.Option("--pictures", help="Draw missed and nuisance cases here.")
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Print the rationalisation sheet and what each alert did over all proof cooks.

    Example: trivet alerts my-monitor --pictures cases
    """
    from trivet.flow.alertstudy import alert_account, worth_drawing, write_case_pictures
    from trivet.present.alertaccount import study_sections
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = alert_account(opened, limit=limit)
        drawn = write_case_pictures(opened, record, pictures) if pictures else ()
    where = []
    if pictures:
        every = len(worth_drawing(opened, record))
        where = [f"Pictures: {len(drawn)} of {every} missed, late and nuisance cases in {pictures}"]
    show(record, [*study_sections(record, design=opened.design), *where], json)
    raise typer.Exit(MET if all(one.decision == "met" for one in record.goals) else NOT_MET)


@app.command()
def tune(
    project: Project,
    alert: Annotated[str, typer.Option("--alert", help="Name of the alert.")],
    pictures: Annotated[
        Path | None, typer.Option("--pictures", help="Draw the front here.")
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Search an alert's set point, dead band and delays on the calibration cooks.

    Example: trivet tune my-monitor --alert pan-hot --pictures fronts
    """
    from trivet.flow.tune import tuned, write_front_picture
    from trivet.present.alertaccount import tuning_section
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = tuned(opened, alert)
        drawn = []
        if pictures:
            drawn = [f"picture: {write_front_picture(opened, record, pictures)}"]
    show(record, [tuning_section(record), *drawn], json)


@app.command()
def plan(project: Project, json: Json = False) -> None:
    """Count the cooks of cooks.toml, matrices expanded, and say what so many can show.

    Example: trivet plan my-monitor
    """
    from trivet.models.campaign import planned_campaign
    from trivet.present.campaign import plan_section

    record = planned_campaign(open_project(project).campaign())
    show(record, [plan_section(record)], json)


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
    from trivet.present.campaign import sweep_section
    from trivet.present.progress import progress_bars

    if scheduler is not None and workers is not None:
        raise InputError("--workers is for this machine; a scheduler knows its own workers")
    count = workers if workers is not None else os.cpu_count() or 1
    pools = cluster_pools(scheduler) if scheduler else local_pools(count)
    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        done = run(opened, pools=pools, limit=limit)
    section = sweep_section(done.sweep, display=opened.design.display)
    show(done.sweep, [section, f"table: {done.table}"], json)


@app.command()
def reporters(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Rank the ways to make one number of a pan over the calibration cooks, one left out a time.

    Example: trivet reporters my-monitor
    """
    from trivet.flow.steps import grades
    from trivet.flow.steps import reporters as ranked
    from trivet.present.score import reporters_section

    opened = open_project(project, fresh=fresh)
    records = [ranked(opened, grade) for grade in grades(opened)]
    show(records, [reporters_section(one) for one in records], json)


@app.command()
def score(
    project: Project,
    *,
    cooks: Annotated[
        int | None,
        typer.Option(help="Short random cooks out of the design, instead of its own.", min=1),
    ] = None,
    mismatch: Annotated[
        bool, typer.Option("--mismatch", help="As many again with physics set apart.")
    ] = False,
    seed: Annotated[
        str, typer.Option(help="Name of the short cooks; another name, other cooks.")
    ] = "score",
    sensor: Annotated[
        str, typer.Option(help="Card that short cooks are seen with, in place of the design's.")
    ] = "",
    even_scenes: Annotated[
        bool, typer.Option("--even-scenes", help="Each unit looks at a black body first.")
    ] = False,
    pictures: Annotated[
        Path | None, typer.Option("--pictures", help="Write the pictures as SVG to this folder.")
    ] = None,
    json: Json = False,
) -> None:
    """Hold readings against truth or references, stratum by stratum, and judge the goals.

    Stopped or killed, short cooks go on where they stopped.

    Example: trivet score my-monitor --cooks 500 --mismatch
    """
    from trivet.flow.score import ShortRun, write_score_pictures
    from trivet.flow.score import score as run
    from trivet.flow.sweep import local_pools
    from trivet.present.progress import progress_bars
    from trivet.present.score import judged_sections

    if cooks is None and (mismatch or sensor or even_scenes):
        raise InputError(
            "--mismatch, --sensor and --even-scenes are for short cooks; say how many: --cooks N"
        )
    short = None
    if cooks is not None:
        short = ShortRun(cooks, SENSOR_UNITS, mismatch, seed, even_scenes, sensor)
    pools = local_pools(os.cpu_count() or 1)
    with progress_bars() as tell:
        opened = open_project(project, tell=tell)
        record, page = run(opened, short=short, pools=pools)
    if pictures is not None:
        write_score_pictures(opened, record, pictures, short)
    show(record, [*judged_sections(record), f"page: {page}"], json)
    raise typer.Exit(MET if record.met else NOT_MET)


@app.command()
def credibility(
    project: Project,
    draws: Annotated[int, typer.Option(min=39, help="Simulated twins of each recorded cook.")] = 39,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Compare simulated cooks with recorded ones of the same conditions, per quantity.

    Example: trivet credibility my-monitor
    """
    from trivet.flow.credibility import believed
    from trivet.present.credibility import credibility_section
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = believed(opened, draws=draws)
    show(record, [credibility_section(record, display=opened.design.display)], json)
    raise typer.Exit(MET if record.believed else NOT_MET)
