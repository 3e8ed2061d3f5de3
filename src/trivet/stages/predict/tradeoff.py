"""The trade study: every option predicted, scored and ranked, and where the winner flips."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from trivet.errors import InputError, TrivetError
from trivet.models.predicted import best_views
from trivet.models.variants import with_sensor
from trivet.physics.economics.tradestudy import drawn_wins, scores, totals, weight_flips
from trivet.physics.statistics.intervals import clopper_pearson
from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.records.trade import Criterion, Option, TradeCell, TradeRow, TradeStudy, WeightFlip
from trivet.stages.predict import predict
from trivet.stages.predict.readings import stream

DRAWS = 10_000
MONEY = {"contribution_frac", "npv"}
ERROR = {"measurable", "u95", "lead"}
CAUTION = "Predicted from the design alone: no test stands behind a score."


def trade(design: Design) -> TradeStudy:
    """Return the ranking of the options that a design names.

    Parameters
    ----------
    design : Design
        Criteria, weights and options under ``trade``.

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
    An option with another sensor is predicted whole: view, error, warning, power, cost
    and returns move together. What is unknown or impossible scores 0 and is noted.
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
    found = [_values(design, option, notes) for option in study.options]
    values = np.array([row for row, _ in found])
    possible = np.array([possible for _, possible in found])
    score = scores(
        values,
        worst=[float(one.worst) for one in study.criteria],
        best=[float(one.best) for one in study.criteria],
    )
    total = totals(score, weights=weights)
    names = [one.name for one in study.options]
    order = np.argsort(-total, kind="stable").tolist()
    unknown = np.isnan(values) & possible[:, None]
    wins = _wins(design, score, weights, known=~unknown.any(axis=1))
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
        names[order[0]], names[order[1]], lead, rows, flips, tuple(notes), DRAWS, _spread(design)
    )


def _wins(
    design: Design,
    score: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    weights: list[float],
    *,
    known: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
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
        draws=DRAWS,
        generator=stream(design, name="trade"),
    )
    for at, one in zip(np.flatnonzero(known).tolist(), counts.tolist(), strict=True):
        shares[at] = (one / DRAWS, *clopper_pearson(one, DRAWS))
    return shares


def _at_best(
    names: list[str],
    score: np.ndarray[tuple[int, ...], np.dtype[np.float64]],
    weights: list[float],
    *,
    unknown: np.ndarray[tuple[int, ...], np.dtype[np.bool_]],
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


def _values(design: Design, option: Option, notes: list[str]) -> tuple[list[float], bool]:
    """Return the value by each criterion, and whether the option is possible at all."""
    entered = {one.criterion: float(one.value) for one in option.scores}
    needed = any(one.metric for one in design.trade.criteria)
    prediction = _predicted(design, option, notes) if needed else None
    silent = _silent(design, option, notes) if prediction is not None else frozenset()
    row = [
        math.nan
        if one.metric in silent
        else _value(option, one, entered=entered, prediction=prediction, notes=notes)
        for one in design.trade.criteria
    ]
    return row, prediction is not None or not needed


def _predicted(design: Design, option: Option, notes: list[str]) -> Prediction | None:
    try:
        if option.sensor is None:
            return predict(design)
        return predict(with_sensor(design, sensor=option.sensor, price=option.sensor_price))
    except TrivetError as error:
        notes.append(f"{option.name}: impossible: {error}")
        return None


def _silent(design: Design, option: Option, notes: list[str]) -> frozenset[str]:
    """Return the metrics that rest on what a card does not say; they are unknown, not as now."""
    changed = design if option.sensor is None else with_sensor(design, sensor=option.sensor)
    costs, found = design.costs, set[str]()
    cards = [one.card(head) for one in (design, changed) for head in one.heads]
    if option.sensor is not None and any(card.measure_w is None for card in cards):
        found |= {"battery_days"} | (MONEY if costs.returns_short_life_frac > 0.0 else set())
        notes.append(f"{option.name}: a card's draw is unknown, so are the days of a charge.")
    own = [changed.card(head) for head in changed.heads]
    if any(card.accuracy_delta_k is None and card.accuracy_gain_frac is None for card in own):
        found |= ERROR | (MONEY if costs.returns_blind_frac > 0.0 else set())
        notes.append(f"{option.name}: the card states no accuracy; what is measured is unknown.")
    return frozenset(found)


def _value(
    option: Option,
    criterion: Criterion,
    *,
    entered: dict[str, float],
    prediction: Prediction | None,
    notes: list[str],
) -> float:
    if criterion.metric is None:
        if criterion.name not in entered:
            raise InputError(f"trade: option {option.name!r} has no score of {criterion.name!r}")
        return entered[criterion.name]
    if prediction is None:
        return math.nan
    value = float(METRIC[criterion.metric](prediction))
    if math.isnan(value):
        notes.append(f"{option.name}: {criterion.name} is unknown and scores 0.")
    return value


def _best_views(prediction: Prediction, field: str) -> float:
    best = best_views(prediction.views).values()
    return min((float(getattr(view, field)) for view in best), default=math.nan)


def _measurable(prediction: Prediction) -> float:
    if not prediction.budgets:
        return math.nan
    return sum(one.measurable for one in prediction.budgets) / len(prediction.budgets)


def _u95(prediction: Prediction) -> float:
    known = [one.u95_k for one in prediction.budgets if one.measurable]
    return float(np.median(known)) if known else math.nan


def _lead(prediction: Prediction) -> float:
    """Return the shortest lead over the cases that physics allows; no trip leaves none."""
    cases = prediction.warning.cases if prediction.warning else ()
    open_ = [one for one in cases if one.outcome not in ("impossible", "ordinary cooking")]
    return min((0.0 if math.isnan(one.lead_s) else one.lead_s for one in open_), default=math.nan)


METRIC: dict[str, Callable[[Prediction], float]] = {
    "battery_days": lambda one: one.battery.days_p10,
    "contribution_frac": lambda one: one.economics.contribution_frac,
    "unit_cost": lambda one: float(one.economics.landed_cost),
    "npv": lambda one: float(one.economics.npv),
    "rim_in_view": lambda one: _best_views(one, "rim_in_view_frac"),
    "pixels_across": lambda one: _best_views(one, "pixels_across"),
    "measurable": _measurable,
    "u95": _u95,
    "range_headroom": lambda one: min((row.headroom_k for row in one.ranges), default=math.nan),
    "lead": _lead,
    "first_reading": lambda one: one.warning.first_reading_at_s(0.95) if one.warning else math.nan,
}
