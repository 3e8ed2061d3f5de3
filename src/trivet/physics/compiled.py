"""Compile functions that call one another across files, and keep the result on disk safely."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

from trivet.facts.thresholds import TABLE

F = TypeVar("F")


def family(*paths: Path, contract: bool = False, reassociate: bool = False) -> Callable[[F], F]:
    """Return a decorator that compiles the functions of some files, which call one another.

    The compiler's disk cache looks at a function's own file only, so a change in one file of a
    family would leave stale code in its callers: the stamp of a cached function is therefore that
    of the whole family, and of the registry of thresholds where the family reads it.

    paths : files of the family; a folder stands for all its Python files
    contract : allow fused multiply-add; it changes last bits between processor families
    reassociate : allow sums in another order, for vector registers; likewise
    Returns : decorator: compiled at first use, without the interpreter lock; division by zero gives
        inf or NaN
    Notes : Hashing a family of ten files takes under 1 ms at import. Without either option a value
        does not depend on its place in a vector register, so a block of frames gives the bits that
        its frames give one by one.
    """
    files = [sorted(path.glob("*.py")) if path.is_dir() else [path] for path in paths]
    texts = [one.read_bytes() for part in files for one in part]
    if any(b"trivet.facts.thresholds" in text for text in texts):
        texts.append(TABLE.read_bytes())  # compiled code freezes the figures of the registry
    stamp = hashlib.sha256(b"".join(texts))
    options: dict[str, Any] = {"cache": True, "nogil": True, "error_model": "numpy"}
    allowed = {"contract": contract, "reassoc": reassociate}
    if any(allowed.values()):
        options["fastmath"] = {name for name, given in allowed.items() if given}

    def compiled(function: F) -> F:
        dispatcher: Any = numba.njit(**options)(cast(Any, function))
        cache_file: Any = getattr(dispatcher._cache, "_cache_file", None)
        if not hasattr(cache_file, "_source_stamp"):  # another version: rather slow than stale
            return cast(F, numba.njit(**{**options, "cache": False})(cast(Any, function)))
        cache_file._source_stamp = stamp.hexdigest()
        _forget_unreadable(dispatcher._cache, Path(cache_file._index_path))
        return cast(F, dispatcher)

    return compiled


def _forget_unreadable(cache: Any, index: Path) -> None:
    """Compile anew where the index on disk names classes that this version no longer has."""
    load = cache.load_overload

    def loaded(*given: Any) -> Any:
        try:
            return load(*given)
        except (AttributeError, ImportError):
            index.unlink(missing_ok=True)
            return None

    cache.load_overload = loaded
