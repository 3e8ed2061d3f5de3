"""The design review: all records become its sections, verdict first."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from trivet.present.alerts import alert_section
from trivet.present.budget import budget_section
from trivet.present.business import battery_section, money_section
from trivet.present.calibration import calibration_section
from trivet.present.population import production_section
from trivet.present.readings import trace_section
from trivet.present.verdict import agreement_section, claims, requirement_section, summary
from trivet.present.view import coverage_section
from trivet.records.calibration import Calibration
from trivet.records.comparison import SensorComparison
from trivet.records.design import Design
from trivet.records.dossier import Dossier, Section, ShownCook, Table
from trivet.records.prediction import Prediction, Remedies
from trivet.records.verdict import Verdict

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

_ASSUMED = re.compile(
    r"^(?P<key>[^=:,\s]+)\s*[=:,]\s*(?P<value>.+?)(?:\s+\((?P<note>.+)\))?$", re.S
)


def prediction_sections(design: Design, *, prediction: Prediction) -> tuple[Section, ...]:
    """Return every section of the review that rests on the prediction alone."""
    return (
        coverage_section(design, prediction=prediction),
        budget_section(design, prediction=prediction),
        production_section(design, prediction=prediction, remedies=None),
        alert_section(design, prediction=prediction, cooks=()),
        battery_section(design, prediction=prediction),
        money_section(prediction),
        assumption_section(prediction),
        Section("Cautions", _cautions(prediction)),
    )


def _cautions(prediction: Prediction) -> tuple[str, ...]:
    return (*CAUTIONS, *(text for text in prediction.cautions if text not in CAUTIONS))


def dossier(
    design: Design,
    *,
    prediction: Prediction,
    calibrations: Sequence[Calibration],
    cooks: Sequence[ShownCook],
    verdict: Verdict,
    hashes: Mapping[str, str],
    sensors: SensorComparison | None = None,
    remedies: Remedies | None = None,
) -> Dossier:
    """Return the content of the design review, verdict first.

    Parameters
    ----------
    design : Design
        What was decided; its display units are those of the texts.
    prediction : Prediction
        Sealed before any recording was read.
    calibrations : sequence of Calibration
        One for each grade of evidence.
    cooks : sequence of ShownCook
        Proof cooks to draw; the first repeat of each plan is drawn.
    verdict : Verdict
        Decisions, evidence and strata.
    hashes : mapping of str to str
        Name of each record and its hash.
    sensors : SensorComparison, optional
        Other sensor cards in the same place.
    remedies : Remedies, optional
        What declared changes do to requirements that fail.

    Returns
    -------
    Dossier
        Texts in the design's units; charts in SI.

    Notes
    -----
    Nothing is judged anew: decisions, limits of agreement and margins are those of
    the records.  Added here are exact binomial bounds beside counts (0 of 20 prints
    13.9 %), the lead of each alert in the drawn cooks, and stretches without a
    reading, taken from the flags frame by frame.  Drawn lines are thinned to at
    most 500 points; gaps, alerts and quoted figures come from every frame.

    References
    ----------
    Bounds: Clopper and Pearson, Biometrika 26 (1934).
    """
    return Dossier(
        title=design.project.name,
        subtitle=" · ".join(text for text in (design.project.team, design.project.note) if text),
        invented=design.project.invented,
        summary=summary(verdict),
        claims=claims(design, verdict=verdict),
        sections=(
            requirement_section(design, verdict=verdict),
            coverage_section(design, prediction=prediction, sensors=sensors),
            budget_section(design, prediction=prediction),
            production_section(design, prediction=prediction, remedies=remedies),
            agreement_section(design, verdict=verdict),
            trace_section(design, cooks=cooks),
            alert_section(design, prediction=prediction, cooks=cooks),
            battery_section(design, prediction=prediction),
            money_section(prediction),
            calibration_section(design, calibrations=calibrations),
            assumption_section(prediction),
        ),
        cautions=_cautions(prediction),
        hashes=tuple(sorted(hashes.items())),
    )


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
    match = _ASSUMED.match(text)
    return (match["key"], match["value"], match["note"] or "–") if match else (text, "–", "–")
