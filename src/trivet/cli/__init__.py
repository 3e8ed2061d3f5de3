"""The command line: open, call, print.  One thin command a stage, and the whole chain.

Each module adds its commands to the program as it is imported; their order here
is that of the help text.
"""

# ruff: noqa: I001 - the order of the help text
from trivet.cli.program import app
from trivet.cli import design, cooks, alerting, campaign, scoring, credibility, proof
from trivet.cli.run import main

__all__ = [
    "alerting", "app", "campaign", "cooks", "credibility", "design", "main", "proof", "scoring",
]  # fmt: skip
