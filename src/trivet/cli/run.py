"""Runs the program: every fault becomes one clear message and an exit code."""

from __future__ import annotations

import os
import sys
from typing import Any

import typer

from trivet.cli.program import INTERRUPTED, app
from trivet.errors import TrivetError


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
