"""The command line: open, call, print.  One thin command a stage, and the whole chain.

Each module adds its commands to the program as it is imported; their order here
is that of the help text.
"""

# ruff: noqa: I001 - the order of the help text
from trivet.cli.program import app, main
from trivet.cli import design, cooks, study, proof

__all__ = ["app", "cooks", "design", "main", "proof", "study"]
