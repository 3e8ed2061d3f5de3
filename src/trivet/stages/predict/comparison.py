"""Sensors under one design, or whole designs, side by side."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from trivet.errors import InputError, OutOfRangeError
from trivet.facts.parts import sensor_cards
from trivet.models.predicted import best_views
from trivet.records.comparison import (
    UNKNOWN,
    Cell,
    DesignComparison,
    Kind,
    Row,
    SensorComparison,
)
from trivet.records.design import Design
from trivet.records.prediction import Prediction
from trivet.records.sensorcard import SensorCard
from trivet.stages.predict import predict
from trivet.stages.predict.sensorcells import questions
from trivet.stages.predict.sensortrial import Trial, trial_of

NOTE = (
    "Every card hangs where the design's heads hang, behind their windows. Calculations from"
    " cards, not measurements; unknown is never zero."
)
DESIGN_NOTE = "Predictions of each design from itself alone; unknown is never zero."


def compare_sensors(design: Design) -> SensorComparison:
    """Return every sensor card of library and design under the design's mounts, side by side.

    Parameters
    ----------
    design : Design
        Mounts, windows, pans, limits; the card of its first head stands first.

    Returns
    -------
    SensorComparison
        Coverage, pixels across, whether a dark dry pan is measurable, error at 100 and
        230 C, range, drift after wake, life, bill, landed cost, returns and contribution;
        each cell names its calculation.

    Raises
    ------
    OutOfRangeError
        If a mount or a pan is impossible with every card.

    Notes
    -----
    Cards that an own lens or mount makes impossible show why in every cell.  The error is
    the larger 95 % half-width of the two methods, for the pan of highest emissivity, dry, at
    the burner where it is worst.  The life replaces the card's own draw in the design's
    power while measuring, which needs both cards' draws; the bill's sensor line takes the
    card's price; returns follow life and error.  A cell that rests on what a card does not
    say is unknown.

    References
    ----------
    The budgets, views and ledgers of :func:`trivet.stages.predict.predict`.
    """
    own = design.card(design.heads[0])
    cards = {own.name: own}
    cards |= {card.name: card for card in design.sensors}
    cards |= {name: card for name, card in sensor_cards().items() if name not in cards}
    tried = [_trial(design, card, own) for card in cards.values()]
    rows = tuple(
        Row(question, kind, tuple(_answer(one, ask) for one in tried))
        for question, kind, ask in questions(design)
    )
    return SensorComparison(design.project.name, tuple(cards), rows, NOTE)


def _trial(design: Design, card: SensorCard, own: SensorCard) -> Trial | Cell:
    """Return the design with a card in all heads, or why that is impossible."""
    try:
        return trial_of(design, card=card, own=own)
    except OutOfRangeError as error:
        return Cell(math.nan, f"impossible: {error}", f"sensors.{card.name}")


def _answer(tried: Trial | Cell, ask: Callable[[Trial], Cell]) -> Cell:
    return tried if isinstance(tried, Cell) else ask(tried)


def compare_designs(
    designs: Sequence[Design], *, predictions: Sequence[Prediction] | None = None
) -> DesignComparison:
    """Return the main answers of several designs side by side.

    Parameters
    ----------
    designs : sequence of Design
        At least two.
    predictions : sequence of Prediction, optional
        Those of the designs, where they are at hand; made here otherwise.

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

    References
    ----------
    :func:`trivet.stages.predict.predict`.
    """
    if len(designs) < 2:
        raise InputError(f"{len(designs)} design to compare; name at least two")
    found = tuple(predictions) if predictions is not None else tuple(map(predict, designs))
    if len(found) != len(designs):
        raise InputError(f"{len(found)} predictions of {len(designs)} designs; one each is needed")
    rows = tuple(
        Row(question, kind, tuple(map(ask, designs, found))) for question, kind, ask in _ANSWERS
    )
    return DesignComparison(_columns(designs), rows, DESIGN_NOTE)


def _columns(designs: Sequence[Design]) -> tuple[str, ...]:
    """Return the designs' names, numbered where two are the same."""
    names = [design.project.name for design in designs]
    return tuple(
        f"{name} ({at + 1})" if names.count(name) > 1 else name for at, name in enumerate(names)
    )


def _heads(design: Design, _: Prediction) -> Cell:
    text = ", ".join(f"{h.sensor} at {float(h.mount.height_m):.2f} m" for h in design.heads)
    return Cell(math.nan, text, "heads")


def _covered(_: Design, prediction: Prediction) -> Cell:
    unions = prediction.seeing.unions
    if not unions:
        return Cell(math.nan, UNKNOWN, "seeing.unions: not predicted")
    share = sum(bool(one.whole_by) for one in unions) / len(unions)
    return Cell(share, "", "share of seeing.unions with a head in whole_by")


def _margin(_: Design, prediction: Prediction) -> Cell:
    worst = min(best_views(prediction.views).values(), key=lambda view: view.margin_m)
    source = f"views[{worst.head}, {worst.burner}, {worst.pan}].margin_m"
    return Cell(worst.margin_m, "", source)


def _pixels(_: Design, prediction: Prediction) -> Cell:
    best = best_views(prediction.views).values()
    seen = [one for one in best if math.isfinite(one.pixels_across)]
    if not seen:
        return Cell(math.nan, "in no field", "views[*].pixels_across")
    worst = min(seen, key=lambda view: view.pixels_across)
    source = f"views[{worst.head}, {worst.burner}, {worst.pan}].pixels_across"
    return Cell(worst.pixels_across, "", source)


def _mounted(_: Design, prediction: Prediction) -> Cell:
    one = prediction.seeing.tolerance
    if one is None:
        return Cell(math.nan, UNKNOWN, "seeing.tolerance: not predicted")
    bounds = f"{one.low_frac:.2%} to {one.high_frac:.2%} at 95 %"
    return Cell(one.ok_frac, "", f"seeing.tolerance: {one.ok_draws} of {one.draws}, {bounds}")


def _unseen(_: Design, prediction: Prediction) -> Cell:
    names = ", ".join(prediction.seeing.unseen) or "none"
    return Cell(math.nan, names, "seeing.unseen")


def _measurable(_: Design, prediction: Prediction) -> Cell:
    budgets = prediction.budgets
    share = sum(one.measurable for one in budgets) / len(budgets) if budgets else math.nan
    return Cell(share, "" if budgets else UNKNOWN, "share of budgets[*].measurable")


def _error(_: Design, prediction: Prediction) -> Cell:
    good = [one for one in prediction.budgets if one.measurable]
    if not good:
        return Cell(math.nan, "not measurable", "budgets: none is measurable")
    worst = max(good, key=lambda one: one.u95_k)
    where = f"budgets[{worst.base}, {worst.pan}, {worst.temperature_k:.0f} K].u95_k"
    return Cell(worst.u95_k, "", f"{where}: {worst.reason}")


def _headroom(_: Design, prediction: Prediction) -> Cell:
    if not prediction.ranges:
        return Cell(math.nan, "no limit", "ranges: the design states no limit")
    blind = [one for one in prediction.ranges if math.isnan(one.headroom_k)]
    if blind:
        source = f"ranges[{blind[0].head}]: the card states no range"
        return Cell(math.nan, UNKNOWN, source)
    worst = min(prediction.ranges, key=lambda one: one.headroom_k)
    return Cell(worst.headroom_k, "", f"ranges[{worst.head}, {worst.limit}].headroom_k")


def _lead(_: Design, prediction: Prediction) -> Cell:
    if not prediction.margins:
        return Cell(math.nan, "no alert", "margins: no alert has a limit")
    known = [one for one in prediction.margins if math.isfinite(one.lead_s)]
    if len(known) < len(prediction.margins):
        return Cell(math.nan, UNKNOWN, "margins: a lead is not known")
    worst = min(known, key=lambda one: one.lead_s)
    return Cell(worst.lead_s, "", f"margins[{worst.alert}, {worst.rate_kps:g} K/s].lead_s")


def _days(_: Design, prediction: Prediction) -> Cell:
    life = prediction.battery
    ends = f"P10 {life.days_p10:.0f}, P90 {life.days_p90:.0f}"
    return Cell(life.days_p50, "", f"battery.days_p50; {ends}")


def _money(field: str) -> Callable[[Design, Prediction], Cell]:
    def ask(_: Design, prediction: Prediction) -> Cell:
        money = prediction.economics
        amount: str = getattr(money, field)
        return Cell(float(amount), f"{amount} {money.currency}", f"economics.{field}")

    return ask


def _units(_: Design, prediction: Prediction) -> Cell:
    units = prediction.economics.break_even_units
    source = "economics.break_even_units"
    return Cell(math.nan, "never", source) if units is None else Cell(float(units), "", source)


_ANSWERS: tuple[tuple[str, Kind, Callable[[Design, Prediction], Cell]], ...] = (
    ("heads", "words", _heads),
    ("pans covered, of all pans on all burners", "fraction", _covered),
    ("least margin of a rim", "length", _margin),
    ("all covered as mounted, probability", "fraction", _mounted),
    ("burners seen by no head", "words", _unseen),
    ("fewest pixels across a pan", "number", _pixels),
    ("cases that are measurable", "fraction", _measurable),
    ("widest 95 % error of a measurable case", "difference", _error),
    ("least range headroom over a limit", "difference", _headroom),
    ("least lead of an alert", "time", _lead),
    ("days of a charge, P50", "days", _days),
    ("contribution of a unit", "money", _money("contribution")),
    ("break-even units", "number", _units),
    ("cash trough", "money", _money("cash_trough")),
)
