"""What a design must satisfy across its parts: names that exist, geometry and money that can be.

The rules of a single part stand beside its record.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import Any

import numpy as np
from pydantic import BaseModel

from trivet.errors import Fault, InputError, QuantityError, nearest
from trivet.facts.contents import oil_limits
from trivet.facts.pans import material, surface
from trivet.facts.parts import cell_kind, sensor_cards
from trivet.files.rules import (
    Parts,
    of_kind,
    places,
    rule_faults,
    sound_parts,
    twice_faults,
    undefined,
)
from trivet.files.tomlfile import Path, TomlFile
from trivet.physics.economics.ledger import PriceBreak, overlap
from trivet.physics.economics.payload import BitField, payload_bytes
from trivet.records.business import BillLine, Costs
from trivet.records.design import Burner, Cooktop, Design, Pan
from trivet.records.energy import Battery, PayloadField
from trivet.records.figures import Money, file_key
from trivet.records.product import TERM_NAMES, DeclaredCorrelation
from trivet.records.sensorcard import Mount
from trivet.scoring.registry import REQUIRABLE
from trivet.units import parse_quantity, show_length, show_temperature

Finding = tuple[Path, str, str]
"""Place, what was found, what is allowed."""
NAMED = (
    *(
        f"{table}[{{}}].name"
        for table in ("burners", "heads", "sensors", "pans", "bases", "bands", "limits", "alerts")
    ),
    "requirements[{}].id",
    "options[{}].name",
)
LIBRARY: dict[str, Callable[[str], object]] = {
    "pans[].material": material,
    "pans[].layers[].material": material,
    "pans[].finish": surface,
    "bases[].oil": oil_limits,
    "cooktop.surface": surface,
}


def design_faults(toml: TomlFile) -> tuple[Fault, ...]:
    """Return every fault of a design file beyond its shape."""
    found = dict(sound_parts(Design, toml.content))
    checks = (
        _library_names,
        _options,
        _burner_places,
        _sizes,
        _requirements,
        _correlations,
        _battery,
        _payload,
        _bill,
        _currency,
        _search,
    )
    return (
        *twice_faults(toml, *NAMED),
        *undefined(toml, _links(toml)),
        *rule_faults(toml, found),
        *(toml.fault(*one) for check in checks for one in check(toml.content, found)),
    )


def _links(toml: TomlFile) -> dict[str, tuple[str, ...]]:
    """Return the names that may stand at each key that refers to another part."""
    bases, pans, heads = (toml.names(key) for key in ("bases", "pans", "heads"))
    cards = (*toml.names("sensors"), *sensor_cards())
    return {
        "heads[].sensor": cards,
        "bands[].bases": bases,
        "alerts[].limit": toml.names("limits"),
        "alerts[].bases": bases,
        "requirements[].pans": pans,
        "requirements[].bases": bases,
        "requirements[].alert": toml.names("alerts"),
        "requirements[].band": toml.names("bands"),
        "surroundings.mirrored[].follows": ("", "hood", "lamp", *toml.names("burners")),
        "surroundings.steam.bases": bases,
        "correlations[].first": TERM_NAMES,
        "correlations[].second": TERM_NAMES,
        "trade.options[].sensor": cards,
        "search.head": ("", *heads),
        "search.others[].head": ("", *heads),
        "search.pans": pans,
        "search.sensors": cards,
    }


def _library_names(content: dict[str, Any], _: Parts) -> Iterator[Finding]:
    for pattern, look_up in LIBRARY.items():
        for path, name in places(content, pattern):
            try:
                look_up(str(name))
            except InputError as error:
                yield path, f"{name!r} is not in the library", str(error)


def _options(content: dict[str, Any], _: Parts) -> Iterator[Finding]:
    known = [field.alias or file_key(name) for name, field in Design.model_fields.items()]
    for path, keys in places(content, "options[].set"):
        for key in keys if isinstance(keys, dict) else ():
            first = key.split(".")[0]
            if first not in known:
                yield (*path, key), f"no key {first!r} in a design", nearest(first, known)


def _burner_places(_: dict[str, Any], found: Parts) -> Iterator[Finding]:
    burners = of_kind(found, Burner)
    for (_path, one), (path, two) in combinations(burners, 2):
        apart = math.hypot(one.x_m - two.x_m, one.y_m - two.y_m)
        needed = (one.ring_diameter_m + two.ring_diameter_m) / 2
        if apart < needed:
            what = f"{two.name!r} overlaps {one.name!r}: centres {show_length(apart)} apart"
            yield path, what, f"at least {show_length(needed)}"
    for _path, cooktop in of_kind(found, Cooktop):
        for path, burner in burners:
            ring = burner.ring_diameter_m / 2
            sides = (("x", burner.x_m, cooktop.width_m), ("y", burner.y_m, cooktop.depth_m))
            for key, place, size in sides:
                if abs(place) + ring > size / 2:
                    what = f"{place.text}: the ring reaches beyond the cooktop's edge"
                    room = show_length(max(size / 2 - ring, 0.0))
                    yield (*path, key), what, f"within {room} of the centre"


def _sizes(_: dict[str, Any], found: Parts) -> Iterator[Finding]:
    """Yield pans that are larger than the cooktop, and heads that hang within one."""
    pans = of_kind(found, Pan)
    for _path, cooktop in of_kind(found, Cooktop):
        room = min(cooktop.width_m, cooktop.depth_m)
        for path, pan in pans:
            if pan.diameter_m > room:
                what = f"{pan.diameter_m.text} is larger than the cooktop"
                yield (*path, "diameter"), what, f"at most {show_length(room)}"
    rims = {pan.name: pan.thickness_m + pan.depth_m for _, pan in pans}
    tallest = max(rims, key=rims.__getitem__, default="")
    for path, mount in of_kind(found, Mount):
        if mount.height_m <= rims.get(tallest, 0.0):
            what = f"{mount.height_m.text} is not above the rim of {tallest!r}"
            allowed = f"over {show_length(rims[tallest])} above the cooktop plane"
            yield (*path, "height"), what, allowed


def _requirements(content: dict[str, Any], _: Parts) -> Iterator[Finding]:
    """Yield requirements of no registered metric, without a limit, or with one of another kind."""
    for path, entry in places(content, "requirements"):
        if not isinstance(entry, dict):
            continue
        name, limit = entry.get("metric"), entry.get("limit")
        if name == "range_headroom" and not list(places(content, "limits[].name")):
            yield path, "range_headroom without a limit", "a [[limits]] entry"
        if not isinstance(name, str) or not isinstance(limit, str):
            continue
        if name not in REQUIRABLE:
            yield (*path, "metric"), f"metric {name!r}", ", ".join(REQUIRABLE)
            continue
        kind = REQUIRABLE[name].unit
        try:
            parse_quantity(limit, kind)
        except QuantityError as error:
            yield (*path, "limit"), str(error), f"a {kind} with its unit"


def _correlations(_: dict[str, Any], found: Parts) -> Iterator[Finding]:
    pairs = [pair for _path, pair in of_kind(found, DeclaredCorrelation)]
    names = sorted({name for pair in pairs for name in (pair.first, pair.second)})
    matrix = np.eye(len(names))
    for pair in pairs:
        a, b = names.index(pair.first), names.index(pair.second)
        if a != b:
            matrix[a, b] = matrix[b, a] = pair.coefficient
    if names and np.linalg.eigvalsh(matrix)[0] < -1e-9:
        allowed = "a matrix without negative variance"
        yield ("correlations",), "coefficients that contradict one another", allowed


def _battery(content: dict[str, Any], found: Parts) -> Iterator[Finding]:
    for path, battery in of_kind(found, Battery):
        if battery.message_j is None and "radio" not in content:
            allowed = "message = '0.03 mJ', or a [radio] table"
            yield (*path, "message"), "nothing says what a message costs", allowed
        kind, limit = cell_kind(battery.chemistry), battery.temperature_limit_k
        if kind.name.startswith("lithium") and limit > kind.high_k + 1e-6:
            allowed = f"at most {show_temperature(kind.high_k)}: a hard stop of lithium cells"
            yield (*path, "temperature_limit"), f"{limit.text} for {kind.name} cells", allowed


def _payload(_: dict[str, Any], found: Parts) -> Iterator[Finding]:
    for path, one in of_kind(found, PayloadField):
        field = BitField(one.name, one.bits, float(one.low), float(one.high), float(one.step))
        try:
            payload_bytes([field])
        except InputError as error:
            yield (*path, "bits"), str(error), "more bits, or a coarser step"


def _bill(content: dict[str, Any], found: Parts) -> Iterator[Finding]:
    for path, line in of_kind(found, BillLine):
        for name in _priceless(content) if line.sensor and line.price is None else ():
            what = f"no price of {line.name!r}, and sensor card {name!r} states none"
            yield (*path, "price"), what, "an amount, e.g. price = '31.00 USD'"
        breaks = [PriceBreak(one.at_least, one.at_most, one.price.amount) for one in line.breaks]
        try:
            pair = overlap(breaks)
        except InputError as error:
            yield (*path, "breaks"), str(error), "to at or above from"
            continue
        if pair is not None:
            what = f"breaks from {pair[0].at_least} and from {pair[1].at_least} overlap"
            yield (*path, "breaks"), what, "one price for each size of an order"


def _priceless(content: dict[str, Any]) -> Iterator[str]:
    """Yield the heads' sensor cards that state no board price."""
    prices: dict[str, object] = {name: card.board_price for name, card in sensor_cards().items()}
    for _, card in places(content, "sensors"):
        if isinstance(card, dict):
            prices[str(card.get("name"))] = card.get("board_price")
    for name in dict.fromkeys(str(name) for _, name in places(content, "heads[].sensor")):
        if name in prices and prices[name] is None:
            yield name


def _currency(_: dict[str, Any], found: Parts) -> Iterator[Finding]:
    for _path, costs in of_kind(found, Costs):
        wanted = costs.price.currency
        for path, part in found.items():
            money = path[:1] in (("costs",), ("alternatives",), ("end_of_line",))
            for key, amount in _amounts(part) if money else ():
                if amount.currency != wanted:
                    what = f"{amount} beside a price in {wanted}"
                    yield (*path, key), what, f"an amount in {wanted}"


def _amounts(part: BaseModel) -> Iterator[tuple[str, Money]]:
    for name, field in type(part).model_fields.items():
        value = getattr(part, name)
        if isinstance(value, Money):
            yield field.alias or name, value


def _search(content: dict[str, Any], _: Parts) -> Iterator[Finding]:
    """Yield figures of the pose search that leave nothing to search."""
    for move in ("search", "search.others[]"):
        for key in ("x", "y", "height", "tilt", "pan", "roll"):
            for path, value in places(content, f"{move}.{key}"):
                if not (isinstance(value, dict) and "low" in value):
                    allowed = "a figure with low and high, or leave it out to keep the mount's"
                    yield path, "no range to search", allowed
