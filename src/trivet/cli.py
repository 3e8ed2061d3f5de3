"""The command line: open, call, print.  One thin command a stage, and the whole chain."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from trivet.errors import InputError, TrivetError

if TYPE_CHECKING:
    from trivet.flow import Chain

app = typer.Typer(
    name="trivet",
    help="Design and prove an overhead infrared cooktop monitor. It certifies nothing.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

Project = Annotated[Path, typer.Argument(help="Folder with design.toml.", show_default=False)]
Cook = Annotated[str, typer.Argument(help="Name of a cook of the project.", show_default=False)]
Json = Annotated[bool, typer.Option("--json", help="Print the record as JSON, nothing else.")]
Fresh = Annotated[bool, typer.Option("--fresh", help="Compute again what the store has.")]
Csv = Annotated[Path | None, typer.Option("--csv", help="Write the rows to this file.")]

MET, NOT_MET, INTERRUPTED = 0, 1, 130


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
    from trivet.report.console import show_check

    chain = _chain(project)
    _ = chain.plans
    notes = advise(chain.design)
    _show(notes, show_check(notes), json)


@app.command()
def predict(
    project: Project,
    whole: Annotated[bool, typer.Option("--whole", help="Print every table.")] = False,
    json: Json = False,
    fresh: Fresh = False,
) -> None:
    """Say on one page what the design alone promises: view, error, warning, battery, money.

    Example: trivet predict my-monitor
    """
    from trivet.report.console import show_prediction

    chain = _chain(project, fresh=fresh)
    record = chain.prediction
    shown = show_prediction(record, display=chain.design.display, whole=whole)
    _show(record, shown, json)


@app.command()
def sensors(json: Json = False) -> None:
    """List the sensor cards of the library, each with its source; unknown is never zero.

    Example: trivet sensors --json
    """
    from trivet.facts.sensors import sensor_cards
    from trivet.report.console_seeing import show_cards

    cards = tuple(sensor_cards().values())
    _show(cards, show_cards(cards), json)


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
    from trivet.report.console_seeing import show_comparison
    from trivet.stages.predict.comparison import compare_designs, compare_sensors

    chains = [_chain(project, fresh=fresh) for project in projects]
    designs = [chain.design for chain in chains]
    if by_sensor and len(chains) > 1:
        raise InputError(f"--sensors compares under one design; {len(chains)} were named")
    found = (
        compare_sensors(designs[0])
        if by_sensor
        else compare_designs(designs, predictions=[chain.prediction for chain in chains])
    )
    _show(found, show_comparison(found, display=designs[0].display), json)


@app.command()
def remedies(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Try the design's declared changes against every predicted requirement that fails.

    Example: trivet remedies my-monitor
    """
    from trivet.report.console_production import show_remedies

    chain = _chain(project, fresh=fresh)
    record = chain.remedies
    _show(record, show_remedies(record, display=chain.design.display), json)


@app.command()
def trade(project: Project, json: Json = False) -> None:
    """Rank the design's options by weighted criteria; say at which weight the winner flips.

    Example: trivet trade my-monitor
    """
    from trivet.report.console_business import show_trade
    from trivet.stages.predict.tradeoff import trade as studied

    record = studied(_chain(project).design)
    _show(record, show_trade(record), json)


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
    from trivet.report.console import show_recording

    chain = _chain(project, fresh=fresh)
    chosen = [chain.entry(cook)] if cook else [one for one in chain.cooks if one.plan]
    records = [chain.recording(entry) for entry in chosen]
    _show(records, [show_recording(one) for one in records], json)


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
    from trivet.report.console import show_recording

    chain = _chain(project, fresh=fresh)
    chosen = [chain.entry(cook)] if cook else [one for one in chain.cooks if one.folder]
    records = [chain.recording(entry) for entry in chosen]
    _show(records, [show_recording(one) for one in records], json)


@app.command()
def calibrate(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Fit pose, drift and emissivity from the calibration cooks, each with covariance.

    Example: trivet calibrate my-monitor
    """
    from trivet.report.console import show_calibration

    chain = _chain(project, fresh=fresh)
    records = [chain.calibration(grade) for grade in chain.grades]
    _show(records, [show_calibration(one) for one in records], json)


@app.command()
def estimate(
    project: Project, cook: Cook, csv: Csv = None, json: Json = False, fresh: Fresh = False
) -> None:
    """Read one cook frame by frame: temperature, of what, how sure, or why not.

    Example: trivet estimate my-monitor sear-dry --csv sear.csv
    """
    from trivet.files.tables import write_estimate_csv
    from trivet.report.console import show_estimate

    chain = _chain(project, fresh=fresh)
    record = chain.estimate(chain.entry(cook))
    if csv:
        write_estimate_csv(csv, record)
    _show(record, show_estimate(record, display=chain.design.display), json)


@app.command()
def alert(
    project: Project, cook: Cook, csv: Csv = None, json: Json = False, fresh: Fresh = False
) -> None:
    """Run the alert machine over one cook and list every change.

    Example: trivet alert my-monitor unattended-oil-r0 --csv alerts.csv
    """
    from trivet.files.tables import write_alert_csv
    from trivet.report.console import show_alerts

    chain = _chain(project, fresh=fresh)
    record = chain.alerts(chain.entry(cook))
    if csv:
        write_alert_csv(csv, record)
    _show(record, show_alerts(record), json)


@app.command()
def verify(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Decide each requirement from the proof cooks: met, not met or not proven.

    Example: trivet verify my-monitor
    """
    from trivet.report.console import show_verdict

    record = _chain(project, fresh=fresh).verdict
    _show(record, show_verdict(record), json)
    raise typer.Exit(MET if record.passes else NOT_MET)


@app.command()
def dossier(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Write the review dossier, one self-contained page.

    Example: trivet dossier my-monitor
    """
    chain = _chain(project, fresh=fresh)
    page = chain.write_dossier()
    _show(chain.dossier, f"dossier: {page}", json)
    raise typer.Exit(MET if chain.verdict.passes else NOT_MET)


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
    from trivet.files.bundle import write_bundle

    chain = _chain(project, fresh=fresh)
    record = chain.bundle(unproven=unproven)
    _show(record, f"bundle: {write_bundle(project, record)}", json)


@app.command()
def prove(project: Project, json: Json = False, fresh: Fresh = False) -> None:
    """Run the whole chain and print the verdict and where the dossier lies.

    Example: trivet prove examples/larkpane
    """
    from trivet.flow import prove as run
    from trivet.report.console import show_verdict
    from trivet.report.progress import progress_bars

    with progress_bars() as tell:
        proof = run(project, fresh=fresh, tell=tell)
    where = (
        f"firmware bundle: {proof.bundle}"
        if proof.bundle
        else "hand-off skipped: the verdict does not pass (trivet handoff --unproven overrides)"
    )
    _show(proof.verdict, [show_verdict(proof.verdict), f"dossier: {proof.page}", where], json)
    raise typer.Exit(MET if proof.verdict.passes else NOT_MET)


def _chain(project: Path, *, fresh: bool = False) -> Chain:
    from trivet.flow import Chain

    return Chain(project, fresh=fresh)


def _show(record: object, human: Any, json: bool) -> None:
    """Print the record as JSON, or its human form."""
    if json:
        from trivet.records.provenance import record_json

        sys.stdout.write(record_json(record) + "\n")
        return
    from rich.console import Console

    console = Console()
    for part in human if isinstance(human, list) else [human]:
        console.print(part, soft_wrap=isinstance(part, str), highlight=False)


def _run() -> int:
    """Run the command and return its exit code; every fault becomes one clear message."""
    # typer may bring its own copy of click, whose errors are not those of an installed one
    kinds: tuple[type[Any], ...] = typer.BadParameter.__mro__
    wrong = next(kind for kind in kinds if kind.__name__ == "ClickException")

    try:
        result = app(standalone_mode=False)
        return int(result) if isinstance(result, int) else 0
    except typer.Exit as stop:
        return stop.exit_code
    except wrong as fault:
        fault.show()
        return 2
    except TrivetError as fault:
        print(f"trivet: {fault}", file=sys.stderr)
        return fault.exit_code
    except (KeyboardInterrupt, typer.Abort):
        return INTERRUPTED
    except OSError as fault:
        print(f"trivet: {fault.filename or 'storage'}: {fault.strerror or fault}", file=sys.stderr)
        return 3


def main() -> None:
    """Run the program and exit with its code."""
    try:
        code = _run()
    except Exception as fault:
        if os.environ.get("TRIVET_TRACEBACK"):
            raise
        print(
            f"trivet: internal fault: {type(fault).__name__}: {fault}; "
            "set TRIVET_TRACEBACK=1 to see where",
            file=sys.stderr,
        )
        code = 3
    if code == INTERRUPTED:  # typer may have caught it first
        print("trivet: interrupted; nothing is half written", file=sys.stderr)
    sys.exit(code)
