"""What a matrix of cooks must satisfy before it is expanded: names, levels, rules, worst cases."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from trivet.arrays import BoolArray
from trivet.errors import Fault, nearest
from trivet.files.tomlfile import Path, TomlFile
from trivet.physics.statistics.fractions import LARGEST_FULL
from trivet.records.campaign import Factor, Matrix
from trivet.records.cook import CookBurner, CookPlan

MAX_COOKS = 100_000
BESIDE = "beside"
"""The key for further burners of a cook."""
COOK_KEYS = {
    field.alias or name: name
    for name, field in CookPlan.model_fields.items()
    if name not in ("name", "purpose", "repeats", "burners")
}
BURNER_KEYS = {field.alias or name: name for name, field in CookBurner.model_fields.items()}
KEYS = (*COOK_KEYS, *BURNER_KEYS, BESIDE)


def matrix_faults(toml: TomlFile, at: int, matrix: Matrix) -> Iterator[Fault]:
    """Yield every fault of a matrix that can be seen without expanding it."""
    path: Path = ("matrix", at)
    found = [
        *_twice(toml, (*path, "factors"), [one.name for one in matrix.factors], "factor"),
        *_twice(toml, (*path, "seeds"), matrix.seeds, "seed"),
        *_twice(toml, (*path, "worst"), [one.name for one in matrix.worst], "worst case"),
        *_key_faults(toml, (*path, "common"), matrix.common),
    ]
    owners = dict.fromkeys(matrix.common, "common")
    for index, factor in enumerate(matrix.factors):
        found += _factor_faults(toml, (*path, "factors", index), factor, owners)
    for index, rule in enumerate(matrix.exclude):
        found += _level_faults(toml, (*path, "exclude", index), rule, matrix)
        if not rule:
            found.append(toml.fault((*path, "exclude", index), "an empty rule", 'FACTOR = "LEVEL"'))
    for index, worst in enumerate(matrix.worst):
        found += _level_faults(toml, (*path, "worst", index, "levels"), worst.levels, matrix)
    full = math.prod(len(one.levels) for one in matrix.factors)
    if full > LARGEST_FULL:
        allowed = f"at most {LARGEST_FULL:,}; fewer levels, or two matrices"
        found.append(toml.fault((*path, "factors"), f"{full:,} combinations", allowed))
    yield from found
    if not found:
        yield from _rule_faults(toml, path, matrix)


def _twice(toml: TomlFile, path: Path, names: Sequence[str], what: str) -> Iterator[Fault]:
    for index, name in enumerate(names):
        if name in names[:index]:
            found = f"the {what} {name!r} stands twice"
            yield toml.fault((*path, index), found, "a name of its own")


def _key_faults(toml: TomlFile, path: Path, keys: Mapping[str, object]) -> Iterator[Fault]:
    for key in keys:
        if key not in KEYS:
            yield toml.fault((*path, key), f"no cook has a key {key!r}", nearest(key, KEYS))


def _factor_faults(
    toml: TomlFile, path: Path, factor: Factor, owners: dict[str, str]
) -> Iterator[Fault]:
    """Yield the faults of one factor; ``owners`` says who sets which key, and learns of it."""
    place = (*path, "levels")
    yield from _twice(toml, place, [one.name for one in factor.levels], "level")
    for index, level in enumerate(factor.levels):
        yield from _key_faults(toml, (*place, index), level.set)
    if all(level.set == factor.levels[0].set for level in factor.levels[1:]) and (
        len(factor.levels) > 1 or not factor.levels[0].set
    ):
        found = f"no cook uses the factor {factor.name!r}: its levels do not differ"
        yield toml.fault(path, found, "levels that set something else each")
    for key in dict.fromkeys(key for level in factor.levels for key in level.set):
        if key in owners:
            found = f"{factor.name!r} sets {key!r}, which {owners[key]} sets too"
            yield toml.fault(place, found, "each key set in one place")
        owners.setdefault(key, f"factor {factor.name!r}")


def _level_faults(
    toml: TomlFile, path: Path, chosen: Mapping[str, str], matrix: Matrix
) -> Iterator[Fault]:
    factors = {one.name: [level.name for level in one.levels] for one in matrix.factors}
    for name, level in chosen.items():
        if name not in factors:
            found = f"no factor {name!r} in this matrix"
            yield toml.fault((*path, name), found, nearest(name, factors))
        elif level not in factors[name]:
            found = f"the factor {name!r} has no level {level!r}"
            yield toml.fault((*path, name), found, nearest(level, factors[name]))


def _rule_faults(toml: TomlFile, path: Path, matrix: Matrix) -> Iterator[Fault]:
    """Yield the faults of rules that leave out too little or too much."""
    allowed = np.ones([len(one.levels) for one in matrix.factors], dtype=np.bool_)
    for index, rule in enumerate(matrix.exclude):
        part = allowed[_slot(matrix, rule)]
        if not part.any():
            found = f"{_rule_text(rule)} excludes nothing that the rules before it leave"
            yield toml.fault((*path, "exclude", index), found, "no such rule")
        part[...] = False
    if not allowed.any():
        yield toml.fault((*path, "exclude"), "the rules exclude every cook", "rules that leave one")
        return
    axes = range(allowed.ndim)
    for at, factor in enumerate(matrix.factors):
        seen = allowed.any(axis=tuple(axis for axis in axes if axis != at))
        for level in np.flatnonzero(~seen):
            found = f"the rules exclude every cook with {factor.levels[level].name!r}"
            place = (*path, "factors", at, "levels", int(level))
            yield toml.fault(place, found, "a level that some cook has")
        if matrix.runs is not None and matrix.runs < len(factor.levels):
            found = f"{matrix.runs} runs cannot hold {len(factor.levels)} levels of {factor.name!r}"
            yield toml.fault((*path, "runs"), found, f"at least {len(factor.levels)}")
    for index, worst in enumerate(matrix.worst):
        if not allowed[picked_levels(matrix, worst.levels)]:
            found = f"a rule excludes the worst case {worst.name!r}"
            yield toml.fault((*path, "worst", index), found, "levels that no rule excludes")
    runs = int(allowed.sum()) if matrix.runs is None else matrix.runs
    cooks = (runs + len(matrix.worst)) * max(1, len(matrix.seeds)) * matrix.repeats
    if cooks > MAX_COOKS:
        yield toml.fault(path, f"{cooks:,} cooks", f"at most {MAX_COOKS:,}; runs = N takes fewer")


def allowed_mask(matrix: Matrix) -> BoolArray:
    """Return which combinations of the full factorial no rule excludes; last factor fastest."""
    allowed = np.ones([len(one.levels) for one in matrix.factors], dtype=np.bool_)
    for rule in matrix.exclude:
        allowed[_slot(matrix, rule)] = False
    return allowed.ravel()


def picked_levels(matrix: Matrix, chosen: Mapping[str, str]) -> tuple[int, ...]:
    """Return the level of each factor, the first where none is named."""
    return tuple(
        [level.name for level in one.levels].index(chosen.get(one.name, one.levels[0].name))
        for one in matrix.factors
    )


def _slot(matrix: Matrix, rule: Mapping[str, str]) -> tuple[int | slice, ...]:
    picked = picked_levels(matrix, rule)
    return tuple(
        picked[at] if one.name in rule else slice(None) for at, one in enumerate(matrix.factors)
    )


def _rule_text(rule: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f'{name} = "{level}"' for name, level in rule.items()) + " }"
