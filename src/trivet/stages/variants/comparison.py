"""Sensors under one design, or whole designs, side by side."""

from __future__ import annotations

from collections.abc import Sequence

from trivet.errors import InputError
from trivet.facts.parts import sensor_cards
from trivet.records.comparison import DesignComparison, SensorComparison
from trivet.records.design import Design
from trivet.records.prediction import PartialPrediction, Prediction, PredictionAsked
from trivet.stages.variants.answers import DESIGN_QUESTIONS, sensor_questions
from trivet.stages.variants.changes import card_variant
from trivet.stages.variants.loop import Predict, Variant, answer_table

NOTE = (
    "Every card hangs where the design's heads hang, behind their windows. Calculations from"
    " cards, not measurements; unknown is never zero."
)
DESIGN_NOTE = "Predictions of each design from itself alone; unknown is never zero."


def compare_sensors(design: Design, *, predict: Predict) -> SensorComparison:
    """Return every sensor card of library and design under the design's mounts, side by side.

    Parameters
    ----------
    design : Design
        Mounts, windows, pans, limits; the card of its first head stands first.
    predict : Predict
        What predicts the parts of the design with another card.

    Returns
    -------
    SensorComparison
        Coverage, pixels across, whether a dark dry pan is measurable, error at 100 and
        230 C, range, drift after wake, life, bill, landed cost, returns and contribution;
        each cell names its calculation.

    Notes
    -----
    Cards that an own lens or mount makes impossible show why in every cell.  The error is
    the larger 95 % half-width of the two methods, for the pan of highest emissivity, dry, at
    the burner where it is worst.  The life replaces the card's own draw in the design's
    power while measuring, which needs both cards' draws; the bill's sensor line takes the
    card's price; returns follow life and error.  A cell that rests on what a card does not
    say is unknown.
    """
    own = design.card(design.heads[0])
    cards = {own.name: own}
    cards |= {card.name: card for card in design.sensors}
    cards |= {name: card for name, card in sensor_cards().items() if name not in cards}
    variants = [card_variant(design, card=card) for card in cards.values()]
    rows = answer_table(variants, sensor_questions(design), predict=predict)
    return SensorComparison(design.project.name, tuple(cards), rows, NOTE)


def compare_designs(
    designs: Sequence[Design], *, predictions: Sequence[Prediction]
) -> DesignComparison:
    """Return the main answers of several designs side by side.

    Parameters
    ----------
    designs : sequence of Design
        At least two.
    predictions : sequence of Prediction
        Those of the designs.

    Returns
    -------
    DesignComparison
        Coverage with its tolerance, pixels, error, range, lead, days and money; each
        cell names the field of the prediction.

    Raises
    ------
    InputError
        For fewer than two designs, or predictions that do not match them.

    Notes
    -----
    Designs differ in burners, pans and limits too; the worst of each is compared, not
    the same case.
    """
    if len(designs) < 2:
        raise InputError(f"{len(designs)} design to compare; name at least two")
    if len(predictions) != len(designs):
        raise InputError(
            f"{len(predictions)} predictions of {len(designs)} designs; one each is needed"
        )
    variants = [
        Variant(name, design, known=prediction)
        for name, design, prediction in zip(_columns(designs), designs, predictions, strict=True)
    ]
    rows = answer_table(variants, DESIGN_QUESTIONS, predict=_at_hand)
    return DesignComparison(tuple(one.name for one in variants), rows, DESIGN_NOTE)


def _at_hand(design: Design, *, asked: PredictionAsked) -> PartialPrediction:
    raise InputError(f"{design.project.name}: no prediction is at hand")


def _columns(designs: Sequence[Design]) -> tuple[str, ...]:
    """Return the designs' names, numbered where two are the same."""
    names = [design.project.name for design in designs]
    return tuple(
        f"{name} ({at + 1})" if names.count(name) > 1 else name for at, name in enumerate(names)
    )
