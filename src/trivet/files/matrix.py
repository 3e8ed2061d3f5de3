"""Expands the matrices of ``cooks.toml`` to cook plans, each checked as a written one is.

The values of each level are read once, inside one whole cook; every cook of the
matrix is then put together from values that are already records, so that ten
thousand cooks take seconds, and the same file gives the same cooks anywhere.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from trivet.errors import Fault
from trivet.files.cook_faults import named_faults, plan_faults
from trivet.files.design_faults import duplicate_faults, parts
from trivet.files.matrix_faults import (
    BESIDE,
    BURNER_KEYS,
    COOK_KEYS,
    allowed_mask,
    matrix_faults,
    picked_levels,
)
from trivet.files.tomlfile import Path, TomlFile, validate
from trivet.physics.statistics.fractions import balanced_fraction, full_factorial, pair_coverage
from trivet.records.campaign import Matrix, MatrixCook, MatrixPlan
from trivet.records.cook import CookPlan
from trivet.records.design import Design

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
    faults = list(duplicate_faults(toml, "matrix", "name"))
    for at, matrix in parts(toml, "matrix", Matrix):
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
            faults |= dict.fromkeys((*found, *named_faults(cook, (), cook.content, design)))
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
