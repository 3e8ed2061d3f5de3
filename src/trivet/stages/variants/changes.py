"""Changed designs: another sensor card, keys set by an option, whole other designs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel, ValidationError

from trivet.errors import InputError
from trivet.facts.parts import card as library_card
from trivet.models.variants import power_moved, priced, with_sensor
from trivet.records.design import Design
from trivet.records.figures import Figure, file_key
from trivet.records.prediction import PredictionPart
from trivet.records.product import DesignOption
from trivet.records.sensorcard import SensorCard
from trivet.stages.variants.loop import Variant

NO_ACCURACY = "the card states no accuracy"


def spec_words(name: str, value: object) -> str:
    """Return a specification as its file writes it; ``unknown`` where the card is silent."""
    text = value.text if isinstance(value, Figure) else str(value)
    return f"{name} = {text or 'unknown'}" if value is not None else f"{name} = unknown"


def card_variant(design: Design, *, card: SensorCard) -> Variant:
    """Return the design with a card in all heads, its draw and its price moved along.

    Parameters
    ----------
    design : Design
        As it stands; its first head has its own card.
    card : SensorCard
        Of the design or of the library.

    Returns
    -------
    Variant
        The bill's sensor line takes the price that an option of the trade study declares
        for the card, else the declared share of the card's board price; with neither the
        cost is unknown.
    """
    changed = with_sensor(design, sensor=card.name)
    unknown = unknown_parts(changed, before=design)
    line = next((one for one in design.costs.bill if one.sensor), None)
    board = "unknown" if card.board_price is None else str(card.board_price)
    share = f"sensors.{card.name}.board_price = {board}"
    options = [one for one in design.trade.options if one.sensor == card.name and one.sensor_price]
    if line is None:
        price = "costs.bill: no line is marked as the sensor, so that none can be exchanged"
        if card.name != design.heads[0].sensor:
            unknown.setdefault("economics", price)
    elif changed is design and line.price is not None:
        price = f"costs.bill.{line.name}.price = {line.price}"
    elif changed is not design and options:
        changed = priced(changed, options[0].sensor_price)
        price = f"trade.options.{options[0].name}.sensor_price = {options[0].sensor_price}"
    else:
        changed = changed if changed is design else priced(changed, None)
        price = f"{line.board_share_frac.text} of {share}"
    return Variant(card.name, changed, unknown, {"price": price, "power": _power(design, card)})


def _power(design: Design, card: SensorCard) -> str:
    own = design.card(design.heads[0])
    if card.name == own.name:
        return ""
    return (
        f", moved from {spec_words(f'{own.name}.measure', own.measure_w)} to"
        f" {spec_words(f'{card.name}.measure', card.measure_w)}"
    )


def unknown_parts(design: Design, *, before: Design) -> dict[PredictionPart, str]:
    """Return the parts of a prediction that rest on what the cards of a design do not say.

    Parameters
    ----------
    design : Design
        With other sensors than before.
    before : Design
        As it stands.
    """
    found: dict[PredictionPart, str] = {}
    costs = design.costs
    if power_moved(design, before=before) is None:
        found["battery"] = "a draw is unknown"
    elif not design.battery.measure_w > 0.0:
        found["battery"] = "the design's power is below its own sensor's draw"
    if "battery" in found and costs.returns_short_life_frac > 0.0:
        found["economics"] = f"returns for short life follow the days: {found['battery']}"
    cards = [design.card(head) for head in design.heads]
    if any(card.accuracy_delta_k is None and card.accuracy_gain_frac is None for card in cards):
        found |= {"budgets": NO_ACCURACY, "margins": NO_ACCURACY}
        if costs.returns_blind_frac > 0.0:
            found["economics"] = f"returns for blind readings follow the error: {NO_ACCURACY}"
    return found


def option_variant(design: Design, *, option: DesignOption) -> Variant:
    """Return the design with an option's keys set, its power following the sensors' draws.

    The power stays as it is where the option itself sets it.
    """
    try:
        changed = changed_design(design, option=option)
    except InputError as error:
        return Variant(option.name, f"impossible: {error}")
    same = design.battery.measure_w == changed.battery.measure_w
    if not same or len(design.heads) != len(changed.heads):
        return Variant(option.name, changed)
    powered = power_moved(changed, before=design)
    if powered is not None:
        return Variant(option.name, powered)
    why = "the draw of a sensor card is not stated, so that the power cannot follow"
    return Variant(option.name, changed, {"battery": why, "economics": why})


def changed_design(design: Design, *, option: DesignOption) -> Design:
    """Return a design with an option's keys set; ranges and origins elsewhere are kept.

    Parameters
    ----------
    design : Design
        As it stands.
    option : DesignOption
        Keys and values as its file would write them.

    Raises
    ------
    InputError
        If a key does not exist or a value is not allowed; the key is named.
    """
    made = design
    for key, raw in option.set.items():
        try:
            made = _set(made, key.split("."), raw)
        except ValidationError as error:
            first = error.errors(include_url=False)[0]
            says = first.get("ctx", {}).get("found", first["msg"])
            raise InputError(f"option {option.name!r}: {key} = {raw!r}: {says}") from None
        except (KeyError, IndexError) as error:
            raise InputError(f"option {option.name!r}: {key}: no such key ({error})") from None
    names = {card.name for card in made.sensors}
    missing = {head.sensor for head in made.heads} - names
    cards = tuple(library_card(name) for name in sorted(missing))
    return made.model_copy(update={"sensors": (*made.sensors, *cards)})


def _set(value: Any, path: Sequence[str], raw: Any) -> Any:
    """Return a part of a design with what stands at a path replaced."""
    key, rest = path[0], path[1:]
    if isinstance(value, tuple):
        at = _position(value, key)
        return (*value[:at], _set(value[at], rest, raw) if rest else raw, *value[at + 1 :])
    if not isinstance(value, BaseModel):
        raise KeyError(key)
    name = next(
        (
            name
            for name, field in type(value).model_fields.items()
            if key in (name, field.alias or file_key(name))
        ),
        None,
    )
    if name is None:
        raise KeyError(key)
    inner = getattr(value, name)
    if rest and inner is None:
        new: Any = _nested(rest, raw)
    else:
        new = _set(inner, rest, raw) if rest else raw
    fields = {one: getattr(value, one) for one in type(value).model_fields}
    return type(value).model_validate({**fields, name: new})


def _nested(path: Sequence[str], raw: Any) -> Mapping[str, Any]:
    """Return tables within tables for a part that the design has not yet."""
    return {path[0]: raw if len(path) == 1 else _nested(path[1:], raw)}


def _position(items: tuple[Any, ...], key: str) -> int:
    """Return where an entry of a list stands, by place or by name."""
    if key.isdigit():
        if int(key) < len(items):
            return int(key)
        raise IndexError(key)
    for at, item in enumerate(items):
        if key in (getattr(item, "name", None), getattr(item, "id", None)):
            return at
    raise KeyError(key)
