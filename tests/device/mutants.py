"""Small changes to C text, one at a time: what a checker must notice."""

from __future__ import annotations

import re
from collections.abc import Iterator

_CODE = re.compile(r"/\*.*?\*/|#include[^\n]*|\"[^\"\n]*\"", flags=re.S)
_NUMBER = re.compile(r"(?<![\w.])([2-9]|\d\d+)(u?)(?![\w.])")
_SWAPS = {
    " < ": " > ",
    " <= ": " > ",
    " > ": " < ",
    " >= ": " < ",
    " && ": " || ",
    " || ": " && ",
    " == ": " != ",
    " != ": " == ",
}


def mutants(text: str) -> Iterator[tuple[int, str, str]]:
    """Yield line, what was changed, and the changed text, of every number and comparison.

    A number above 1 grows by a tenth, by 1 at least; a comparison is turned round.
    """
    skipped = [match.span() for match in _CODE.finditer(text)]

    def free(at: int) -> bool:
        return not any(a <= at < b for a, b in skipped)

    for match in _NUMBER.finditer(text):
        if free(match.start()):
            more = f"{int(match[1]) + max(1, int(match[1]) // 10)}{match[2]}"
            yield _changed(text, match.start(), match.end(), more)
    for match in re.finditer("|".join(map(re.escape, _SWAPS)), text):
        if free(match.start()):
            yield _changed(text, match.start(), match.end(), _SWAPS[match[0]])


def _changed(text: str, begin: int, end: int, new: str) -> tuple[int, str, str]:
    line = text.count("\n", 0, begin) + 1
    code = text.splitlines()[line - 1].strip()
    what = f"{text[begin:end].strip()} -> {new.strip()} in: {code}"
    return line, what, text[:begin] + new + text[end:]
