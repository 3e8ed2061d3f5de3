"""Where each key of a TOML text stands, so that a fault can name its line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping

Path = tuple[str | int, ...]

_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"{3,5}'
    r"|'''.*?'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
    r"|\#[^\n]*"
    r"|\n|[\[\]{}=,.]"
    r"|[^\s\[\]{}=,.#\"']+",
    re.DOTALL,
)


class _Scan:
    """One pass over the tokens of a text that tomllib has already accepted."""

    def __init__(self, text: str):
        self.lines: dict[Path, int] = {(): 1}
        self.counts: dict[Path, int] = {}
        self.at = 0
        self.tokens: list[tuple[str, int]] = []
        line = 1
        for match in _TOKEN.finditer(text):
            if not match.group().startswith("#"):
                self.tokens.append((match.group(), line))
            line += match.group().count("\n")

    def peek(self) -> str:
        return self.tokens[self.at][0] if self.at < len(self.tokens) else ""

    def take(self) -> str:
        self.at += 1
        return self.tokens[self.at - 1][0]

    def note(self, path: Path) -> None:
        self.lines.setdefault(path, self.tokens[min(self.at, len(self.tokens) - 1)][1])

    def skip_newlines(self) -> None:
        while self.peek() == "\n":
            self.at += 1

    def key(self, base: Path, stop: str) -> Path:
        """Read a dotted key up to its ``=`` or ``]``, noting every part of it."""
        path = base
        while self.peek() != stop:
            if self.peek() != ".":
                word = self.peek()
                path += (_plain(word),)
                self.note(path)
                if stop == "]" and path in self.counts:
                    path += (self.counts[path] - 1,)
            self.at += 1
        self.at += 1
        return path

    def value(self, path: Path) -> None:
        """Step over a value, noting what stands inside arrays and inline tables."""
        opening = self.peek()
        if opening not in ("[", "{"):
            while self.peek() not in (",", "]", "}", "\n", ""):
                self.at += 1
            return
        closing = "]" if opening == "[" else "}"
        self.at += 1
        index = 0
        self.skip_newlines()
        while self.peek() != closing:
            if opening == "[":
                self.note((*path, index))
                self.value((*path, index))
                index += 1
            else:
                self.value(self.key(path, "="))
            self.skip_newlines()
            if self.peek() == ",":
                self.at += 1
            self.skip_newlines()
        self.at += 1

    def header(self) -> Path:
        """Read ``[table]`` or ``[[table]]``; the latter starts a new element."""
        self.at += 1
        if self.peek() != "[":
            return self.key((), "]")
        self.at += 1
        path = self._array_path()
        self.counts[path] = self.counts.get(path, 0) + 1
        element = (*path, self.counts[path] - 1)
        self.note(element)
        self.at += 2
        return element

    def _array_path(self) -> Path:
        path: Path = ()
        while self.peek() != "]":
            if self.peek() != ".":
                if path in self.counts:
                    path += (self.counts[path] - 1,)
                path += (_plain(self.peek()),)
                self.note(path)
            self.at += 1
        return path


def _plain(word: str) -> str:
    """Return a key as tomllib gives it, quotes resolved."""
    if word[:1] not in ("'", '"'):
        return word
    return str(tomllib.loads(f"key = {word}")["key"])


def toml_lines(text: str) -> dict[Path, int]:
    """Return the line of every key path of a TOML text.

    Parameters
    ----------
    text : str
        TOML that ``tomllib`` accepts; anything else gives meaningless lines.

    Returns
    -------
    dict
        From a path such as ``("heads", 0, "mount", "height")`` to its line,
        counted from 1; tables, elements of arrays and keys of inline tables
        included.
    """
    scan = _Scan(text)
    table: Path = ()
    while scan.peek():
        if scan.peek() == "\n":
            scan.at += 1
        elif scan.peek() == "[":
            table = scan.header()
        else:
            scan.value(scan.key(table, "="))
    return scan.lines


def line_of(lines: Mapping[Path, int], path: Path) -> int | None:
    """Return the line of a path, or of the innermost part of it that is in the text."""
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None
