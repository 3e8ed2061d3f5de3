"""One idea in one place: names mean one thing, imports run one way, rooms keep to a budget."""

from __future__ import annotations

import ast
import re
import tomllib
from collections import Counter, defaultdict
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "trivet"
FILES = sorted(SOURCE.rglob("*.py"))
TREES = {path: ast.parse(path.read_text("utf-8")) for path in FILES}
BUDGET = Path(__file__).with_name("budget.toml")


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def constants(path: Path) -> Iterator[tuple[str, ast.expr, int]]:
    """Module-level names in capitals: name, value, place in the body."""
    for at, node in enumerate(TREES[path].body):
        if isinstance(node, ast.Assign):
            targets = node.targets
        elif isinstance(node, ast.AnnAssign) and node.value is not None:
            targets = [node.target]
        else:
            continue
        for target in targets:
            for one in target.elts if isinstance(target, ast.Tuple) else [target]:
                if isinstance(one, ast.Name) and one.id.lstrip("_").isupper():
                    assert node.value is not None
                    yield one.id, node.value, at


PLAIN = (ast.Constant, ast.UnaryOp, ast.BinOp, ast.operator, ast.unaryop, ast.Tuple, ast.List,
         ast.Load, ast.Dict, ast.Name, ast.Attribute)  # fmt: skip


def is_figure(value: ast.expr) -> bool:
    """Whether an expression is made of numbers: a number, or a table of them."""
    parts = list(ast.walk(value))
    numbers = [
        one
        for one in parts
        if isinstance(one, ast.Constant)
        and isinstance(one.value, (int, float))
        and not isinstance(one.value, bool)
    ]
    return bool(numbers) and all(isinstance(one, PLAIN) for one in parts)


def test_every_figure_has_a_source_or_a_reason() -> None:
    bare = []
    for path in FILES:
        lines, body = path.read_text("utf-8").splitlines(), TREES[path].body
        for constant, value, at in constants(path):
            if not is_figure(value):
                continue
            node = body[at]
            after = body[at + 1] if at + 1 < len(body) else None
            documented = (
                isinstance(after, ast.Expr)
                and isinstance(after.value, ast.Constant)
                and isinstance(after.value.value, str)
            )
            above = lines[node.lineno - 2].lstrip() if node.lineno > 1 else ""
            own = lines[node.lineno - 1 : node.end_lineno]
            if not (documented or above.startswith("#") or any("#" in line for line in own)):
                bare.append(f"{name(path)}:{node.lineno} {constant}")
    assert not bare, "\n".join(bare)


def test_class_names_are_unique() -> None:
    where = defaultdict(list)
    for path in FILES:
        for node in ast.walk(TREES[path]):
            if isinstance(node, ast.ClassDef):
                where[node.name].append(name(path))
    doubled = {key: places for key, places in where.items() if len(places) > 1}
    assert not doubled, doubled


def test_a_figure_s_name_has_one_meaning() -> None:
    where = defaultdict(set)
    for path in FILES:
        for constant, value, _ in constants(path):
            if is_figure(value):
                where[constant].add(name(path))
    doubled = {key: sorted(places) for key, places in where.items() if len(places) > 1}
    assert not doubled, doubled


def imports(path: Path) -> set[Path]:
    """Files of the house that a file imports, also inside functions, but not for types alone."""
    found = set()
    for node in ast.walk(_without_types(TREES[path])):
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("trivet"):
            parts = (node.module or "").split(".")[1:]
            for alias in node.names:
                for tail in ([*parts, alias.name], parts):
                    file = SOURCE.joinpath(*tail).with_suffix(".py") if tail else None
                    if file and file.is_file():
                        found.add(file)
                        break
    return found - {path}


def _without_types(tree: ast.Module) -> ast.Module:
    kept = [
        node
        for node in tree.body
        if not (
            isinstance(node, ast.If)
            and isinstance(node.test, ast.Name)
            and node.test.id == "TYPE_CHECKING"
        )
    ]
    return ast.Module(kept, [])


def test_no_files_import_one_another_in_a_circle() -> None:
    try:
        TopologicalSorter({path: imports(path) for path in FILES}).prepare()
    except CycleError as error:
        raise AssertionError(" -> ".join(name(path) for path in error.args[1])) from None


PLACE = re.compile(r"(?<![\w/.*{<-])((?:src|tests|docs|benchmarks|examples)/[\w./-]*[\w-])")
ROOM = re.compile(r"(?<![\w/.])((?:facts|physics|models|device|stages|scoring|present|files|"
                  r"records|flow|cli)/[\w/]+\.(?:py|csv|toml|c|h))\b")  # fmt: skip


def test_every_path_that_is_named_exists() -> None:
    pages = [*ROOT.glob("*.md"), *(ROOT / "docs").rglob("*.md")]
    texts = {path: path.read_text("utf-8") for path in pages}
    texts |= {
        path: "\n".join(
            ast.get_docstring(node) or ""
            for node in ast.walk(TREES[path])
            if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef))
        )
        for path in FILES
    }
    missing = []
    for path, text in texts.items():
        if path.name == "CHANGELOG.md":
            continue
        named = [ROOT / one for one in PLACE.findall(text)]
        named += [SOURCE / one for one in ROOM.findall(text)]
        missing += [
            f"{name(path)} names {one.relative_to(ROOT)}"
            for one in named
            if not one.exists() and "results" not in one.parts and "NAME" not in str(one)
        ]
    assert not missing, "\n".join(missing)


def code_lines(path: Path) -> int:
    """Lines of a file without blanks, comments and docstrings."""
    docs: set[int] = set()
    for node in ast.walk(TREES[path]):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)):
            first = node.body[0] if node.body else None
            if (
                isinstance(first, ast.Expr)
                and isinstance(first.value, ast.Constant)
                and isinstance(first.value.value, str)
            ):
                docs.update(range(first.lineno, (first.end_lineno or first.lineno) + 1))
    return sum(
        1
        for at, line in enumerate(path.read_text("utf-8").splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#") and at not in docs
    )


def room(path: Path) -> str:
    parts = path.relative_to(SOURCE).parts
    if len(parts) == 1:
        return "house"
    return "/".join(parts[:2]) if parts[0] in ("physics", "stages") and len(parts) > 2 else parts[0]


def test_rooms_keep_to_their_budget() -> None:
    """A raise of a budget needs a line in the change log."""
    budget = tomllib.loads(BUDGET.read_text("utf-8"))
    used: Counter[str] = Counter()
    for path in FILES:
        used[room(path)] += code_lines(path)
    over = {one: (lines, budget["lines"].get(one)) for one, lines in used.items()
            if lines > budget["lines"].get(one, 0)}  # fmt: skip
    assert not over, f"room: (code lines, budget): {over}"
    assert not set(budget["lines"]) - set(used), "a budget for a room that is gone"
    assert sum(used.values()) <= budget["total_lines"]
    assert len(FILES) <= budget["total_files"]
