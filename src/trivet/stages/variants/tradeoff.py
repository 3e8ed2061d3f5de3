"""The trade study: every option predicted, scored and ranked, and where the winner flips."""

from __future__ import annotations

import math

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError
from trivet.models.predicted import prediction_stream
from trivet.models.variants import with_sensor
from trivet.physics.economics.tradestudy import drawn_wins, scores, totals, weight_flips
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.design import Design
from trivet.records.trade import (
    Criterion,
    TradeCell,
    TradeOption,
    TradeRow,
    TradeStudy,
    WeightFlip,
)
from trivet.stages.variants.answers import TRADE_QUESTIONS
from trivet.stages.variants.changes import unknown_parts
from trivet.stages.variants.loop import Predict, Variant, answer_table

TRADE_DRAWS = 10_000  # own estimate: knows the share of wins to 0.01
CAUTION = "Predicted from the design alone: no test stands behind a score."


def trade(design: Design, *, predict: Predict) -> TradeStudy:
    """Return the ranking of the options that a design names.

    Parameters
    ----------
    design : Design
        Criteria, weights and options under ``trade``.
    predict : Predict
        What predicts the parts of the design with an option's sensor.

    Returns
    -------
    TradeStudy
        Options best first with the share of draws that each wins, and for each criterion
        the weights at which another wins.

    Raises
    ------
    InputError
        If there is no study, the weights do not sum to 1, or a score is missing.

    Notes
    -----
    View, error, warning, power, cost and returns of an option with another sensor move
    together. What is unknown or impossible scores 0 and is noted.
    Values beyond the ends of a scale are held at 0 and 1.

    References
    ----------
    Weighted-sum model; :mod:`trivet.physics.economics.tradestudy`.
    """
    study = design.trade
    if not study.criteria or len(study.options) < 2:
        raise InputError("trade: give [[trade.criteria]] and two or more [[trade.options]]")
    weights = [float(one.weight_frac) for one in study.criteria]
    totals(np.zeros((1, len(weights))), weights=weights)  # refuse before anything is predicted
    notes: list[str] = [CAUTION]
    values, possible = _values(design, notes, predict)
    score = scores(
        values,
        worst=[float(one.worst) for one in study.criteria],
        best=[float(one.best) for one in study.criteria],
    )
    total = totals(score, weights=weights)
    names = [one.name for one in study.options]
    order = np.argsort(-total, kind="stable").tolist()
    unknown = np.isnan(values) & possible[:, None]
    wins = _wins(design, score, weights, known=np.logical_not(unknown.any(axis=1)))
    notes += _at_best(names, score, weights, unknown=unknown)
    rows = tuple(
        TradeRow(
            names[at],
            float(total[at]),
            tuple(
                TradeCell(one.name, float(values[at, col]), float(score[at, col]))
                for col, one in enumerate(study.criteria)
            ),
            *wins[at],
        )
        for at in order
    )
    flips = tuple(
        WeightFlip(
            criterion=one.name,
            weight_frac=weight,
            lower_frac=flip.lower,
            lower_winner=names[flip.lower_winner] if flip.lower_winner >= 0 else "",
            upper_frac=flip.upper,
            upper_winner=names[flip.upper_winner] if flip.upper_winner >= 0 else "",
        )
        for one, weight, flip in zip(
            study.criteria, weights, weight_flips(score, weights=weights), strict=True
        )
    )
    lead = float(total[order[0]] - total[order[1]])
    return TradeStudy(
        names[order[0]],
        names[order[1]],
        lead,
        rows,
        flips,
        tuple(notes),
        TRADE_DRAWS,
        _spread(design),
    )


def _wins(
    design: Design,
    score: FloatArray,
    weights: list[float],
    *,
    known: BoolArray,
) -> list[tuple[float, float, float]]:
    """Return for each option the share of draws that it wins, with its exact 95 % interval.

    Of an option with an unknown figure nobody can say how often it wins: NaN.
    """
    study = design.trade
    shares = [(math.nan, math.nan, math.nan)] * len(known)
    if known.sum() < 2:
        return shares
    counts = drawn_wins(
        score[known],
        weights=weights,
        spread=(float(study.weight_spread_frac), float(study.score_spread_frac)),
        draws=TRADE_DRAWS,
        generator=prediction_stream(design, name="trade"),
    )
    for at, one in zip(np.flatnonzero(known).tolist(), counts.tolist(), strict=True):
        shares[at] = (one / TRADE_DRAWS, *clopper_pearson(one, TRADE_DRAWS))
    return shares


def _at_best(
    names: list[str],
    score: FloatArray,
    weights: list[float],
    *,
    unknown: BoolArray,
) -> list[str]:
    """Say of each option with unknown figures what it would reach with the best of them."""
    best = totals(np.where(unknown, 1.0, score), weights=weights)
    top = float(totals(score, weights=weights).max())
    return [
        f"{names[at]}: with its unknown figures at their best it would score {best[at]:.3f}"
        f" against {top:.3f}: " + ("it may win" if best[at] > top else "it cannot win")
        for at in np.flatnonzero(unknown.any(axis=1)).tolist()
    ]


def _spread(design: Design) -> str:
    study = design.trade
    return (
        f"each weight within ±{study.weight_spread_frac.text} of itself, each score within"
        f" ±{study.score_spread_frac.text} of its scale, all rectangular; among the options of"
        " which every figure is known"
    )


def _values(design: Design, notes: list[str], predict: Predict) -> tuple[FloatArray, BoolArray]:
    """Return (option, criterion) values, and whether each option is possible at all."""
    study = design.trade
    metrics = [one.metric for one in study.criteria if one.metric is not None]
    variants = [_variant(design, option) for option in study.options]
    rows = answer_table(variants, [TRADE_QUESTIONS[one] for one in metrics], predict=predict)
    cells = {metric: row.cells for metric, row in zip(metrics, rows, strict=True)}
    values = [[math.nan] * len(study.criteria) for _ in study.options]
    possible = np.ones(len(study.options), dtype=np.bool_)
    for at, option in enumerate(study.options):
        for col, one in enumerate(study.criteria):
            if one.metric is None:
                values[at][col] = _entered(option, one)
                continue
            cell = cells[one.metric][at]
            values[at][col] = cell.value
            if cell.text.startswith("impossible"):
                possible[at] = False
                notes.append(f"{option.name}: {cell.text}")
            elif math.isnan(cell.value):
                why = f"{option.name}: {one.name} is unknown and scores 0: {cell.source}."
                notes.append(why)
    notes[:] = dict.fromkeys(notes)
    return np.array(values), possible


def _variant(design: Design, option: TradeOption) -> Variant:
    if option.sensor is None:
        return Variant(option.name, design, unknown_parts(design, before=design))
    try:
        changed = with_sensor(design, sensor=option.sensor, price=option.sensor_price)
    except InputError as error:
        return Variant(option.name, f"impossible: {error}")
    return Variant(option.name, changed, unknown_parts(changed, before=design))


def _entered(option: TradeOption, criterion: Criterion) -> float:
    for one in option.scores:
        if one.criterion == criterion.name:
            return float(one.value)
    raise InputError(f"trade: option {option.name!r} has no score of {criterion.name!r}")
