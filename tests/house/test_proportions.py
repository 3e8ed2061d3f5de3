"""Proportions and manners of the code."""

from __future__ import annotations

import ast
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCES = sorted((ROOT / "src" / "trivet").rglob("*.py"))
Function = ast.FunctionDef | ast.AsyncFunctionDef


def functions(path: Path) -> Iterator[Function]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, Function):
            yield node


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def tracked() -> list[Path]:
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [ROOT / line for line in listed.stdout.splitlines() if (ROOT / line).is_file()]


@pytest.mark.parametrize("path", SOURCES, ids=name)
def test_files_stay_small(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400


def test_bodies_and_parameters_stay_few() -> None:
    for path in SOURCES:
        for node in functions(path):
            documented = ast.get_docstring(node) is not None
            body = node.body[1:] if documented else node.body
            length = node.end_lineno - body[0].lineno + 1 if body and node.end_lineno else 0
            assert length <= 60, f"{name(path)}:{node.name} has a body of {length} lines"
            count = len(node.args.args) + len(node.args.kwonlyargs)
            assert count <= 8, f"{name(path)}:{node.name} takes {count} parameters"


def test_no_catch_all_rooms() -> None:
    banned = {"utils", "util", "core", "common", "manager", "misc", "helpers", "helper"}
    assert not [name(path) for path in SOURCES if path.stem in banned or path.parent.name in banned]


def test_no_heading_stands_without_content() -> None:
    empty = re.compile(r"\n\s+(\w+)\n\s+---+\n\s+(None|Nothing)\.\n")
    for path in SOURCES:
        found = empty.search(path.read_text(encoding="utf-8"))
        assert not found, f"{name(path)}: heading {found.group(1)} has no content"


WITHOUT_UNIT = {"frac", "px"}


def entries(text: str) -> dict[str, str]:
    """Text of each parameter of a docstring, ``name, name : shape and meaning [unit]``."""
    found: dict[str, str] = {}
    names: list[str] = []
    for line in text.splitlines():
        if head := re.match(r"(\w+(?:, \w+)*) : ", line):
            names = [one.strip() for one in head.group(1).split(",")]
        for one in names:
            found[one] = found.get(one, "") + line
    return found


def lacking(node: Function, units: set[str]) -> list[str]:
    """What the docstring of a physics function does not say."""
    text = ast.get_docstring(node) or ""
    if "Returns\n---" in text:
        given = node.args.args or node.args.kwonlyargs
        return ["Parameters"] if given and "Parameters\n---" not in text else []
    said = entries(text)
    missing = [] if "Returns" in said or explains_itself(node.returns) else ["Returns"]
    for one in node.args.args + node.args.kwonlyargs:
        ending = one.arg.rsplit("_", 1)[-1] if "_" in one.arg else ""
        if one.arg not in said:
            missing += [] if explains_itself(one.annotation) else [one.arg]
        elif ending in units - WITHOUT_UNIT and not re.search(r"\[|\bas (of|for) ", said[one.arg]):
            missing.append(f"the unit of {one.arg}")
    return missing


def explains_itself(annotation: ast.expr | None) -> bool:
    """Whether a type says all: nothing, or a record, which documents its own parts."""
    word = ast.unparse(annotation) if annotation else ""
    numbers = re.search("Array(Like)?$|^Sequence", word)
    return word == "None" or (re.fullmatch(r"[A-Z]\w+", word) is not None and not numbers)


def test_physics_documents_shapes_and_units() -> None:
    page = (ROOT / "docs" / "nomenclature.md").read_text("utf-8")
    endings = re.search(r"Unit endings: (.*?)\.\n", page, re.DOTALL)
    assert endings
    units = set(re.findall(r"`(\w+)`", endings.group(1)))
    short = []
    for path in SOURCES:
        if "physics" not in path.relative_to(ROOT).parts:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if not isinstance(node, Function) or node.name.startswith("_") or node.decorator_list:
                continue
            if missing := lacking(node, units):
                short.append(f"{name(path)}:{node.name} lacks {', '.join(missing)}")
    assert not short, "\n".join(short)


def test_no_paths_addresses_or_unfinished_places_are_tracked() -> None:
    # Assembled here, so that this file does not hold what it looks for.
    machine = re.compile("|".join(["/" + "work/", "/" + "root/", "/" + "home/"]))
    address = re.compile(r"https?" + "://")
    unfinished = re.compile("|".join(["TO" + "DO", "FIX" + "ME", "NotImplemented" + "Error"]))
    for path in tracked():
        if path.suffix in (".py", ".toml", ".lock", ".md", ".csv", ".j2", ".txt", "") and (
            "LICENSE" not in path.name and "tests/data" not in name(path)
        ):
            text = path.read_text(encoding="utf-8", errors="ignore")
            assert not machine.search(text), f"{name(path)} names a path of a machine"
            if path.suffix in (".lock", ".toml", "") or path.name == "Makefile":
                assert not address.search(text), f"{name(path)} holds an address"
            if path.suffix == ".py":
                assert not unfinished.search(text), f"{name(path)} is unfinished"
