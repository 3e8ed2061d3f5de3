"""Commands about cooks: make or import them, calibrate on them, read them, alert on them."""

from __future__ import annotations

from typing import Annotated

import typer

from trivet.cli.program import Cook, Csv, Fresh, Json, Project, app, open_project, show


@app.command()
def simulate(
    project: Project,
    cook: Annotated[
        str | None, typer.Argument(help="One cook; all planned ones if left out.")
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Simulate the planned cooks: frames, sensor state, reference probes, and apart the truth.

    Example: trivet simulate my-monitor unattended-oil-r0
    """
    from trivet.flow.steps import recorded
    from trivet.present.cook import recording_section

    opened = open_project(project, fresh=fresh)
    chosen = [opened.entry(cook)] if cook else [one for one in opened.cooks if one.plan]
    records = [recorded(opened, entry) for entry in chosen]
    show(records, [recording_section(one) for one in records], json)


@app.command("import")
def import_(
    project: Project,
    cook: Annotated[
        str | None, typer.Argument(help="One folder of bench/; all if left out.")
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Import recorded cooks from bench/: frames or sensor words, probes, events, sheet.

    Example: trivet import my-monitor steak-monday
    """
    from trivet.flow.steps import recorded
    from trivet.present.cook import recording_section

    opened = open_project(project, fresh=fresh)
    chosen = [opened.entry(cook)] if cook else [one for one in opened.cooks if one.folder]
    records = [recorded(opened, entry) for entry in chosen]
    show(records, [recording_section(one) for one in records], json)


@app.command()
def calibrate(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Fit pose, drift and emissivity from the calibration cooks, each with covariance.

    Example: trivet calibrate my-monitor
    """
    from trivet.flow.steps import calibrated, grades, moved_mounts
    from trivet.present.calibration import calibration_section

    opened = open_project(project, fresh=fresh)
    records = [calibrated(opened, grade) for grade in grades(opened)]
    moved = [text for grade in grades(opened) for text in moved_mounts(opened, grade)]
    shown = calibration_section(opened.design, calibrations=records, moved=moved)
    show(records, [shown], json)


@app.command()
def estimate(
    project: Project, cook: Cook, csv: Csv = None, json: Json = False, fresh: Fresh = False
) -> None:
    """Read one cook frame by frame: temperature, of what, how sure, or why not.

    Example: trivet estimate my-monitor sear-dry --csv sear.csv
    """
    from trivet.files.tables import write_estimate_csv
    from trivet.flow.steps import read
    from trivet.present.cook import estimate_section

    opened = open_project(project, fresh=fresh)
    record, display = read(opened, opened.entry(cook)), opened.design.display
    if csv:
        write_estimate_csv(csv, record, display=display)
    show(record, [estimate_section(record, display=display)], json)


@app.command()
def alert(
    project: Project, cook: Cook, csv: Csv = None, json: Json = False, fresh: Fresh = False
) -> None:
    """Run the alert machine over one cook and list every change.

    Example: trivet alert my-monitor unattended-oil-r0 --csv alerts.csv
    """
    from trivet.files.tables import write_alert_csv
    from trivet.flow.steps import proof_cook
    from trivet.present.cook import alert_log_section

    opened = open_project(project, fresh=fresh)
    record = proof_cook(opened, opened.entry(cook)).alerts
    if csv:
        write_alert_csv(csv, record)
    show(record, [alert_log_section(record)], json)
