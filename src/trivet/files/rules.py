"""Checks of a TOML file beyond its shape: rules of its records, names twice, names not defined.

The checks work on whatever parts of the file are sound, so that a wrong unit in one
place does not hide a wrong name in another.  Places are written as keys, such as
``heads[0].sensor``; a pattern such as ``heads[].sensor`` stands for all of them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from functools import cache
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from trivet.errors import Fault, nearest
from trivet.files.tomlfile import Path, TomlFile, model_in
from trivet.records.figures import Part, twice

P = TypeVar("P", bound=BaseModel)
Parts = Mapping[Path, BaseModel]
"""Every sound part of a file by its place."""


def path_of(key: str) -> Path:
    """Return the path of a key such as ``schedule[1].at``."""
    steps = re.findall(r"[^.\[\]]+", key)
    return tuple(int(one) if one.isdecimal() else one for one in steps)


def places(content: Any, pattern: str) -> Iterator[tuple[Path, Any]]:
    """Yield place and value of all that a pattern stands for, a list entry by entry."""
    found: list[tuple[Path, Any]] = [((), content)]
    for step in re.findall(r"\[\]|[^.\[\]]+", pattern):
        found = [inner for one in found for inner in _inside(*one, step)]
    for path, value in found:
        yield from _inside(path, value, "[]") if isinstance(value, list) else ((path, value),)


def _inside(path: Path, value: Any, step: str) -> list[tuple[Path, Any]]:
    if step == "[]":
        entries = value if isinstance(value, list) else ()
        return [((*path, at), one) for at, one in enumerate(entries)]
    return [((*path, step), value[step])] if isinstance(value, dict) and step in value else []


def sound_parts(model: type[BaseModel], raw: Any, path: Path = ()) -> Iterator[tuple[Path, Any]]:
    """Yield place and record of every sound part of a table, also inside one that is not."""
    if isinstance(raw, list):
        for at, one in enumerate(raw):
            yield from sound_parts(model, one, (*path, at))
    elif isinstance(raw, dict):
        part = _sound(model, raw)
        if part is not None:
            yield from parts_within(part, path)
            return
        for key, inner in _part_fields(model).values():
            if key in raw:
                yield from sound_parts(inner, raw[key], (*path, key))


def _sound(model: type[P], raw: dict[str, Any]) -> P | None:
    """Return the record of a table, unknown keys left out, or None where it is not sound."""
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        faults = error.errors(include_url=False)
    unknown = {one["loc"][0] for one in faults if one["type"] == "extra_forbidden"} & set(raw)
    if not unknown:
        return None
    return _sound(model, {key: value for key, value in raw.items() if key not in unknown})


def parts_within(part: BaseModel, path: Path = ()) -> Iterator[tuple[Path, BaseModel]]:
    """Yield place and record of a part and of all parts that it holds."""
    yield path, part
    for name, (key, _) in _part_fields(type(part)).items():
        value = getattr(part, name)
        if isinstance(value, BaseModel):
            yield from parts_within(value, (*path, key))
        for at, one in enumerate(value if isinstance(value, tuple) else ()):
            yield from parts_within(one, (*path, key, at))


@cache
def _part_fields(model: type[BaseModel]) -> dict[str, tuple[str, type[BaseModel]]]:
    """Return name, key and model of each field that holds parts."""
    keys = {name: field.alias or name for name, field in model.model_fields.items()}
    inner = {name: model_in(field.annotation) for name, field in model.model_fields.items()}
    return {name: (keys[name], one) for name, one in inner.items() if one is not None}


def of_kind(found: Parts, kind: type[P]) -> list[tuple[Path, P]]:
    """Return place and record of all sound parts of one kind."""
    return [(path, part) for path, part in found.items() if isinstance(part, kind)]


def rule_faults(toml: TomlFile, found: Parts, base: Path = ()) -> Iterator[Fault]:
    """Yield each rule that a sound part breaks."""
    for path, part in found.items():
        for key, what, allowed in part.broken() if isinstance(part, Part) else ():
            yield toml.fault((*base, *path, *path_of(key)), what, allowed)


def twice_faults(toml: TomlFile, *keys: str) -> Iterator[Fault]:
    """Yield a fault for each name that an earlier entry has, e.g. at ``burners[{}].name``."""
    for key in keys:
        table, field = key.split("[{}].")
        names = {at: entry.get(field) for at, entry in toml.entries(table)}
        listed = [names.get(at) for at in range(max(names, default=-1) + 1)]
        for place, found, allowed in twice(key, listed):
            yield toml.fault(path_of(place), found, allowed)


def undefined(
    toml: TomlFile, links: Mapping[str, Iterable[str]], content: Any = None, base: Path = ()
) -> Iterator[Fault]:
    """Yield a fault for each name at a pattern that is none of its known ones."""
    for pattern, known in links.items():
        for path, name in places(toml.content if content is None else content, pattern):
            if isinstance(name, str) and name not in known:
                allowed = nearest(name, (one for one in known if one))
                yield toml.fault((*base, *path), f"{name!r} is not defined", allowed)
