"""Public parameters of the kernels use the words of the nomenclature page."""

from __future__ import annotations

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "nomenclature.md").read_text("utf-8")


def words() -> set[str]:
    block = re.search(r"```\n(.*?)\n```", PAGE, re.DOTALL)
    units = re.search(r"Unit endings: (.*?)\.\n", PAGE, re.DOTALL)
    assert block
    assert units
    return set(block.group(1).split()) | set(re.findall(r"`(\w+)`", units.group(1)))


def parts() -> set[str]:
    found = set()
    for path in (ROOT / "src" / "trivet" / "physics").rglob("*.py"):
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                for argument in node.args.args + node.args.kwonlyargs:
                    found |= set(argument.arg.split("_"))
    return found


def test_every_part_of_a_parameter_is_a_listed_word() -> None:
    assert parts() - words() == set()


def test_the_list_holds_no_word_that_nothing_uses() -> None:
    listed = set(re.search(r"```\n(.*?)\n```", PAGE, re.DOTALL).group(1).split())
    assert listed - parts() == set()
