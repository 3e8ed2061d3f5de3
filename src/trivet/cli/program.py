"""The program that the commands belong to: options, opening, printing, and faults.

Every fault becomes one clear message and an exit code.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from trivet.errors import TrivetError

if TYPE_CHECKING:
    from trivet.flow.project import ProjectFolder, Tell
    from trivet.records.dossier import Section

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

MET, NOT_MET, INTERRUPTED = 0, 1, 130  # 130: common practice of shells for Ctrl-C


def open_project(project: Path, *, fresh: bool = False, tell: Tell | None = None) -> ProjectFolder:
    """Open a project."""
    from trivet.flow.project import ProjectFolder, silent

    return ProjectFolder(project, tell=tell or silent, fresh=fresh)


def show(
    record: object, shown: Sequence[Section | str], json: bool, *, short: bool = False
) -> None:
    """Print the record as JSON, or the sections and lines that show it to people."""
    if json:
        from trivet.records.provenance import record_json

        sys.stdout.write(record_json(record) + "\n")
        return
    from rich.console import Console

    from trivet.present import on_terminal

    console = Console()
    for part in shown:
        text = part if isinstance(part, str) else on_terminal([part], short=short)
        console.print(text, soft_wrap=isinstance(part, str), highlight=False, markup=False)


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
