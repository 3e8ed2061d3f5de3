"""The registry of metrics: name, unit, sense, documentation and function of each, in one place.

A metric is registered where its function stands, whose docstring is its documentation::

    @metric("cook", "valid_share", "fraction", "higher", joined="quantile")
    def valid_share(rows, *, requirement, design):
        'Share of heated moments with a reading.'

That one place is all that a new metric touches: requirements may name it, tables and the page
docs/metrics.md show it.  Importing any module of this package fills the registry.
"""

from __future__ import annotations

import inspect
import math
from collections import ChainMap
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal, TypeVar

from trivet.errors import InputError
from trivet.records.requirement import Requirement
from trivet.units import parse_quantity

Function = TypeVar("Function", bound=Callable[..., Any])
Sense = Literal["higher", "lower", "neither"]
Joined = Literal["", "quantile", "share", "mean", "p95"]

ROOMS = {
    "prediction": "Requirements that the sealed prediction answers: the worst of what is covered",
    "cook": "Requirements that cooks answer, cook by cook",
    "score": "Figures of a score, by stratum; the independent cook is the unit",
    "check": "Questions of a score beside temperatures, of simulated cooks",
    "alert": "Figures of the account of alerts, by alert",
    "burner": "Columns of a campaign's table: one burner of one cook",
    "limit": "Columns of a campaign's table for each limit",
    "limit-alert": "Columns of a campaign's table for each alert",
    "credibility": "Quantities by which simulated cooks are held against recorded ones",
}


@dataclass(frozen=True)
class Metric:
    """One registered figure."""

    room: str
    """Key of ROOMS: who computes it, of what."""
    name: str
    unit: str
    """A kind that trivet.units reads, ``count``, ``yes or no``, or a unit as written."""
    sense: Sense
    """Which way is better."""
    function: Callable[..., Any]
    heading: str
    """Its short name in a table."""
    joined: Joined = ""
    """How cooks are joined: the limit holds for a share of cooks (``quantile``), limits a share of
    cooks (``share``), or limits this statistic over all moments (``mean``, ``p95``)."""
    goal: float = math.nan
    """Goal of the house in its unit; NaN: none."""

    @property
    def meaning(self) -> str:
        """Its documentation: what is counted, of what, and what is left out."""
        first = inspect.cleandoc(self.function.__doc__ or "").split("\n\n")[0]
        text = " ".join(first.split()).rstrip(".")
        return text[:1].lower() + text[1:] if text[1:2].islower() else text


METRICS: dict[str, dict[str, Metric]] = {room: {} for room in ROOMS}
"""By room and name, in the order of the tables."""
REQUIRABLE: Mapping[str, Metric] = ChainMap(METRICS["cook"], METRICS["prediction"])
"""What a requirement may name."""


def metric(
    room: str,
    name: str,
    unit: str,
    sense: Sense,
    *,
    heading: str = "",
    joined: Joined = "",
    goal: float = math.nan,
) -> Callable[[Function], Function]:
    """Register the function below as a metric.

    Raises
    ------
    ValueError
        If the room is unknown, the name is taken, or the function has no docstring.
    """

    def registered(function: Function) -> Function:
        found = Metric(room, name, unit, sense, function, heading or name, joined, goal)
        if room not in METRICS or name in METRICS[room] or not found.meaning:
            raise ValueError(f"{room} {name}: unknown room, name taken, or no documentation")
        METRICS[room][name] = found
        return function

    return registered


def metric_of(requirement: Requirement) -> Metric:
    """Return the metric that a requirement names.

    Raises
    ------
    InputError
        If none of that name is registered.
    """
    if requirement.metric not in REQUIRABLE:
        raise InputError(
            f"requirement {requirement.id!r}: metric {requirement.metric!r} is not known; "
            f"allowed: {', '.join(REQUIRABLE)}"
        )
    return REQUIRABLE[requirement.metric]


def limit_value(requirement: Requirement) -> float:
    """Return the limit of a requirement in SI.

    Raises
    ------
    QuantityError
        If the text is no quantity of the metric's kind.
    """
    return parse_quantity(requirement.limit, metric_of(requirement).unit)


def metrics_page() -> str:
    """Return the page docs/metrics.md: every metric by room, with unit, sense and documentation."""
    lines = [
        "# Metrics",
        "",
        "This page is generated from the registry (`src/trivet/scoring/registry.py`); a test holds",
        "it to that.  Each metric is registered once, where its function stands.  *Better* says",
        "which way is better.  Temperatures and differences are in K, times in s, fractions in",
        "shares of 1.",
    ]
    for room, words in ROOMS.items():
        lines += ["", f"## {words}", "", "| name | unit | better | meaning |", "|---|---|---|---|"]
        for one in METRICS[room].values():
            goal = "" if math.isnan(one.goal) else f"; goal {one.goal:g} {one.unit}".rstrip()
            unit = one.unit or "share or overlap of 1"
            lines.append(f"| `{one.name}` | {unit} | {one.sense} | {one.meaning}{goal} |")
    return "\n".join(lines) + "\n"
