"""The design review: all records become its sections, verdict first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from trivet.present.alerts import alert_section
from trivet.present.assumptions import CAUTIONS, assumption_section
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
from trivet.records.dossier import Dossier, Section, ShownCook
from trivet.records.prediction import Prediction, Remedies
from trivet.records.verdict import Verdict


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
