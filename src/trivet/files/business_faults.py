"""What a design must satisfy in energy and money beyond its shape."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel, ValidationError

from trivet.errors import Fault, InputError, nearest
from trivet.facts.parts import cell_kind, sensor_cards
from trivet.files.tomlfile import Path, TomlFile
from trivet.physics.economics.ledger import PriceBreak, overlap
from trivet.physics.economics.payload import BitField, payload_bytes
from trivet.records.business import Costs
from trivet.records.energy import Battery, Radio
from trivet.records.figures import Money
from trivet.records.trade import Trade
from trivet.units import show_temperature


def business_faults(toml: TomlFile) -> Iterator[Fault]:
    """Yield every fault of energy, money and trade study in a design file.

    Parameters
    ----------
    toml : TomlFile
        The file as read; parts that are unsound in shape are passed over.

    Yields
    ------
    Fault
        With file, line and key.
    """
    for check in (_battery, _diary, _radio, _goods, _channel, _terms, _currency, _trade):
        yield from check(toml)


def _read(toml: TomlFile, key: str, model: type[Any]) -> Any:
    try:
        return model.model_validate(toml.content.get(key))
    except ValidationError:
        return None


def _battery(toml: TomlFile) -> Iterator[Fault]:
    battery: Battery | None = _read(toml, "battery", Battery)
    if battery is None:
        return
    if battery.message_j is None and "radio" not in toml.content:
        allowed = "message = '0.03 mJ', or a [radio] table"
        yield toml.fault(("battery", "message"), "nothing says what a message costs", allowed)
    kind, limit = cell_kind(battery.chemistry), battery.temperature_limit_k
    if kind.name.startswith("lithium") and limit > kind.high_k + 1e-6:
        found = f"{limit.text} for {kind.name} cells"
        allowed = f"at most {show_temperature(kind.high_k)}: a hard stop of lithium cells"
        yield toml.fault(("battery", "temperature_limit"), found, allowed)
    if not battery.duty_cycle_s > 0.0:
        yield toml.fault(("battery", "duty_cycle"), battery.duty_cycle_s.text, "more than 0 s")


def _diary(toml: TomlFile) -> Iterator[Fault]:
    diary = toml.content.get("diary")
    if not isinstance(diary, dict):
        return
    hours = "cooking_per_day" in diary
    cooks = "cooks_per_day" in diary and "cook" in diary
    if hours and cooks:
        found = "hours a day beside cooks a day and the time of each"
        yield toml.fault(("diary", "cooking_per_day"), found, "one of the two")
    if not hours and not cooks:
        allowed = "cooking_per_day, or cooks_per_day and cook"
        yield toml.fault(("diary",), "nothing says how much is cooked", allowed)


def _radio(toml: TomlFile) -> Iterator[Fault]:
    radio: Radio | None = _read(toml, "radio", Radio)
    if radio is None:
        return
    names: set[str] = set()
    for at, one in enumerate(radio.fields):
        place: Path = ("radio", "fields", at)
        if one.name in names:
            yield toml.fault((*place, "name"), f"{one.name!r} stands twice", "a name of its own")
        names.add(one.name)
        try:
            payload_bytes(
                [BitField(one.name, one.bits, float(one.low), float(one.high), float(one.step))]
            )
        except InputError as error:
            yield toml.fault((*place, "bits"), str(error), "more bits, or a coarser step")


def _goods(toml: TomlFile) -> Iterator[Fault]:
    raw = toml.content.get("costs")
    if not isinstance(raw, dict):
        return
    if ("unit_cost" in raw) == ("bill" in raw):
        found = "unit_cost beside a bill" if "bill" in raw else "nothing says what the goods cost"
        yield toml.fault(("costs", "unit_cost"), found, "unit_cost, or [[costs.bill]], not both")
    costs: Costs | None = _read(toml, "costs", Costs)
    for at, line in enumerate(costs.bill if costs else ()):
        place: Path = ("costs", "bill", at)
        if line.price is None and not line.sensor:
            yield toml.fault((*place, "price"), f"no price of {line.name!r}", "an amount")
        elif line.price is None:
            for name in _priceless(toml):
                found = f"no price of {line.name!r}, and sensor card {name!r} states none"
                yield toml.fault((*place, "price"), found, "an amount, e.g. price = '31.00 USD'")
        breaks = [PriceBreak(one.at_least, one.at_most, one.price.amount) for one in line.breaks]
        try:
            pair = overlap(breaks)
        except InputError as error:
            yield toml.fault((*place, "breaks"), str(error), "to at or above from")
            continue
        if pair is not None:
            found = f"breaks from {pair[0].at_least} and from {pair[1].at_least} overlap"
            yield toml.fault((*place, "breaks"), found, "one price for each size of an order")


def _priceless(toml: TomlFile) -> Iterator[str]:
    """Yield the heads' sensor cards that state no board price."""
    own = {str(one.get("name")): one for one in toml.content.get("sensors", []) if one}
    library = sensor_cards()
    for name in dict.fromkeys(str(one.get("sensor")) for one in toml.content.get("heads", [])):
        if name in own:
            if "board_price" not in own[name]:
                yield name
        elif name in library and library[name].board_price is None:
            yield name


def _channel(toml: TomlFile) -> Iterator[Fault]:
    costs: Costs | None = _read(toml, "costs", Costs)
    raw = toml.content.get("costs")
    if costs is None or not isinstance(raw, dict):
        return
    wanted = "channel_amount" if costs.channel_kind == "amount" else "channel"
    other = "channel" if wanted == "channel_amount" else "channel_amount"
    if wanted not in raw or other in raw:
        found = f"channel_kind = {costs.channel_kind!r} with {other if other in raw else 'nothing'}"
        yield toml.fault(("costs", "channel_kind"), found, f"the key {wanted!r} alone")


def _terms(toml: TomlFile) -> Iterator[Fault]:
    costs: Costs | None = _read(toml, "costs", Costs)
    if costs is None:
        return
    if costs.order_months > costs.launch_month:
        found = f"goods are ordered {costs.order_months} months ahead of sales that begin in month"
        yield toml.fault(
            ("costs", "order_months"), f"{found} {costs.launch_month}", "a later launch_month"
        )
    if not costs.life_s > 0.0:
        yield toml.fault(("costs", "life"), costs.life_s.text, "more than 0")
    if costs.cloud_month is not None and costs.cloud_months == 0:
        found = "a cloud cost a month for 0 months"
        yield toml.fault(("costs", "cloud_month"), found, "cloud_months of 1 or more")


def _currency(toml: TomlFile) -> Iterator[Fault]:
    costs: Costs | None = _read(toml, "costs", Costs)
    if costs is None:
        return
    wanted = costs.price.currency
    for path, money in (*_amounts(costs, ("costs",)), *_others(toml)):
        if money.currency != wanted:
            found = f"{money} beside a price in {wanted}"
            yield toml.fault(path, found, f"an amount in {wanted}")


def _amounts(part: BaseModel, path: Path) -> Iterator[tuple[Path, Money]]:
    for name, field in type(part).model_fields.items():
        value, below = getattr(part, name), (*path, field.alias or name)
        if isinstance(value, Money):
            yield below, value
        elif isinstance(value, tuple):
            for at, one in enumerate(value):
                if isinstance(one, BaseModel):
                    yield from _amounts(one, (*below, at))


def _others(toml: TomlFile) -> Iterator[tuple[Path, Money]]:
    from trivet.records.business import Alternative

    for at, entry in toml.entries("alternatives"):
        try:
            yield from _amounts(Alternative.model_validate(entry), ("alternatives", at))
        except ValidationError:
            continue


def _trade(toml: TomlFile) -> Iterator[Fault]:
    trade: Trade | None = _read(toml, "trade", Trade)
    if trade is None:
        return
    total = sum(float(one.weight_frac) for one in trade.criteria)
    if trade.criteria and abs(total - 1.0) > 1e-9:
        found = f"the weights sum to {total:g}"
        yield toml.fault(("trade", "criteria"), found, "a sum of 1, so that nothing is forgotten")
    if bool(trade.criteria) != bool(trade.options) or len(trade.options) == 1:
        found = f"{len(trade.criteria)} criteria and {len(trade.options)} options"
        yield toml.fault(("trade",), found, "at least one criterion and two options")
    for key in ("criteria", "options"):
        names = [one.name for one in getattr(trade, key)]
        for at, name in enumerate(names):
            if name in names[:at]:
                yield toml.fault(
                    ("trade", key, at, "name"), f"{name!r} stands twice", "a name of its own"
                )
    entered = [one.name for one in trade.criteria if one.metric is None]
    known = (*toml.names("sensors"), *sensor_cards())
    for at, option in enumerate(trade.options):
        place: Path = ("trade", "options", at)
        if option.sensor is not None and option.sensor not in known:
            found = f"no sensor card {option.sensor!r}"
            yield toml.fault((*place, "sensor"), found, nearest(option.sensor, known))
        given = [one.criterion for one in option.scores]
        if sorted(given) != sorted(entered):
            found = f"scores of {', '.join(given) or 'nothing'}"
            allowed = f"one score of each: {', '.join(entered) or 'none, all have metrics'}"
            yield toml.fault((*place, "scores"), found, allowed)
