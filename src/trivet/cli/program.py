"""The program that the commands belong to, and what they share: options, opening, printing."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from trivet.flow.project import ProjectFolder, Tell

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


def open_project(project: Path, *, fresh: bool = False, tell: Tell | None = None) -> ProjectFolder:
    """Open a project."""
    from trivet.flow.project import ProjectFolder, silent

    return ProjectFolder(project, tell=tell or silent, fresh=fresh)


def show(record: object, human: Any, json: bool) -> None:
    """Print the record as JSON, or its human form."""
    if json:
        from trivet.records.provenance import record_json

        sys.stdout.write(record_json(record) + "\n")
        return
    from rich.console import Console

    console = Console()
    for part in human if isinstance(human, list) else [human]:
        console.print(part, soft_wrap=isinstance(part, str), highlight=False)
