"""What a design file must satisfy beyond its shape: names that exist, geometry that can be.

The checks work on whatever parts of the file are sound, so that a wrong unit in
one place does not hide a wrong name in another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import combinations
from typing import Any, TypeVar

from pydantic import ValidationError

from trivet.errors import Fault, InputError, QuantityError, nearest
from trivet.facts.parts import card as library_card
from trivet.facts.parts import sensor_cards
from trivet.files.business_faults import business_faults
from trivet.files.tomlfile import Path, TomlFile
from trivet.records.design import Base, Burner, Cooktop, Limit, Mount, Pan, TargetBand
from trivet.records.figures import Part
from trivet.records.sensorcard import SensorCard
from trivet.units import parse_quantity, show_length, show_temperature

P = TypeVar("P", bound=Part)
MAX_BOW_M = 0.02

_NAMED = (
    ("burners", "name"),
    ("heads", "name"),
    ("sensors", "name"),
    ("pans", "name"),
    ("bases", "name"),
    ("bands", "name"),
    ("limits", "name"),
    ("alerts", "name"),
    ("requirements", "id"),
)
_LINKS = (
    ("bands", "bases", "bases"),
    ("alerts", "limit", "limits"),
    ("alerts", "bases", "bases"),
    ("requirements", "pans", "pans"),
    ("requirements", "bases", "bases"),
    ("requirements", "alert", "alerts"),
    ("requirements", "band", "bands"),
)


def parts(toml: TomlFile, key: str, model: type[P]) -> Iterator[tuple[int, P]]:
    """Yield index and record of each sound entry of an array of tables."""
    for at, entry in toml.entries(key):
        try:
            yield at, model.model_validate(entry)
        except ValidationError:
            continue


def single(toml: TomlFile, key: str, model: type[P]) -> P | None:
    """Return the record of one table, or None where it is missing or unsound."""
    try:
        return model.model_validate(toml.content.get(key))
    except ValidationError:
        return None


def design_faults(toml: TomlFile) -> tuple[Fault, ...]:
    """Return every fault of names and geometry in a design file."""
    checks = (
        _duplicates,
        _links,
        _metrics,
        _sensors,
        _library_names,
        _burners,
        _pans,
        _mounts,
        _ranges,
        business_faults,
        _search,
    )
    return tuple(fault for check in checks for fault in check(toml))


def duplicate_faults(toml: TomlFile, key: str, field: str) -> Iterator[Fault]:
    """Yield a fault for each entry whose name an earlier one has."""
    seen: dict[str, int] = {}
    for at, entry in toml.entries(key):
        name = entry.get(field)
        if not isinstance(name, str):
            continue
        if name in seen:
            found = f"{name!r} is already the {field} of {key}[{seen[name]}]"
            yield toml.fault((key, at, field), found, "a name of its own")
        seen.setdefault(name, at)


def link_faults(toml: TomlFile, path: Path, value: Any, known: tuple[str, ...]) -> Iterator[Fault]:
    """Yield a fault for each name of a text or list of texts that is not known."""
    if isinstance(value, str) and value not in known:
        yield toml.fault(path, f"{value!r} is not defined", nearest(value, known))
    if isinstance(value, list):
        for at, one in enumerate(value):
            if isinstance(one, str):
                yield from link_faults(toml, (*path, at), one, known)


def _duplicates(toml: TomlFile) -> Iterator[Fault]:
    for key, field in _NAMED:
        yield from duplicate_faults(toml, key, field)


def _links(toml: TomlFile) -> Iterator[Fault]:
    for key, field, target in _LINKS:
        known = toml.names(target)
        for at, entry in toml.entries(key):
            yield from link_faults(toml, (key, at, field), entry.get(field), known)
    around = toml.content.get("surroundings")
    mirrored = around.get("mirrored") if isinstance(around, dict) else None
    for at, thing in enumerate(mirrored if isinstance(mirrored, list) else []):
        if isinstance(thing, dict) and thing.get("follows"):
            known = ("hood", "lamp", *toml.names("burners"))
            path = ("surroundings", "mirrored", at, "follows")
            yield from link_faults(toml, path, thing["follows"], known)
    for at, entry in toml.entries("requirements"):
        metric = entry.get("metric")
        if metric in ("lead_time", "missed_alerts") and "alert" not in entry:
            allowed = "alert = NAME, " + nearest("", toml.names("alerts"))
            yield toml.fault(("requirements", at), f"{metric} names no alert", allowed)
        if metric == "range_headroom" and not toml.names("limits"):
            yield toml.fault(
                ("requirements", at), "range_headroom without a limit", "a [[limits]] entry"
            )


def _metrics(toml: TomlFile) -> Iterator[Fault]:
    """Yield the requirements that name no registered metric, or a limit of another kind."""
    from trivet.scoring.registry import REQUIRABLE

    for at, entry in toml.entries("requirements"):
        name, limit = entry.get("metric"), entry.get("limit")
        if not isinstance(name, str) or not isinstance(limit, str):
            continue
        if name not in REQUIRABLE:
            found, allowed = f"metric {name!r}", ", ".join(REQUIRABLE)
            yield toml.fault(("requirements", at, "metric"), found, allowed)
            continue
        kind = REQUIRABLE[name].unit
        try:
            parse_quantity(limit, kind)
        except QuantityError as error:
            allowed = f"a {kind} with its unit"
            yield toml.fault(("requirements", at, "limit"), str(error), allowed)


def _sensors(toml: TomlFile) -> Iterator[Fault]:
    own = toml.names("sensors")
    for at, entry in toml.entries("heads"):
        name = entry.get("sensor")
        if isinstance(name, str) and name not in own and name not in sensor_cards():
            found = f"no sensor card {name!r} in this file or in the library"
            yield toml.fault(("heads", at, "sensor"), found, nearest(name, (*own, *sensor_cards())))
    for at, card in parts(toml, "sensors", SensorCard):
        for key, angle in (("fov_h", card.fov_h_rad), ("fov_v", card.fov_v_rad)):
            if card.lens == "rectilinear" and angle >= math.pi:
                found = f"{angle.text} with a rectilinear lens"
                yield toml.fault(("sensors", at, key), found, "under 180 deg, or another lens")
        if card.rows < 1 or card.cols < 1:
            found = f"{card.rows} x {card.cols} pixels"
            yield toml.fault(("sensors", at, "rows"), found, "at least 1 x 1")
        low, high = card.range_low_k, card.range_high_k
        if low is not None and high is not None and low >= high:
            found = f"{low.text} is not below range_high = {high.text}"
            yield toml.fault(("sensors", at, "range_low"), found, "a range that rises")
        if card.band_low_m >= card.band_high_m:
            found = f"{card.band_low_m.text} is not below band_high = {card.band_high_m.text}"
            yield toml.fault(("sensors", at, "band_low"), found, "a band that rises")


def _library_names(toml: TomlFile) -> Iterator[Fault]:
    from trivet.facts.contents import oil_limits
    from trivet.facts.pans import material, surface

    for at, entry in toml.entries("pans"):
        yield from _looked_up(toml, ("pans", at, "material"), entry.get("material"), material)
        yield from _looked_up(toml, ("pans", at, "finish"), entry.get("finish"), surface)
        layers = entry.get("layers")
        for k, layer in enumerate(layers if isinstance(layers, list) else ()):
            name = layer.get("material") if isinstance(layer, dict) else None
            yield from _looked_up(toml, ("pans", at, "layers", k, "material"), name, material)
    for at, entry in toml.entries("bases"):
        name = entry.get("oil")
        yield from _looked_up(toml, ("bases", at, "oil"), name, oil_limits)
        if name and entry.get("contents") not in ("oil", "butter"):
            found = f"{name!r} in a base of {entry.get('contents')}"
            yield toml.fault(("bases", at, "oil"), found, 'contents = "oil" or "butter"')
    cooktop = toml.content.get("cooktop")
    if isinstance(cooktop, dict):
        yield from _looked_up(toml, ("cooktop", "surface"), cooktop.get("surface"), surface)


def _looked_up(
    toml: TomlFile, path: Path, name: Any, look_up: Callable[[str], object]
) -> Iterator[Fault]:
    if not isinstance(name, str):
        return
    try:
        look_up(name)
    except InputError as error:
        yield toml.fault(path, f"{name!r} is not in the library", str(error))


def _burners(toml: TomlFile) -> Iterator[Fault]:
    burners = list(parts(toml, "burners", Burner))
    for (_, one), (at, two) in combinations(burners, 2):
        apart = math.hypot(one.x_m - two.x_m, one.y_m - two.y_m)
        needed = (one.ring_diameter_m + two.ring_diameter_m) / 2
        if apart < needed:
            found = f"{two.name!r} overlaps {one.name!r}: centres {show_length(apart)} apart"
            yield toml.fault(("burners", at), found, f"at least {show_length(needed)}")
    cooktop = single(toml, "cooktop", Cooktop)
    if cooktop is None:
        return
    for at, burner in burners:
        ring = burner.ring_diameter_m / 2
        for key, place, size in (
            ("x", burner.x_m, cooktop.width_m),
            ("y", burner.y_m, cooktop.depth_m),
        ):
            if abs(place) + ring > size / 2:
                found = f"{place.text}: the ring reaches beyond the cooktop's edge"
                room = show_length(max(size / 2 - ring, 0.0))
                yield toml.fault(("burners", at, key), found, f"within {room} of the centre")


def _pans(toml: TomlFile) -> Iterator[Fault]:
    cooktop = single(toml, "cooktop", Cooktop)
    for at, pan in parts(toml, "pans", Pan):
        room = min(cooktop.width_m, cooktop.depth_m) if cooktop else math.inf
        if pan.diameter_m > room:
            found = f"{pan.diameter_m.text} is larger than the cooktop"
            yield toml.fault(("pans", at, "diameter"), found, f"at most {show_length(room)}")
        if pan.thickness_m >= pan.depth_m:
            found = f"{pan.thickness_m.text} is no less than the depth {pan.depth_m.text}"
            yield toml.fault(("pans", at, "thickness"), found, "thinner than the pan is deep")
        thick = sum(float(layer.thickness_m) for layer in pan.layers)
        if pan.layers and abs(thick - pan.thickness_m) > 0.02 * pan.thickness_m:
            found = f"layers of {show_length(thick)} in a thickness of {pan.thickness_m.text}"
            yield toml.fault(("pans", at, "layers"), found, "layers that make up the thickness")
        if abs(pan.bow_m) > MAX_BOW_M:
            found = f"{pan.bow_m.text} is no base any more"
            yield toml.fault(("pans", at, "bow"), found, f"at most {show_length(MAX_BOW_M)}")
    for at, base in parts(toml, "bases", Base):
        if base.contents == "dry" and base.volume_m3 > 0:
            found = f"{base.volume_m3.text} in a dry pan"
            yield toml.fault(("bases", at, "volume"), found, "no volume, or other contents")
        if base.contents != "dry" and base.volume_m3 <= 0:
            found = f"no volume of {base.contents}"
            yield toml.fault(("bases", at, "volume"), found, "a volume above 0, e.g. '5 mL'")


def _mounts(toml: TomlFile) -> Iterator[Fault]:
    pans = [pan for _, pan in parts(toml, "pans", Pan)]
    tallest = max(pans, key=lambda pan: pan.thickness_m + pan.depth_m, default=None)
    for at, entry in toml.entries("heads"):
        try:
            mount = Mount.model_validate(entry.get("mount"))
        except ValidationError:
            continue
        rim_m = tallest.thickness_m + tallest.depth_m if tallest else 0.0
        if tallest is not None and mount.height_m <= rim_m:
            found = f"{mount.height_m.text} is not above the rim of {tallest.name!r}"
            allowed = f"over {show_length(rim_m)} above the cooktop plane"
            yield toml.fault(("heads", at, "mount", "height"), found, allowed)


def _ranges(toml: TomlFile) -> Iterator[Fault]:
    for at, band in parts(toml, "bands", TargetBand):
        if band.low_k >= band.high_k:
            found = f"{band.low_k.text} is not below high = {band.high_k.text}"
            yield toml.fault(("bands", at, "low"), found, "a band that rises")
    for at, limit in parts(toml, "limits", Limit):
        if limit.value_k > 1273.15:
            found = f"{limit.value_k.text} is no temperature of a pan"
            hottest = show_temperature(1273.15)
            yield toml.fault(("limits", at, "value"), found, f"at most {hottest}")


def _search(toml: TomlFile) -> Iterator[Fault]:
    search = toml.content.get("search")
    if not isinstance(search, dict):
        return
    for place, move in _moves(search):
        head = move.get("head") or None
        yield from link_faults(toml, (*place, "head"), head, toml.names("heads"))
        for key in ("x", "y", "height", "tilt", "pan", "roll"):
            found = move.get(key)
            if found is not None and not (isinstance(found, dict) and "low" in found):
                allowed = "a figure with low and high, or leave it out to keep the mount's value"
                yield toml.fault((*place, key), "no range to search", allowed)
    yield from link_faults(toml, ("search", "pans"), search.get("pans"), toml.names("pans"))
    known = (*toml.names("sensors"), *sensor_cards())
    yield from link_faults(toml, ("search", "sensors"), search.get("sensors"), known)


def _moves(search: dict[str, Any]) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Yield place and table of every head that may move."""
    yield ("search",), search
    others = search.get("others")
    for at, move in enumerate(others if isinstance(others, list) else ()):
        if isinstance(move, dict):
            yield ("search", "others", at), move


def used_cards(toml: TomlFile) -> tuple[SensorCard, ...]:
    """Return the library's cards that heads name and the file does not define."""
    own = toml.names("sensors")
    names = dict.fromkeys(
        entry["sensor"] for _, entry in toml.entries("heads") if entry["sensor"] not in own
    )
    return tuple(library_card(name) for name in names)
