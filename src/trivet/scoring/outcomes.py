"""The outcome of one cook under one requirement."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

State = Literal["ok", "conditional", "fail"]


@dataclass(frozen=True)
class CookOutcome:
    """One cook's value and state, or why the cook says nothing.

    ``value`` is in the unit of the metric; for counted metrics 1 is a failure.
    ``state`` None means that the cook says nothing; ``note`` tells why, or
    what a reader should know.
    """

    state: State | None
    value: float = math.nan
    note: str = ""


def nothing(note: str) -> CookOutcome:
    """Return the outcome of a cook that says nothing.

    Parameters
    ----------
    note : str
        What is missing.

    Returns
    -------
    CookOutcome
        Without state and value.

    Notes
    -----
    Such a cook counts neither for nor against.

    References
    ----------
    House rule: a missing figure is told, never guessed.
    """
    return CookOutcome(None, note=note)
