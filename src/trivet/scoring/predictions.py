"""Evidence from the sealed prediction."""

from __future__ import annotations

import math

from trivet.models.predicted import predicted_value
from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.records.requirement import METRICS, Requirement
from trivet.records.verdict import Decision, EvidenceLine

_TINY = 1e-9
"""Rounding of a share such as 1 - 1e-16 must not fail a limit of 100 %."""


def predicted_line(
    requirement: Requirement, *, prediction: Prediction, design: Design
) -> EvidenceLine:
    """Return what the prediction says of a requirement.

    Parameters
    ----------
    requirement : Requirement
        Of a metric whose source is the prediction.
    prediction : Prediction
        Sealed.
    design : Design
        Bands and alerts by name.

    Returns
    -------
    EvidenceLine
        Grade ``predicted``; no cooks; not proven where a figure is missing.

    Notes
    -----
    The worst case of all burners and pans decides. Battery days are the tenth
    percentile already, so no further guard band is taken.

    References
    ----------
    The prediction's own notes.
    """
    value, source, text = predicted_value(requirement, prediction=prediction, design=design)
    decision: Decision = "not proven"
    if not math.isnan(value):
        limit = requirement.limit_value
        met = (
            value >= limit - _TINY
            if METRICS[requirement.metric].sense == "at_least"
            else value <= limit + _TINY
        )
        decision = "met" if met else "not met"
    return EvidenceLine(
        evidence="predicted",
        value=value,
        bound=value,
        cooks=0,
        failures=0,
        text=text,
        decision=decision,
        sources=(source,) if source else (),
    )
