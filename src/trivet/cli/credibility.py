"""The command that sets the simulator beside the bench."""

from __future__ import annotations

from typing import Annotated

import typer

from trivet.cli.program import MET, NOT_MET, Fresh, Json, Project, app, open_project, show


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
    from trivet.present.console_credibility import show_credibility
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = believed(opened, draws=draws)
    show(record, show_credibility(record, display=opened.design.display), json)
    raise typer.Exit(MET if record.believed else NOT_MET)
