"""Expands the matrices of ``cooks.toml`` to cook plans, each checked as a written one is.

The values of each level are read once, inside one whole cook; every cook of the
matrix is then put together from values that are already records, so that ten
thousand cooks take seconds, and the same file gives the same cooks anywhere.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trivet.arrays import BoolArray
from trivet.errors import Fault, nearest
from trivet.files.cook_rules import name_faults, plan_faults
from trivet.files.rules import of_kind, parts_within, rule_faults, sound_parts, twice_faults
from trivet.files.tomlfile import Path, TomlFile, validate
from trivet.physics.statistics.fractions import (
    LARGEST_FULL,
    balanced_fraction,
    full_factorial,
    pair_coverage,
)
from trivet.records.campaign import Factor, Matrix, MatrixCook, MatrixPlan
from trivet.records.cook import CookBurner, CookPlan
from trivet.records.design import Design

MAX_COOKS = 100_000  # own estimate: far more than a campaign needs; more is a slip
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
        *rule_faults(toml, dict(parts_within(matrix, path))),
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


def _key_faults(toml: TomlFile, path: Path, keys: Mapping[str, object]) -> Iterator[Fault]:
    for key in keys:
        if key not in KEYS:
            yield toml.fault((*path, key), f"no cook has a key {key!r}", nearest(key, KEYS))


def _factor_faults(
    toml: TomlFile, path: Path, factor: Factor, owners: dict[str, str]
) -> Iterator[Fault]:
    """Yield the faults of one factor; ``owners`` says who sets which key, and learns of it."""
    place = (*path, "levels")
    for index, level in enumerate(factor.levels):
        yield from _key_faults(toml, (*place, index), level.set)
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


FIRST_SEED = 0
"""Of the search for a fraction; another finds another fraction, as good or nearly so."""
Values = list[list[dict[str, Any]]]


def expanded(toml: TomlFile, design: Design) -> tuple[tuple[MatrixPlan, ...], tuple[Fault, ...]]:
    """Return every sound matrix of a file expanded, and the faults of all of them.

    Parameters
    ----------
    toml : TomlFile
        ``cooks.toml``.
    design : Design
        Burners, pans and bases.

    Notes
    -----
    A matrix with a fault is not expanded.  A fault that many cooks share is told
    once, at the place that sets the value, with the name of the first of them.
    """
    done: list[MatrixPlan] = []
    faults = list(twice_faults(toml, "matrix[{}].name"))
    found_parts = dict(sound_parts(Matrix, toml.content.get("matrix"), ("matrix",)))
    for path, matrix in of_kind(found_parts, Matrix):
        at = int(path[1])
        found = list(matrix_faults(toml, at, matrix))
        if not found:
            base, values, found = _read_levels(toml, at, matrix, design)
            if base is not None and not found:
                plan = _expand(matrix, base, values)
                found = list(_cook_faults(toml, at, matrix, plan, design))
                done.append(plan)
        faults += found
    return tuple(done), tuple(faults)


@dataclass(frozen=True)
class _CookInMatrix(TomlFile):
    """One cook of a matrix as if it were written alone; faults name where its values stand."""

    origin: TomlFile
    at: int
    sources: Mapping[str, Path]
    """Which place sets each key."""

    def fault(self, path: Path, found: str, allowed: str) -> Fault:
        """Return a fault at the place in the matrix that a path within the cook stands for."""
        key, rest = (str(path[0]) if path else ""), path[1:]
        if key == "burners":
            index = int(rest[0]) if rest else 0
            inner = rest[1:]
            if index:
                key, rest = BESIDE, (index - 1, *inner)
            else:
                key, rest = (str(inner[0]) if inner else ""), inner[1:]
        if not key:
            return self.origin.fault(("matrix", self.at), found, allowed)
        place = self.sources.get(key, ("matrix", self.at, "common", key))
        return self.origin.fault((*place, *rest), found, allowed)


def _as_cook(toml: TomlFile, at: int, matrix: Matrix, picks: Sequence[int]) -> _CookInMatrix:
    keys: dict[str, Any] = dict(matrix.common)
    sources: dict[str, Path] = {key: ("matrix", at, "common", key) for key in keys}
    for index, (factor, pick) in enumerate(zip(matrix.factors, picks, strict=True)):
        for key, value in factor.levels[pick].set.items():
            keys[key] = value
            sources[key] = ("matrix", at, "factors", index, "levels", pick, "set", key)
    beside = keys.get(BESIDE, [])
    raw = {
        "name": matrix.name,
        "purpose": matrix.purpose,
        "repeats": matrix.repeats,
        **{key: value for key, value in keys.items() if key in COOK_KEYS},
        "burners": [
            {key: value for key, value in keys.items() if key in BURNER_KEYS},
            *(beside if isinstance(beside, list) else [beside]),
        ],
    }
    return _CookInMatrix(toml.name, raw, toml.lines, toml, at, sources)


def _read_levels(
    toml: TomlFile, at: int, matrix: Matrix, design: Design
) -> tuple[CookPlan | None, Values, list[Fault]]:
    """Return the cook of all first levels, and what each level of each factor sets."""
    faults: dict[Fault, None] = {}
    values: Values = []
    base: CookPlan | None = None
    for index, factor in enumerate(matrix.factors):
        keys = dict.fromkeys(key for level in factor.levels for key in level.set)
        values.append([])
        for pick in range(len(factor.levels)):
            picks = [pick if one == index else 0 for one in range(len(matrix.factors))]
            cook = _as_cook(toml, at, matrix, picks)
            plan, found = validate(CookPlan, cook)
            faults |= dict.fromkeys((*found, *name_faults(cook, (), cook.content, design)))
            if plan is not None:
                values[-1].append({key: _value(plan, key) for key in keys})
                base = base or plan
    placed = [fault for fault in faults if fault.key != f"matrix[{at}]"]
    return base, values, placed or list(faults)  # a burner at fault leaves a cook without any


def _value(plan: CookPlan, key: str) -> Any:
    if key == BESIDE:
        return plan.burners[1:]
    if key in BURNER_KEYS:
        return getattr(plan.burners[0], BURNER_KEYS[key])
    return getattr(plan, COOK_KEYS[key])


def _expand(matrix: Matrix, base: CookPlan, values: Values) -> MatrixPlan:
    sizes = [len(one.levels) for one in matrix.factors]
    allowed = allowed_mask(matrix)
    rows = np.flatnonzero(allowed)
    if matrix.runs is not None:
        rows = balanced_fraction(
            sizes,
            runs=matrix.runs,
            allowed=allowed,
            generator=np.random.default_rng(FIRST_SEED),
        )
    pairs = pair_coverage(sizes, rows=rows, allowed=allowed)
    chosen = [("", row) for row in full_factorial(sizes, rows=rows).tolist()]
    worst = [(one.name, picked_levels(matrix, one.levels)) for one in matrix.worst]
    cooks = [
        _cook(matrix, base, values, picks, seed=seed, worst=name)
        for name, picks in (*worst, *chosen)
        for seed in matrix.seeds or ("",)
    ]
    return MatrixPlan(
        name=matrix.name,
        purpose=matrix.purpose,
        prove=matrix.prove,
        factors={one.name: tuple(level.name for level in one.levels) for one in matrix.factors},
        full=allowed.size,
        excluded=int((~allowed).sum()),
        runs=rows.size,
        pairs_possible=pairs.possible,
        pairs_covered=pairs.covered,
        pair_fewest=pairs.fewest,
        cooks=tuple(cooks),
    )


def _cook(
    matrix: Matrix,
    base: CookPlan,
    values: Values,
    picks: Sequence[int],
    *,
    seed: str,
    worst: str,
) -> MatrixCook:
    """Return one cook: the values of its levels put into the cook of all first levels."""
    set_keys: dict[str, Any] = {}
    levels: dict[str, str] = {}
    for factor, read, pick in zip(matrix.factors, values, picks, strict=True):
        set_keys |= read[pick]
        levels[factor.name] = factor.levels[pick].name
    told = [levels[one.name] for one in matrix.factors if len(one.levels) > 1]
    combination = "-".join([matrix.name, *([worst] if worst else told)])
    burner = base.burners[0].model_copy(
        update={BURNER_KEYS[key]: value for key, value in set_keys.items() if key in BURNER_KEYS}
    )
    plan = base.model_copy(
        update={
            **{COOK_KEYS[key]: value for key, value in set_keys.items() if key in COOK_KEYS},
            "name": f"{combination}-{seed}" if seed else combination,
            "burners": (burner, *set_keys.get(BESIDE, base.burners[1:])),
        }
    )
    return MatrixCook(plan, levels, combination, seed, worst)


def _cook_faults(
    toml: TomlFile, at: int, matrix: Matrix, plan: MatrixPlan, design: Design
) -> Iterator[Fault]:
    """Yield the faults of the cooks, each kind once."""
    found: dict[tuple[str, str], list[tuple[Fault, str]]] = {}
    for cook in plan.cooks:
        here = _as_cook(toml, at, matrix, picked_levels(matrix, cook.levels))
        for fault in plan_faults(here, (), cook.plan, design):
            found.setdefault((fault.key, fault.found), []).append((fault, cook.plan.name))
    for same in found.values():
        fault, name = same[0]
        more = f" and {len(same) - 1} more" if len(same) > 1 else ""
        yield replace(fault, found=f"{fault.found} (cook {name!r}{more})")
