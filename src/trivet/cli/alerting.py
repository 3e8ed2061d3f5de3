"""Commands about the alerts as a whole: the account of them, and their settings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from trivet.cli.program import MET, NOT_MET, Fresh, Json, Project, app, open_project, show


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
    from trivet.present.console_alerts import show_alert_study
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = alert_account(opened, limit=limit)
        drawn = write_case_pictures(opened, record, pictures) if pictures else ()
    where = []
    if pictures:
        every = len(worth_drawing(opened, record))
        where = [f"Pictures: {len(drawn)} of {every} missed, late and nuisance cases in {pictures}"]
    show(record, [show_alert_study(record, design=opened.design), *where], json)
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
    from trivet.present.console_alerts import show_tuning
    from trivet.present.progress import progress_bars

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        record = tuned(opened, alert)
        drawn = []
        if pictures:
            drawn = [f"picture: {write_front_picture(opened, record, pictures)}"]
    show(record, [show_tuning(record), *drawn], json)
