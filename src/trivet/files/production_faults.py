"""What radiometry and production sections of a design file must satisfy beyond their shape."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
from pydantic import ValidationError

from trivet.errors import Fault, nearest
from trivet.files.design_faults import duplicate_faults, link_faults, parts, single
from trivet.files.tomlfile import TomlFile
from trivet.records.business import Costs
from trivet.records.design import Design, Window
from trivet.records.figures import file_key
from trivet.records.product import DeclaredCorrelation, EndOfLine
from trivet.records.surroundings import Surroundings

TERM_NAMES = (
    "sensor offset",
    "sensor gain",
    "noise of one pixel",
    "drift with housing",
    "drift after wake",
    "self-heating",
    "output step",
    "stored constants",
    "firmware's words",
    "emissivity",
    "reflected temperature",
    "window transmittance",
    "window temperature",
    "window reflectance",
    "grease on the window",
    "condensation",
    "steam column",
    "size of source",
    "registration and edge",
    "temperature around the pan",
    "drop through the film",
    "end-of-line fixture",
)
"""Names of the terms of an error budget, as files may refer to them."""


def production_faults(toml: TomlFile) -> tuple[Fault, ...]:
    """Return every fault of windows, surroundings, calibrations, correlations and options."""
    checks = (_windows, _surroundings, _end_of_line, _correlations, _options)
    return tuple(fault for check in checks for fault in check(toml))


def _windows(toml: TomlFile) -> Iterator[Fault]:
    for at, entry in toml.entries("heads"):
        try:
            window = Window.model_validate(entry.get("window"))
        except ValidationError:
            continue
        mirror, tau = window.reflectance_frac, window.transmittance_frac
        if mirror is not None and float(mirror) + float(tau) > 1.0:
            found = f"{mirror.text} beside transmittance = {tau.text}: over 1 together"
            allowed = f"at most {1.0 - float(tau):.3g}: what a window does not pass"
            yield toml.fault(("heads", at, "window", "reflectance"), found, allowed)


def _surroundings(toml: TomlFile) -> Iterator[Fault]:
    surroundings = single(toml, "surroundings", Surroundings)
    if surroundings is None:
        return
    total = 0.0
    for at, thing in enumerate(surroundings.mirrored):
        path = ("surroundings", "mirrored", at)
        if thing.shape == "share" and thing.view_frac is None:
            yield toml.fault(path, "a share without view", "view = '0.2'")
        if thing.shape != "share" and thing.width_m <= 0.0:
            yield toml.fault(path, f"a {thing.shape} without width", "width = '0.5 m'")
        if thing.shape == "rectangle" and thing.depth_m <= 0.0:
            yield toml.fault(path, "a rectangle without depth", "depth = '0.5 m'")
        total += float(thing.view_frac or 0.0)
    if total > 1.0:
        found = f"shares of view sum to {total:.2f}"
        yield toml.fault(("surroundings", "mirrored"), found, "at most 1 together")
    if surroundings.steam is not None:
        known = toml.names("bases")
        raw = toml.content["surroundings"]["steam"].get("bases")
        yield from link_faults(toml, ("surroundings", "steam", "bases"), raw, known)


def _end_of_line(toml: TomlFile) -> Iterator[Fault]:
    line = single(toml, "end_of_line", EndOfLine)
    if line is None:
        return
    for one, two in combinations(line.points_k, 2):
        if one == two:
            found = f"the point {two.text} twice"
            yield toml.fault(("end_of_line", "points"), found, "different temperatures")
    if line.reject_limit_delta_k < line.fixture_u95_delta_k:
        found = f"{line.reject_limit_delta_k.text} under fixture_u95"
        allowed = f"at least {line.fixture_u95_delta_k.text}: a good unit would fail by chance"
        yield toml.fault(("end_of_line", "reject_limit"), found, allowed)
    costs = single(toml, "costs", Costs)
    if costs is not None and line.cost.currency != costs.price.currency:
        found = f"{line.cost} beside a price in {costs.price.currency}"
        allowed = f"an amount in {costs.price.currency}"
        yield toml.fault(("end_of_line", "cost"), found, allowed)


def _correlations(toml: TomlFile) -> Iterator[Fault]:
    pairs: dict[frozenset[str], float] = {}
    for at, pair in parts(toml, "correlations", DeclaredCorrelation):
        for key, name in (("first", pair.first), ("second", pair.second)):
            if name not in TERM_NAMES:
                found = f"no term {name!r} in an error budget"
                yield toml.fault(("correlations", at, key), found, nearest(name, TERM_NAMES))
        if pair.first == pair.second:
            yield toml.fault(("correlations", at), "a term with itself", "two terms")
        pairs[frozenset((pair.first, pair.second))] = float(pair.coefficient)
    names = sorted({name for pair in pairs for name in pair})
    matrix = np.eye(len(names))
    for both, coefficient in pairs.items():
        if len(both) == 2:
            a, b = (names.index(name) for name in both)
            matrix[a, b] = matrix[b, a] = coefficient
    if names and np.linalg.eigvalsh(matrix)[0] < -1e-9:
        found = "coefficients that contradict one another"
        yield toml.fault(("correlations",), found, "a matrix without negative variance")


def _options(toml: TomlFile) -> Iterator[Fault]:
    yield from duplicate_faults(toml, "options", "name")
    known = [field.alias or file_key(name) for name, field in Design.model_fields.items()]
    for at, entry in toml.entries("options"):
        keys = entry.get("set")
        for key in keys if isinstance(keys, dict) else ():
            first = key.split(".")[0]
            if first not in known:
                found = f"no key {first!r} in a design"
                yield toml.fault(("options", at, "set", key), found, nearest(first, known))
