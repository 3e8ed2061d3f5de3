"""Assumptions and cautions: what no source stands behind, and what must be minded."""

from __future__ import annotations

import re

from trivet.records.dossier import Section, Table
from trivet.records.prediction import Prediction

CAUTIONS: tuple[str, ...] = (
    "This is a design aid. It certifies nothing and stands in for no standard, test laboratory"
    " or fire-safety authority; local codes and licensed practice come first.",
    "A device that only alerts does not prevent a fire. It may help somebody who is there, and"
    " who acts in time.",
    "Heating oil towards ignition belongs in a fire laboratory with suppression. Bench plans"
    " made here stop at 250 °C (482 °F): lid and extinguisher at hand, two people, never"
    " unattended, never water on burning oil. Hot oil stays dangerous for about an hour.",
    "An empty non-stick pan passes 260 °C (500 °F) within minutes and then gives off toxic"
    " fumes, deadly to birds. Ventilate, and cap such runs.",
    "Thermocouple wires across flames or over an induction coil need insulation and care with"
    " earth loops; induced currents heat the junction, and the log does not show it.",
    "Lithium cells in a hood have a rated limit, commonly 60 °C (140 °F). Treat it as a hard"
    " stop, and log the temperature of the cells.",
    "Smoke points differ by about ±20 K (±36 °F) between tables and fall as oil is used again."
    " Never rest an alert on one figure.",
    "Every figure labelled simulated holds within the simulator only. A count without failures"
    " proves no more than the bound printed beside it.",
    "A missing or invalid reading is shown as missing, with its reason. It never means cool.",
)

_PARTS = re.compile(r"^(?P<key>[^=:,\s]+)\s*[=:,]\s*(?P<value>.+?)(?:\s+\((?P<note>.+)\))?$", re.S)


def assumption_section(prediction: Prediction) -> Section:
    """Return every figure of the design that has no origin."""
    if not prediction.assumed:
        return Section("Assumptions", ("Every figure of the design states its origin.",))
    rows = tuple(_row(text) for text in prediction.assumed)
    told = tuple(row for row in rows if row[2] != "–")
    plain: dict[str, list[str]] = {}
    for key, value, note in rows:
        if note == "–":
            part, _, name = key.rpartition(".")
            plain.setdefault(part, []).append(f"{name} {value}")
    bare = tuple((part, "; ".join(entries)) for part, entries in plain.items())
    words = (
        f"{len(rows)} figures state no datasheet, measurement or standard as their origin and"
        " count as assumed. Commission the ones that the error budgets name as dominant first.",
    )
    return Section(
        "Assumptions",
        words,
        (
            Table("Figures without an origin, with a remark", ("Figure", "Value", "Note"), told),
            Table("Figures without an origin or a remark", ("Part", "Figures"), bare),
        ),
    )


def _row(text: str) -> tuple[str, str, str]:
    match = _PARTS.match(text)
    return (match["key"], match["value"], match["note"] or "–") if match else (text, "–", "–")
