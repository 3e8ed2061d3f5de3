"""Commands that hold readings against what was so, and choose how to make one number."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from trivet.cli.program import MET, NOT_MET, Fresh, Json, Project, app, open_project, show
from trivet.errors import InputError

UNITS = 10
"""Sensor units that short cooks are cooked on, each calibrated on cooks of its own."""


@app.command()
def reporters(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Rank the ways to make one number of a pan over the calibration cooks, one left out a time.

    Example: trivet reporters my-monitor
    """
    from trivet.flow.steps import grades
    from trivet.flow.steps import reporters as ranked
    from trivet.present.console_score import show_reporters

    opened = open_project(project, fresh=fresh)
    records = [ranked(opened, grade) for grade in grades(opened)]
    show(records, [show_reporters(one) for one in records], json)


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
    from trivet.present.console_score import show_score
    from trivet.present.progress import progress_bars

    if cooks is None and (mismatch or sensor or even_scenes):
        raise InputError(
            "--mismatch, --sensor and --even-scenes are for short cooks; say how many: --cooks N"
        )
    short = None
    if cooks is not None:
        short = ShortRun(cooks, UNITS, mismatch, seed, even_scenes, sensor)
    pools = local_pools(os.cpu_count() or 1)
    with progress_bars() as tell:
        opened = open_project(project, tell=tell)
        record, page = run(opened, short=short, pools=pools)
    if pictures is not None:
        write_score_pictures(opened, record, pictures, short)
    show(record, [show_score(record), f"page: {page}"], json)
    raise typer.Exit(MET if record.met else NOT_MET)
