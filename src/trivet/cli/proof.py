"""Commands that prove and hand off."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from trivet.cli.program import MET, NOT_MET, Fresh, Json, Project, app, open_project, show


class Reader(StrEnum):
    """Whose reading alerts and verdict rest on."""

    HOST = "host"
    DEVICE = "device"


@app.command()
def verify(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Decide each requirement from the proof cooks: met, not met or not proven.

    Example: trivet verify my-monitor
    """
    from trivet.flow.steps import decided
    from trivet.present.verdict import verdict_sections

    opened = open_project(project, fresh=fresh)
    record = decided(opened)
    show(record, verdict_sections(opened.design, verdict=record), json, short=True)
    raise typer.Exit(MET if record.passes else NOT_MET)


@app.command()
def dossier(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Write the review dossier, one self-contained page.

    Example: trivet dossier my-monitor
    """
    from trivet.flow.spine import reviewed, write_dossier

    opened = open_project(project, fresh=fresh)
    verdict, review = reviewed(opened)
    page = write_dossier(opened, review)
    show(review, [f"dossier: {page}"], json)
    raise typer.Exit(MET if verdict.passes else NOT_MET)


@app.command()
def handoff(
    project: Project,
    unproven: Annotated[
        bool, typer.Option("--unproven", help="Without a passing verdict; brands every file.")
    ] = False,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Write the firmware bundle: C tables and code, golden vectors, checker, manifest.

    Example: trivet handoff my-monitor --unproven
    """
    from trivet.files.bundle import checked_footprint, footprint_lines, write_bundle
    from trivet.flow.firmware import device_compared, handed_off

    opened = open_project(project, fresh=fresh)
    record = handed_off(opened, unproven=unproven)
    taken = checked_footprint(record, firmware=opened.design.firmware)
    folder = write_bundle(project, record)
    lines = [*device_compared(opened), *footprint_lines(taken, design=opened.design)]
    show(record, ["\n".join([*lines, f"bundle: {folder}"])], json)


@app.command()
def prove(
    project: Project,
    reader: Annotated[
        Reader, typer.Option("--reader", help="Whose reading is judged: host or device.")
    ] = Reader.HOST,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Run the whole chain and print the verdict and where the dossier lies.

    Example: trivet prove examples/larkpane
    """
    from trivet.flow.spine import prove as run
    from trivet.present.progress import progress_bars
    from trivet.present.verdict import verdict_sections

    with progress_bars() as tell:
        opened = open_project(project, fresh=fresh, tell=tell)
        proof = run(opened, reader=reader.value)
    where = (
        f"firmware bundle: {proof.bundle}"
        if proof.bundle
        else "hand-off skipped: the verdict, or that on the firmware's reading, does not pass "
        "(trivet handoff --unproven overrides)"
    )
    sections = verdict_sections(opened.design, verdict=proof.verdict)
    show(proof.verdict, [*sections, f"dossier: {proof.page}", where], json, short=True)
    raise typer.Exit(MET if proof.verdict.passes else NOT_MET)
