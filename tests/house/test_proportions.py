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


SECTIONS = ("Parameters", "Returns")


def test_no_heading_stands_without_content() -> None:
    empty = re.compile(r"\n\s+(\w+)\n\s+---+\n\s+(None|Nothing)\.\n")
    for path in SOURCES:
        found = empty.search(path.read_text(encoding="utf-8"))
        assert not found, f"{name(path)}: heading {found.group(1)} has no content"


def test_physics_documents_shapes_and_units() -> None:
    short = []
    for path in SOURCES:
        if "physics" not in path.parts:
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for node in tree.body:
            if not isinstance(node, Function) or node.name.startswith("_") or node.decorator_list:
                continue
            text = ast.get_docstring(node) or ""
            missing = [section for section in SECTIONS if f"{section}\n---" not in text]
            if not node.args.args and not node.args.kwonlyargs:
                missing = [section for section in missing if section != "Parameters"]
            if missing:
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
