"""Reads ``cooks.toml``: the cooks to simulate, written one by one or made of factors."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from trivet.errors import DesignError, Fault
from trivet.files.cook_rules import name_faults, plan_faults
from trivet.files.matrix import expanded
from trivet.files.rules import of_kind, sound_parts, twice_faults
from trivet.files.tomlfile import TomlFile, read_toml, validate
from trivet.records.campaign import CookPlans, CookSet, MatrixPlan
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design

COOKS_FORMAT = 1  # version of the format; raised when an older program could not read it


def read_cooks(path: str | Path, design: Design) -> CookPlans:
    """Return the cook plans of a file as written; see :func:`read_cook_set`."""
    return read_cook_set(path, design).plans


def read_cook_set(path: str | Path, design: Design) -> CookSet:
    """Return the cook plans of a file and its matrices expanded, checked against the design.

    Parameters
    ----------
    path : path
        The file, or the project folder that holds ``cooks.toml``.
    design : Design
        The design whose burners, pans and bases the plans name.

    Raises
    ------
    DesignError
        With every fault of the file at once.
    FormatError
        If the file is no TOML, or of a format that this version does not know.
    InputError
        If there is no such file.
    """
    file = Path(path)
    toml = read_toml(file / "cooks.toml" if file.is_dir() else file, newest=COOKS_FORMAT)
    plans, faults = validate(CookPlans, toml)
    faults += tuple(_written_faults(toml, design))
    matrices, more = expanded(toml, design)
    faults += more
    if not faults and plans is not None:
        faults = tuple(_clashes(toml, plans, matrices))
    if faults or plans is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    return CookSet(plans, matrices)


def _written_faults(toml: TomlFile, design: Design) -> Iterator[Fault]:
    """Yield the faults of the cooks that are written one by one."""
    if not toml.content.get("cooks") and not toml.content.get("matrix"):
        yield toml.fault(("cooks",), "missing", "required: [[cooks]] or [[matrix]]")
    yield from twice_faults(toml, "cooks[{}].name")
    names = toml.names("cooks")
    for at, cook in toml.entries("cooks"):
        yield from name_faults(toml, ("cooks", at), cook, design)
        clash = re.fullmatch(r"(.*)-r\d+", str(cook.get("name", "")))
        if clash and clash.group(1) in names:
            found = f"{cook['name']!r} is the name of a repeat of {clash.group(1)!r}"
            yield toml.fault(("cooks", at, "name"), found, "a name of its own")
    found_plans = dict(sound_parts(CookPlan, toml.content.get("cooks"), ("cooks",)))
    for path, plan in of_kind(found_plans, CookPlan):
        yield from plan_faults(toml, path, plan, design)


def _clashes(toml: TomlFile, plans: CookPlans, matrices: tuple[MatrixPlan, ...]) -> Iterator[Fault]:
    """Yield a fault for each matrix that makes a cook of a name that is already given."""
    given: dict[str, str] = {}
    for plan in plans.cooks:
        given |= dict.fromkeys(_names(plan), f"cook {plan.name!r}")
    for at, matrix in enumerate(matrices):
        twice: list[str] = []
        for cook in matrix.cooks:
            names = _names(cook.plan)
            twice += [f"{name!r} of {given[name]}" for name in sorted(names & set(given))]
            given |= dict.fromkeys(names, f"matrix {matrix.name!r}")
        if twice:
            more = f" and {len(twice) - 1} more" if len(twice) > 1 else ""
            found = f"makes a cook with the name {twice[0]}{more}"
            yield toml.fault(("matrix", at, "name"), found, "names of cooks that differ")


def _names(plan: CookPlan) -> set[str]:
    """Return the names that a plan and its repeats take."""
    return {plan.name, *(cook_name(plan, repeat) for repeat in range(plan.repeats))}
