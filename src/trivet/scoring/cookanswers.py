"""What one cook says to a score: pieces of strata, checks and words, and their rows."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import Any, TypedDict

from trivet.records.campaign import Row, SweepCook
from trivet.records.checks import Check, PanWord
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.scoring import StratumPiece
from trivet.records.verdict import ProofCook
from trivet.scoring.pieces import cook_checks, cook_pieces

Answer = StratumPiece | Check | PanWord
ANSWERS: dict[str, Callable[..., Answer]] = {
    one.__name__: one for one in (StratumPiece, Check, PanWord)
}


class Sorted(TypedDict):
    """What the cooks of a sheet say."""

    pieces: list[StratumPiece]
    checks: list[Check]
    words: list[PanWord]


def cook_answers(cook: ProofCook, *, design: Design) -> tuple[Answer, ...]:
    """Return what one cook says to a score."""
    checks, words = cook_checks(cook, design=design)
    return (*cook_pieces(cook, design=design), *checks, *words)


def by_kind(answers: Sequence[Answer]) -> Sorted:
    """Return answers sorted by what they are, as a sheet takes them."""
    return {
        "pieces": [one for one in answers if isinstance(one, StratumPiece)],
        "checks": [one for one in answers if isinstance(one, Check)],
        "words": [one for one in answers if isinstance(one, PanWord)],
    }


def plan_labels(plan: CookPlan) -> dict[str, str]:
    """Return what a plan varies beside what lies in the pan."""
    aged = float(plan.window_age_weeks) > 0.0 or plan.window_transmittance_frac is not None
    labels = {"window": "set or aged" if aged else "clean", "lamp": "on" if plan.lamp_on else "off"}
    if changes := plan.mismatch.changes():
        labels["mismatch"] = ", ".join(f"{key} {value}" for key, value in changes.items())
    return labels


def lost_row(cook: SweepCook, error: str) -> Row:
    """Return the row of a cook that gave nothing."""
    return {"cook": cook.plan.name, "error": error}


def answer_row(answer: Answer) -> Row:
    """Return an answer as plain values; JSON has no NaN."""
    row: dict[str, Any] = dataclasses.asdict(answer)
    bare = {
        key: None if isinstance(value, float) and math.isnan(value) else value
        for key, value in row.items()
    }
    return {**bare, "answer": type(answer).__name__, "error": None}


def row_answer(row: dict[str, Any]) -> Answer:
    """Return the answer of a row."""
    kind = ANSWERS[row["answer"]]
    values = {key: value for key, value in row.items() if key not in ("error", "answer")}
    values = {key: math.nan if value is None else value for key, value in values.items()}
    return kind(
        **{key: tuple(one) if isinstance(one, list) else one for key, one in values.items()}
    )
