"""A design with one thing exchanged, everything that hangs on it moved along."""

from __future__ import annotations

from trivet.facts.parts import card as library_card
from trivet.records.design import Design
from trivet.records.figures import Figure, Money


def with_sensor(design: Design, *, sensor: str, price: Money | None = None) -> Design:
    """Return a design whose heads all have another sensor.

    Parameters
    ----------
    design : Design
        As it stands.
    sensor : str
        Card of the design or of the library.
    price : Money, optional
        Price of one sensor in volume; replaces that of the bill's sensor lines.

    Returns
    -------
    Design
        The power while measuring is moved by the difference of both cards' draws, where
        both state one; the bill's sensor line follows the card by itself.

    Raises
    ------
    InputError
        If there is no such card.
    """
    if all(head.sensor == sensor for head in design.heads):
        return design
    known = {card.name: card for card in design.sensors}
    new = known.get(sensor) or library_card(sensor)
    heads = tuple(head.model_copy(update={"sensor": new.name}) for head in design.heads)
    others = tuple(card for card in design.sensors if card.name != new.name)
    made = design.model_copy(update={"heads": heads, "sensors": (*others, new)})
    made = power_moved(made, before=design) or made
    return made if price is None else priced(made, price)


def power_moved(design: Design, *, before: Design) -> Design | None:
    """Return a design whose power while measuring follows from its sensors' own draws.

    Parameters
    ----------
    design : Design
        With other sensors than before, and the power of before.
    before : Design
        With the sensors that its stated power is of; the same number of heads.

    Returns
    -------
    Design or None
        None where a card whose draw would be needed does not state it.
    """
    step = 0.0
    for one, two in zip(before.heads, design.heads, strict=True):
        old, new = before.card(one), design.card(two)
        if old.name == new.name:
            continue
        if old.measure_w is None or new.measure_w is None:
            return None
        step += float(new.measure_w) - float(old.measure_w)
    if step == 0.0:
        return design
    battery = design.battery
    moved = battery.model_copy(update={"measure_w": _moved(battery.measure_w, step)})
    return design.model_copy(update={"battery": moved})


def priced(design: Design, price: Money | None) -> Design:
    """Return a design whose bill has a price of the sensor; that of its card with None."""
    bill = tuple(
        line.model_copy(update={"price": price, "breaks": ()}) if line.sensor else line
        for line in design.costs.bill
    )
    return design.model_copy(update={"costs": design.costs.model_copy(update={"bill": bill})})


def _moved(figure: Figure, step: float) -> Figure:
    value = max(float(figure) + step, 0.0)
    low = None if figure.low is None else max(figure.low + step, 0.0)
    high = None if figure.high is None else max(figure.high + step, 0.0)
    text = f"{value * 1e3:.4g} mW"
    return Figure(
        value, low=low, high=high, origin=figure.origin, text=text, note="moved with the sensor"
    )
