"""Predict what a design can see, how wrong it can be, how soon it warns, how long it lasts."""

from __future__ import annotations

from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.stages.predict.assumptions import assumed_figures
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.cautions import cautions_of
from trivet.stages.predict.margins import alert_margins
from trivet.stages.predict.money import economics
from trivet.stages.predict.moneyfigures import made_cost
from trivet.stages.predict.population import unit_population
from trivet.stages.predict.ranges import range_checks
from trivet.stages.predict.readings import error_budgets, stream, wanted_budgets
from trivet.stages.predict.remedies import remedies
from trivet.stages.predict.seeing import seeing_of, sight_cautions
from trivet.stages.predict.views import seen_by
from trivet.stages.predict.warning import warning_cautions, warning_timeline

__all__ = ["predict", "remedies"]


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
    seeing = seeing_of(design, seen=seen)
    budgets = error_budgets(design, seen=seen, wanted=wanted_budgets(design))
    ranges = range_checks(design, eyes=seen.eyes)
    margins = alert_margins(design, seen=seen)
    life = battery_days(design, generator=stream(design, name="battery"))
    units = unit_population(
        design,
        seen=seen,
        budgets=budgets,
        made_cost="0" if design.end_of_line is None else made_cost(design),
    )
    money = economics(
        design,
        life=life,
        budgets=budgets,
        passed_frac=units.yield_frac,
        generator=stream(design, name="money"),
    )
    warning = warning_timeline(
        design, seen=seen, margins=margins, generator=stream(design, name="warning")
    )
    return Prediction(
        views=seen.views,
        budgets=budgets,
        ranges=ranges,
        margins=margins,
        battery=life,
        economics=money,
        assumed=assumed_figures(design),
        cautions=(
            *cautions_of(design, seen=seen, budgets=budgets, ranges=ranges, margins=margins),
            *sight_cautions(seeing),
            *warning_cautions(design, warning=warning, life=life),
        ),
        population=units,
        seeing=seeing,
        warning=warning,
    )
