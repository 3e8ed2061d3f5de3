"""Commands about the design alone: no cook is needed."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from trivet.cli.program import Fresh, Json, Project, app, open_project, show
from trivet.errors import InputError


@app.command()
def new(
    directory: Annotated[Path, typer.Argument(help="Folder to make.", show_default=False)],
    scenario: Annotated[str, typer.Option(help="Worked example to start from.")] = "larkpane",
) -> None:
    """Make a project: a commented design, its cooks, and schemas for your editor.

    Example: trivet new my-monitor --scenario larkpane
    """
    from trivet.files.newproject import new_project

    made = new_project(directory, scenario=scenario)
    print(f"made {made}; next: trivet check {directory}")


@app.command()
def check(project: Project, json: Json = False) -> None:
    """Read the design and the cooks, and warn of what is legal but unwise.

    Example: trivet check my-monitor
    """
    from trivet.files.advice import advise
    from trivet.present.cook import remarks_section

    opened = open_project(project)
    _ = opened.plans
    notes = advise(opened.design)
    show(notes, [remarks_section(notes)], json)


@app.command()
def predict(
    project: Project,
    whole: Annotated[bool, typer.Option("--whole", help="Print every table.")] = False,
    pictures: Annotated[
        Path | None, typer.Option("--pictures", help="Write every picture as SVG to this folder.")
    ] = None,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Say on one page what the design alone promises: view, error, warning, battery, money.

    Example: trivet predict my-monitor
    """
    from trivet.flow.pictures import write_prediction_pictures
    from trivet.flow.steps import predicted
    from trivet.present.answers import answer_section, first_cautions
    from trivet.present.dossier import prediction_sections

    opened = open_project(project, fresh=fresh)
    record = predicted(opened)
    answers = answer_section(record, display=opened.design.display)
    sections = prediction_sections(opened.design, prediction=record)
    tail = () if whole else first_cautions(record)
    show(record, [answers, *sections, *tail], json, short=not whole)
    if pictures is not None:
        written = write_prediction_pictures(opened, pictures)
        print(f"{len(written)} pictures in {pictures}", file=sys.stderr)


@app.command()
def sensors(json: Json = False) -> None:
    """List the sensor cards of the library, each with its source; unknown is never zero.

    Example: trivet sensors --json
    """
    from trivet.facts.parts import sensor_cards
    from trivet.present.comparison import cards_section

    cards = tuple(sensor_cards().values())
    show(cards, [cards_section(cards)], json)


@app.command()
def compare(
    projects: Annotated[
        list[Path], typer.Argument(help="Folders with design.toml.", show_default=False)
    ],
    by_sensor: Annotated[
        bool, typer.Option("--sensors", help="Every sensor card under one design's mounts.")
    ] = False,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Lay designs side by side, or all sensor cards under one design.

    Example: trivet compare my-monitor other-monitor
    """
    from trivet.flow.steps import compared_sensors, predicted
    from trivet.present.comparison import comparison_section
    from trivet.stages.variants.comparison import compare_designs

    opened = [open_project(project, fresh=fresh) for project in projects]
    designs = [one.design for one in opened]
    if by_sensor and len(opened) > 1:
        raise InputError(f"--sensors compares under one design; {len(opened)} were named")
    found = (
        compared_sensors(opened[0])
        if by_sensor
        else compare_designs(designs, predictions=[predicted(one) for one in opened])
    )
    show(found, [comparison_section(found, display=designs[0].display)], json)


@app.command()
def remedies(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Try the design's declared changes against every predicted requirement that fails.

    Example: trivet remedies my-monitor
    """
    from trivet.flow.steps import remedied
    from trivet.present.population import remedies_section

    opened = open_project(project, fresh=fresh)
    record = remedied(opened)
    show(record, [remedies_section(record, display=opened.design.display)], json)


@app.command()
def trade(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Rank the design's options by weighted criteria; say at which weight the winner flips.

    Example: trivet trade my-monitor
    """
    from trivet.flow.steps import traded
    from trivet.present.comparison import trade_section

    record = traded(open_project(project, fresh=fresh))
    show(record, [trade_section(record)], json)
