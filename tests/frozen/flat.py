"""Records as flat maps of path and value, and what of them must not change."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Mapping
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

import numpy as np
from tests.frozen.captured import record_tree

Flat = dict[str, Any]
NUMBER = re.compile(r"0x[0-9a-fA-F]+|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
HASH = re.compile(r"\b[0-9a-f]{12,}\b")
LEFT_OUT = {"hashes", "manifest", "fingerprint"}
GENERATED = re.compile(r"file (cook_|error_map\.csv|.*(_vectors|_seeds|_data|_table|_expected)\.)")
"""Files of numbers in a bundle; the rest of it is program and prose."""
WORDS = 3
"""Words of a field's value at most; longer texts are prose, of which only the numbers are kept."""


def flat(name: str, record: object) -> Flat:
    """Return path -> number, truth value, word or array; ``path#`` -> the numbers of a prose."""
    if isinstance(record, str):
        return {"numbers" if GENERATED.match(name) else "#": numbers(record)}
    tree, arrays = record_tree(record)
    found: Flat = {}
    _walk(tree, arrays, (), found)
    return found


def _walk(tree: Any, arrays: Mapping[str, Any], path: tuple[str, ...], found: Flat) -> None:
    if path and path[-1] in LEFT_OUT:
        return
    here = "/".join(path)
    if isinstance(tree, dict) and set(tree) == {"array"}:
        found[here] = np.asarray(arrays[tree["array"]])
    elif isinstance(tree, (dict, list)):
        items = tree.items() if isinstance(tree, dict) else enumerate(tree)
        for key, value in items:
            _walk(value, arrays, (*path, str(key)), found)
    elif isinstance(tree, str) and not _is_word(tree):
        found[f"{here}#"] = numbers(tree)
    else:
        found[here] = tree


def _is_word(text: str) -> bool:
    few = len(text.split()) <= WORDS and not re.search(r"[\d.;:,]", text)
    return not HASH.search(text) and (" " not in text or few)


def numbers(text: str) -> np.ndarray:
    """Return the numbers in a text in their order, lines with a hash left out."""
    lines = [line for line in text.splitlines() if not HASH.search(line)]
    found = NUMBER.findall("\n".join(lines))
    return np.array([float(int(x, 16)) if x[1:2] == "x" else float(x) for x in found])


def token(value: Any) -> str:
    """Return what stands for a value where values are compared."""
    if isinstance(value, np.ndarray):
        digest = hashlib.sha256(np.ascontiguousarray(value).tobytes()).hexdigest()[:24]
        return f"{value.dtype.str} {value.shape} {digest}"
    if isinstance(value, bool) or value is None:
        return str(value)
    return repr(float(value)) if isinstance(value, (int, float)) else f"'{value}"


class Renamed:
    """The map of new names to old ones."""

    def __init__(self) -> None:
        given = tomllib.loads(Path(__file__).with_name("renamed.toml").read_text("utf-8"))
        self.fields = {new: old for old, new in given["fields"].items()}
        self.words = {new: old for old, new in given["words"].items()}
        self.differences: dict[str, str] = given["differences"]

    def old(self, new: Flat) -> Flat:
        """Return a record under the names that it had when it was frozen."""
        return {self._path(path): self._word(value) for path, value in new.items()}

    def _path(self, path: str) -> str:
        whole = f"/{path}/".replace("#/", "/#")
        for new, old in self.fields.items():
            whole = whole.replace(f"/{new}/", f"/{old}/")
        return whole.replace("/#", "#/").strip("/")

    def _word(self, value: Any) -> Any:
        return self.words.get(value, value) if isinstance(value, str) else value

    def reason(self, where: str) -> str:
        """Return why a difference may be; empty where it may not."""
        return next((why for what, why in self.differences.items() if fnmatch(where, what)), "")


def digests(record: Flat, *, page: bool = False) -> dict[str, str]:
    """Return field -> digest of what is in it; ``*`` stands for all values wherever they stand.

    Fields are the first two steps of a path without places in a list. Prose has none. Of a page
    only the curves count, wherever they are drawn.
    """
    data = {path: token(value) for path, value in record.items() if not path.endswith("#")}
    curves = {one for path, one in data.items() if isinstance(record[path], np.ndarray)}
    groups: dict[str, list[str]] = {"*": sorted(curves if page else data.values())}
    for path, one in () if page else sorted(data.items()):
        steps = [step for step in path.split("/") if not step.isdigit()][:2]
        groups.setdefault("/".join(steps) or ".", []).append(f"{path}={one}")
    return {
        name: hashlib.sha256("\n".join(lines).encode()).hexdigest()[:12]
        for name, lines in sorted(groups.items())
    }
