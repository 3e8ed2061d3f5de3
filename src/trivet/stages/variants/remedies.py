"""What would help most: every declared change against every predicted requirement that fails."""

from __future__ import annotations

import math

from trivet.records.comparison import Cell
from trivet.records.design import Design
from trivet.records.prediction import Prediction, PredictionPart, Remedies, Remedy
from trivet.records.requirement import Requirement
from trivet.scoring.predicted import meets, predicted_value
from trivet.scoring.registry import REQUIRABLE, limit_value
from trivet.stages.variants.changes import option_variant
from trivet.stages.variants.loop import (
    Predict,
    PredictedVariant,
    Variant,
    VariantQuestion,
    answer_table,
)

MONEY: frozenset[PredictionPart] = frozenset({"economics"})
PARTS_OF_METRIC: dict[str, frozenset[PredictionPart]] = {
    "range_headroom": frozenset({"ranges"}),
    "predicted_u95": frozenset({"budgets", "population"}),
    "first_reading": frozenset({"warning"}),
    "battery_days": frozenset({"battery"}),
    "contribution_frac": MONEY,
    "break_even_units": MONEY,
}
"""The parts of a prediction that a metric rests on, beside the views."""


def remedies(design: Design, prediction: Prediction, *, predict: Predict) -> Remedies:
    """Return what each declared change does to each predicted requirement that fails.

    Parameters
    ----------
    design : Design
        With its options.
    prediction : Prediction
        Of the design as it stands.
    predict : Predict
        What predicts the parts of a changed design.

    Returns
    -------
    Remedies
        The changes that bring a requirement inside stand first.

    Notes
    -----
    One change at a time: two that help only together are not found.  A change that
    makes a design impossible is named so and helps nothing; a figure that a changed
    card does not give, such as its price, leaves only what rests on it unknown.  The
    power while measuring follows the sensors' own draws unless the change sets it.
    The draws are those of the prediction, so that a change that does not touch a
    requirement leaves its value as it is.
    """
    wanted = [one for one in design.requirements if REQUIRABLE[one.metric].room == "prediction"]
    before = {
        one.id: predicted_value(one, prediction=prediction, design=design)[0] for one in wanted
    }
    failing = [one for one in wanted if not _inside(one, before[one.id])]
    options = [option_variant(design, option=one) for one in design.options]
    rows = answer_table(options, [_question(one) for one in failing], predict=predict)
    tried: list[Remedy] = []
    for requirement, row in zip(failing, rows, strict=True):
        own = [
            _remedy(requirement, before[requirement.id], option, cell)
            for option, cell in zip(options, row.cells, strict=True)
        ]
        tried += sorted(own, key=lambda one: _rank(one, requirement))
    helped = {one.requirement for one in tried if one.inside}
    return Remedies(
        tried=tuple(tried),
        failing=tuple(one.id for one in failing),
        unhelped=tuple(one.id for one in failing if one.id not in helped),
    )


def _question(requirement: Requirement) -> VariantQuestion:
    def ask(one: PredictedVariant) -> Cell:
        value, _, note = predicted_value(requirement, prediction=one.prediction, design=one.design)
        return Cell(value, "", note)

    return VariantQuestion(
        requirement.id, "number", ask, parts=PARTS_OF_METRIC.get(requirement.metric, frozenset())
    )


def _remedy(requirement: Requirement, before: float, option: Variant, cell: Cell) -> Remedy:
    note = f"unknown: {cell.source}" if cell.unknown else cell.text or cell.source
    return Remedy(
        option=option.name,
        requirement=requirement.id,
        metric=requirement.metric,
        limit=limit_value(requirement),
        before=before,
        after=cell.value,
        inside=_inside(requirement, cell.value),
        note=note,
    )


def _inside(requirement: Requirement, value: float) -> bool:
    return not math.isnan(value) and meets(requirement, value)


def _rank(remedy: Remedy, requirement: Requirement) -> tuple[bool, float]:
    """Return inside first, then the best value first; unknown last."""
    if math.isnan(remedy.after):
        return (True, math.inf)
    sign = -1.0 if REQUIRABLE[requirement.metric].sense == "higher" else 1.0
    return (not remedy.inside, sign * remedy.after)
