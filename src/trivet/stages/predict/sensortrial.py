"""One sensor card in place of the design's own, with everything that hangs on it moved along."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from trivet.errors import TrivetError
from trivet.models.variants import power_moved
from trivet.records.business_result import BatteryLife, Economics
from trivet.records.design import Design
from trivet.records.figures import Figure, Money
from trivet.records.prediction import Budget
from trivet.records.sensorcard import SensorCard
from trivet.stages.predict.battery import battery_days
from trivet.stages.predict.money import economics
from trivet.stages.predict.moneyfigures import made_cost
from trivet.stages.predict.population import unit_population
from trivet.stages.predict.readings import error_budgets, stream, wanted_budgets
from trivet.stages.predict.views import Seen, seen_by


def spec_words(name: str, value: object) -> str:
    """Return a specification as its file writes it; ``unknown`` where the card is silent."""
    text = value.text if isinstance(value, Figure) else str(value)
    return f"{name} = {text or 'unknown'}" if value is not None else f"{name} = unknown"


@dataclass(frozen=True, eq=False)
class Trial:
    """One card in place of the design's own: the design with it, and what is seen then."""

    card: SensorCard
    own: SensorCard
    """The card that the design uses."""
    design: Design
    """With the card in all heads, its price in the bill and its draw in the power."""
    seen: Seen
    unpowered: str
    """Why the power cannot follow the card; empty where it does."""
    price_source: str
    """Where the price of the sensor in the bill is from."""

    @cached_property
    def budgets(self) -> tuple[Budget, ...]:
        """Error budgets of every case of the design."""
        wanted = wanted_budgets(self.design)
        return error_budgets(self.design, seen=self.seen, wanted=wanted, shared=False)

    @cached_property
    def life(self) -> BatteryLife | str:
        """Days of a charge, or why they are not known."""
        if self.unpowered:
            return self.unpowered
        return battery_days(self.design, generator=stream(self.design, name="battery"))

    @cached_property
    def money(self) -> Economics | str:
        """What a unit earns, returns moved too; or why that is not known."""
        costs, card = self.design.costs, self.card
        life = self.life
        if isinstance(life, str) and costs.returns_short_life_frac > 0.0:
            return f"returns for short life follow the days: {life}"
        silent = card.accuracy_delta_k is None and card.accuracy_gain_frac is None
        if silent and costs.returns_blind_frac > 0.0:
            return "returns for blind readings follow the error: the card states no accuracy"
        if card.name != self.own.name and not any(line.sensor for line in costs.bill):
            return "costs.bill: no line is marked as the sensor, so that none can be exchanged"
        try:
            return economics(
                self.design,
                life=None if isinstance(life, str) else life,
                budgets=self.budgets,
                passed_frac=self._passed(),
            )
        except TrivetError as error:
            return str(error)

    def _passed(self) -> float:
        if self.design.end_of_line is None:
            return 1.0
        made = made_cost(self.design)
        units = unit_population(self.design, seen=self.seen, budgets=(), made_cost=made)
        return units.yield_frac


def trial_of(design: Design, *, card: SensorCard, own: SensorCard) -> Trial:
    """Return the design with a card in all heads, its draw and its price moved along.

    Parameters
    ----------
    design : Design
        As it stands.
    card : SensorCard
        The card to try.
    own : SensorCard
        The card that the design uses.

    Returns
    -------
    Trial
        What is not asked for is not computed.

    Raises
    ------
    OutOfRangeError
        If a lens or a mount is impossible with the card.

    Notes
    -----
    The bill's sensor line takes the price that an option of the trade study declares for
    the card, else the declared share of the card's board price; with neither the cost is
    unknown.
    """
    heads = tuple(head.model_copy(update={"sensor": card.name}) for head in design.heads)
    others = tuple(one for one in design.sensors if one.name != card.name)
    made = design.model_copy(update={"heads": heads, "sensors": (*others, card)})
    seen = seen_by(made)
    powered = power_moved(made, before=design)
    unpowered = ""
    if powered is None:
        unpowered = "a draw is unknown"
    elif not powered.battery.measure_w > 0.0:
        unpowered = "the design's power is below its own sensor's draw"
    made = made if powered is None else powered
    if all(head.sensor == card.name for head in design.heads):
        return Trial(card, own, made, seen, unpowered, _own_source(design, card))
    made, source = _priced(design, made, card)
    return Trial(card, own, made, seen, unpowered, source)


def _own_source(design: Design, card: SensorCard) -> str:
    line = next((one for one in design.costs.bill if one.sensor), None)
    if line is None:
        return "costs.unit_cost" if not design.costs.bill else "costs.bill: no line is the sensor"
    if line.price is not None:
        return f"costs.bill.{line.name}.price = {line.price}"
    return _share_words(line.board_share_frac, card)


def _share_words(share: Figure, card: SensorCard) -> str:
    said = "unknown" if card.board_price is None else str(card.board_price)
    return f"{share.text} of sensors.{card.name}.board_price = {said}"


def _priced(own: Design, made: Design, card: SensorCard) -> tuple[Design, str]:
    """Return the design with the card's price in the bill, and where that is from."""
    options = [one for one in own.trade.options if one.sensor == card.name and one.sensor_price]
    price: Money | None = options[0].sensor_price if options else None
    bill = tuple(
        line.model_copy(update={"price": price, "breaks": ()}) if line.sensor else line
        for line in made.costs.bill
    )
    line = next((one for one in bill if one.sensor), None)
    if price is not None:
        source = f"trade.options.{options[0].name}.sensor_price = {price}"
    elif line is not None:
        source = _share_words(line.board_share_frac, card)
    else:
        source = "costs.bill: no line is the sensor"
    costs = made.costs.model_copy(update={"bill": bill})
    return made.model_copy(update={"costs": costs}), source
