"""The loop over changed designs: each is predicted once, and one table holds the answers."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

from trivet.errors import TrivetError
from trivet.records.comparison import UNKNOWN, AnswerRow, Cell, Kind
from trivet.records.design import Design
from trivet.records.prediction import (
    Budget,
    BudgetCase,
    PartialPrediction,
    Prediction,
    PredictionAsked,
    PredictionPart,
)
from trivet.records.provenance import fingerprint


class Predict(Protocol):
    """What predicts parts of a design: :func:`trivet.stages.predict.predict_parts`."""

    def __call__(self, design: Design, *, asked: PredictionAsked) -> PartialPrediction:
        """Return the parts of a prediction that are asked for."""
        ...


@dataclass(frozen=True, eq=False)
class Variant:
    """A design with some keys changed."""

    name: str
    design: Design | str
    """The changed design; why it cannot be made, where it cannot."""
    unknown: dict[PredictionPart, str] = field(default_factory=dict)
    """Parts of its prediction that cannot be known, and why."""
    notes: Mapping[str, str] = field(default_factory=dict)
    """Where a figure of it is from, for the sources of answers."""
    known: Prediction | None = None
    """Its prediction, where that is at hand."""


@dataclass(frozen=True, eq=False)
class PredictedVariant:
    """A variant with what was predicted of it."""

    variant: Variant
    design: Design
    prediction: Prediction
    missing: dict[PredictionPart, str]
    budgets: Mapping[BudgetCase, Budget]
    """Of the cases that the questions ask for."""


@dataclass(frozen=True)
class VariantQuestion:
    """A named figure of a variant: its kind, what answers it, and what that rests on."""

    text: str
    kind: Kind
    ask: Callable[[PredictedVariant], Cell]
    parts: frozenset[PredictionPart] = frozenset()
    """The answer is unknown where one of these is."""
    cases: tuple[BudgetCase, ...] = ()


def answer_table(
    variants: Sequence[Variant], questions: Sequence[VariantQuestion], *, predict: Predict
) -> tuple[AnswerRow, ...]:
    """Return the answer of every variant to every question, a row a question.

    Parameters
    ----------
    variants : sequence of Variant
        A column each.
    questions : sequence of VariantQuestion
        A row each.
    predict : Predict
        Called once for all variants of one design, with the parts that the questions rest on.

    Returns
    -------
    tuple of AnswerRow
        A variant that cannot be made or seen says why in each cell; an answer that rests
        on an unknown part is unknown.
    """
    parts = frozenset(part for one in questions for part in one.parts)
    cases = tuple(dict.fromkeys(case for one in questions for case in one.cases))
    known: dict[str, PredictedVariant | str] = {}
    columns = []
    for one in variants:
        key = one.design if isinstance(one.design, str) else fingerprint(one.design, one.unknown)
        if key not in known:
            asked = PredictionAsked(tuple(sorted(parts)), cases, one.unknown)
            known[key] = _predicted(one, asked, predict)
        columns.append(known[key])
    return tuple(
        AnswerRow(one.text, one.kind, tuple(_answer(one, column) for column in columns))
        for one in questions
    )


def _predicted(
    variant: Variant, asked: PredictionAsked, predict: Predict
) -> PredictedVariant | str:
    design = variant.design
    if isinstance(design, str):
        return design
    if variant.known is not None:
        return PredictedVariant(variant, design, variant.known, variant.unknown, {})
    try:
        found = predict(design, asked=asked)
    except TrivetError as error:
        return f"impossible: {error}"
    budgets = dict(zip(asked.cases, found.budgets, strict=True))
    return PredictedVariant(variant, design, found.prediction, found.missing, budgets)


def _answer(question: VariantQuestion, column: PredictedVariant | str) -> Cell:
    if isinstance(column, str):
        return Cell(math.nan, column, question.text)
    for part in sorted(question.parts & column.missing.keys()):
        return Cell(math.nan, UNKNOWN, f"{part}: {column.missing[part]}")
    return question.ask(column)
