"""Predict what a design can see, how wrong it can be, how soon it warns, how long it lasts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from trivet.errors import TrivetError
from trivet.models.predicted import prediction_stream
from trivet.records.business_result import UNKNOWN_LIFE, UNKNOWN_MONEY
from trivet.records.design import Design
from trivet.records.prediction import (
    Budget,
    PartialPrediction,
    Prediction,
    PredictionAsked,
    PredictionPart,
)
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.cautions import assumed_figures, cautions_of
from trivet.stages.predict.margins import alert_margins, range_checks
from trivet.stages.predict.money import economics
from trivet.stages.predict.population import unit_population
from trivet.stages.predict.readings import Wanted, error_budgets, wanted_budgets
from trivet.stages.predict.seeing import seeing_of, sight_cautions
from trivet.stages.predict.views import Seen, seen_by
from trivet.stages.predict.warning import warning_cautions, warning_timeline

__all__ = ["predict", "predict_parts"]


def predict(design: Design) -> Prediction:
    """Return everything that a design alone says; no recording is visible to it.

    Parameters
    ----------
    design : Design
        The design, with the cards of its sensors.

    Returns
    -------
    Prediction
        Views, error budgets, ranges, alert margins, battery, money, what is assumed,
        cautions.  The same design gives the same bytes.

    Raises
    ------
    OutOfRangeError
        If a lens, mount, pan or figure is impossible.
    InputError
        If a pan's finish is unknown, or amounts are in several currencies.

    Notes
    -----
    At 230 C on a dark pan of a 32 x 24 array at 0.70 m the window's transmittance
    (0.03) costs 5 K, the sensor's gain (2 %) 4 K, an emissivity 0.03 off 5 K; with
    all terms the 95 % half-width is about 9 K.

    References
    ----------
    JCGM 100:2008 and JCGM 101:2008 for the budgets.
    """
    seen = seen_by(design)
    made: dict[str, Any] = {}
    for name, part in _PARTS.items():
        made[name] = part.make(design, seen, made, True)
    assumed, cautions = assumed_figures(design), _cautions(design, seen, made)
    return Prediction(views=seen.views, assumed=assumed, cautions=cautions, **made)


def predict_parts(design: Design, *, asked: PredictionAsked) -> PartialPrediction:
    """Return the parts of a prediction that are asked for; one that fails leaves the others.

    Parameters
    ----------
    design : Design
        The design, with the cards of its sensors.
    asked : PredictionAsked
        Parts, cases to budget, and what cannot be known of this design.

    Returns
    -------
    PartialPrediction
        The figures of :func:`predict`, but for the shares of the variance and the draws
        of money, which are not made.

    Raises
    ------
    OutOfRangeError
        If a lens, mount or pan is impossible, so that nothing can be predicted.
    """
    seen = seen_by(design)
    made: dict[str, Any] = {"battery": UNKNOWN_LIFE, "economics": UNKNOWN_MONEY}
    made |= {"budgets": (), "ranges": (), "margins": ()}
    missing = dict(asked.unknown)
    wanted = set(asked.parts) | {need for one in asked.parts for need in _PARTS[one].needs}
    for name, part in _PARTS.items():
        if name not in wanted or name in missing:
            continue
        faults = [missing[need] for need in part.needs if need in missing.keys() - asked.unknown]
        try:
            if faults:
                missing[name] = faults[0]
            else:
                made[name] = part.make(design, seen, made, False)
        except TrivetError as error:
            missing[name] = str(error)
    prediction = Prediction(views=seen.views, assumed=(), cautions=(), **made)
    return PartialPrediction(prediction, _cases(design, seen, asked), missing)


def _cases(design: Design, seen: Seen, asked: PredictionAsked) -> tuple[Budget, ...]:
    wanted = [
        Wanted(design.base(one.base), design.pan(one.pan), one.temperature_k) for one in asked.cases
    ]
    return error_budgets(design, seen=seen, wanted=wanted, part="comparison")


@dataclass(frozen=True)
class _Part:
    """How a part is made of design, views and the parts before it, and what it rests on."""

    make: Callable[[Design, Seen, dict[str, Any], bool], Any]
    needs: tuple[PredictionPart, ...] = ()


def _seeing(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return seeing_of(design, seen=seen)


def _budgets(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return error_budgets(design, seen=seen, wanted=wanted_budgets(design), shared=whole)


def _ranges(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return range_checks(design, eyes=seen.eyes)


def _margins(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return alert_margins(design, seen=seen)


def _battery(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return battery_days(design, generator=prediction_stream(design, name="battery"))


def _population(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    return unit_population(design, seen=seen, budgets=made["budgets"])


def _economics(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    """Money follows the life, what is measurable, and the units that pass the line."""
    passed_frac = 1.0
    if design.end_of_line is not None:
        units = made.get("population") or unit_population(design, seen=seen, budgets=())
        passed_frac = units.yield_frac
    return economics(
        design,
        life=made["battery"],
        budgets=made["budgets"],
        passed_frac=passed_frac,
        generator=prediction_stream(design, name="money") if whole else None,
    )


def _warning(design: Design, seen: Seen, made: dict[str, Any], whole: bool) -> Any:
    generator = prediction_stream(design, name="warning")
    return warning_timeline(design, seen=seen, margins=made["margins"], generator=generator)


_PARTS: dict[PredictionPart, _Part] = {
    "seeing": _Part(_seeing),
    "budgets": _Part(_budgets),
    "ranges": _Part(_ranges),
    "margins": _Part(_margins),
    "battery": _Part(_battery),
    "population": _Part(_population, needs=("budgets",)),
    "economics": _Part(_economics, needs=("budgets", "battery")),
    "warning": _Part(_warning),
}
"""The parts in the order in which they are made."""


def _cautions(design: Design, seen: Seen, made: dict[str, Any]) -> tuple[str, ...]:
    budgets, ranges, margins = (made[name] for name in ("budgets", "ranges", "margins"))
    return (
        *cautions_of(design, seen=seen, budgets=budgets, ranges=ranges, margins=margins),
        *sight_cautions(made["seeing"]),
        *warning_cautions(design, warning=made["warning"], life=made["battery"]),
    )
