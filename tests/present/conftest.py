"""A terminal to print sections on."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from rich.console import Console

from trivet.present import on_terminal
from trivet.records.dossier import Section


@pytest.fixture(scope="session")
def printed() -> Callable[..., str]:
    """Return what sections look like on a terminal without colours."""

    def show(*sections: Section, width: int = 120, short: bool = False) -> str:
        console = Console(file=io.StringIO(), width=width, color_system=None)
        console.print(on_terminal(sections, short=short))
        return console.file.getvalue()  # type: ignore[attr-defined]

    return show
