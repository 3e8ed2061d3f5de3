"""The store of records: ``results/STAGE/KEY``, written whole or not at all, never overwritten.

A stored record is a folder with ``record.json`` (its tree, see
records/provenance.py) and ``arrays.npz``.  It is written into a sibling folder
under a temporary name, flushed, and renamed.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import io
import json
import re
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, ParamSpec, TypeVar, get_type_hints

import numpy as np
from numpy.typing import NDArray
from pydantic import TypeAdapter, ValidationError

from trivet.errors import InputError, StorageError
from trivet.files.atomic import new_folder
from trivet.records.provenance import ARRAY_KEY, BYTES_KEY, fingerprint, record_tree

T = TypeVar("T")
P = ParamSpec("P")

STORE_FORMAT = 1  # version of the format; raised when an older program could not read it
RECORD_FILE = "record.json"
ARRAYS_FILE = "arrays.npz"
_NAME = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]*$")


@cache
def code_version() -> str:
    """Return the hash of the package's own sources and tables, as they were when first asked."""
    return folder_version(Path(__file__).parents[1])


def folder_version(package: Path) -> str:
    """Return the hash of a package's sources and tables."""
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.suffix in (".py", ".csv", ".toml", ".j2", ".css"):
            digest.update(path.relative_to(package).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()


def record_key(*inputs: object) -> str:
    """Return the key of what this code makes of some inputs."""
    return fingerprint(code_version(), *inputs)[:32]


@dataclass(frozen=True)
class Store:
    """The results of one project: what this code made of just these inputs is read, not made."""

    folder: Path
    fresh: bool = False
    """Make again what is stored; another result under the same key is a fault."""

    def path(self, stage: str, *inputs: object) -> Path:
        """Return the folder of what a stage makes of some inputs."""
        return record_path(self.folder, stage, record_key(*inputs))

    def page(self, stage: str, page: str) -> Path:
        """Store one self-contained page under its own hash and return its file.

        Raises
        ------
        StorageError
            If the disk is full or not writable; no half-written folder is left.
        """
        folder = record_path(self.folder, stage, hashlib.sha256(page.encode()).hexdigest()[:32])
        if not folder.is_dir():
            with new_folder(folder) as part:
                (part / f"{stage}.html").write_text(page, encoding="utf-8", newline="\n")
        return folder / f"{stage}.html"

    def made(
        self, stage: str, kind: type[T], inputs: tuple[object, ...], make: Callable[[], T]
    ) -> T:
        """Return the stored record of a stage's inputs, made and stored where there is none."""
        key = record_key(stage, *inputs)
        kept = None if self.fresh else load(self.folder, stage, key, kind)
        return save(self.folder, stage, key, make()) if kept is None else kept

    def run(self, stage: Callable[P, T], *args: P.args, **named: P.kwargs) -> T:
        """Return what a stage gives for its inputs; its name is that of its results."""
        kind = get_type_hints(stage)["return"]
        found: T = self.made(
            stage.__name__, kind, (*args, *named.values()), lambda: stage(*args, **named)
        )
        return found


def record_path(project: str | Path, stage: str, key: str) -> Path:
    """Return the folder of a stored record.

    Raises
    ------
    InputError
        If stage or key is no plain name.
    """
    for name in (stage, key):
        if not _NAME.match(name):
            raise InputError(f"{name!r} cannot name a stored record; use letters, digits, . _ -")
    return Path(project) / "results" / stage / key


def save(project: str | Path, stage: str, key: str, record: T) -> T:
    """Store a record and return it as a later ``load`` gives it.

    Parameters
    ----------
    project : path
        The project folder.
    stage, key : str
        The record goes to ``results/STAGE/KEY``.
    record : a record
        Any frozen record; the name of its type is stored with it.

    Returns
    -------
    the record
        Rebuilt from its stored form, so that its fingerprint is that of what
        lies on the disk.  The same record that stands there already is kept.

    Raises
    ------
    StorageError
        If the disk is full or not writable, if another record has the key, or
        if the record cannot be rebuilt; no half-written folder is left.
    """
    folder = record_path(project, stage, key)
    kept = rebuilt(*record_tree(record), kind=type(record), where=folder)
    stored = load(project, stage, key, type(record))
    if stored is not None:
        return _same(stored, kept, folder)
    with new_folder(folder) as part:
        _write(part, stage, kept)
    return kept


def _same(stored: T, record: T, folder: Path) -> T:
    if fingerprint(stored) != fingerprint(record):
        raise StorageError(f"{folder}: holds another record under this key; nothing was changed")
    return stored


def _write(folder: Path, stage: str, record: object) -> None:
    tree, arrays = record_tree(record)
    content = {
        "format": STORE_FORMAT,
        "stage": stage,
        "type": type(record).__name__,
        "fingerprint": fingerprint(record),
        "record": tree,
    }
    text = json.dumps(content, indent=1, ensure_ascii=False, allow_nan=False)
    (folder / RECORD_FILE).write_text(text + "\n", encoding="utf-8")
    if arrays:
        packed = io.BytesIO()
        np.savez_compressed(packed, allow_pickle=False, **_writable(arrays))
        (folder / ARRAYS_FILE).write_bytes(packed.getbuffer())


def _writable(arrays: dict[str, NDArray[Any]]) -> dict[str, Any]:
    return {name: np.ascontiguousarray(array) for name, array in arrays.items()}


def load(project: str | Path, stage: str, key: str, kind: type[T]) -> T | None:
    """Return a stored record, or None where there is none.

    Parameters
    ----------
    project : path
        The project folder.
    stage, key : str
        The record lies in ``results/STAGE/KEY``.
    kind : type
        What it must be.

    Raises
    ------
    StorageError
        If it is damaged, of an unknown format or of another type.
    """
    folder = record_path(project, stage, key)
    if not folder.exists():
        return None
    content = _content(folder)
    if content.get("format") != STORE_FORMAT:
        raise StorageError(
            f"{folder}: format {content.get('format')!r} is not known; this version reads "
            f"{STORE_FORMAT}"
        )
    if content.get("type") != kind.__name__:
        raise StorageError(f"{folder}: holds a {content.get('type')}, not a {kind.__name__}")
    record = rebuilt(content.get("record"), _arrays(folder), kind=kind, where=folder)
    if fingerprint(record) != content.get("fingerprint"):
        raise StorageError(f"{folder}: damaged: its content does not match its hash; {_ADVICE}")
    return record


_ADVICE = "remove the folder and run the stage again"


def _content(folder: Path) -> dict[str, Any]:
    try:
        content = json.loads((folder / RECORD_FILE).read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise StorageError(f"{folder}: damaged: {RECORD_FILE} is gone; {_ADVICE}") from error
    except (OSError, ValueError, RecursionError) as error:
        raise StorageError(f"{folder / RECORD_FILE}: damaged ({error}); {_ADVICE}") from error
    if not isinstance(content, dict):
        raise StorageError(f"{folder / RECORD_FILE}: damaged; {_ADVICE}")
    return content


def _arrays(folder: Path) -> dict[str, NDArray[Any]]:
    file = folder / ARRAYS_FILE
    if not file.exists():
        return {}
    try:
        with file.open("rb") as handle, np.load(handle, allow_pickle=False) as packed:
            arrays = {name: packed[name] for name in packed.files}
    except (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile, zlib.error) as error:
        raise StorageError(f"{file}: damaged ({error}); {_ADVICE}") from error
    for array in arrays.values():
        array.flags.writeable = False
    return arrays


def rebuilt(tree: Any, arrays: dict[str, NDArray[Any]], *, kind: type[T], where: object) -> T:
    """Return the record of a tree and its arrays.

    Parameters
    ----------
    tree, arrays
        What :func:`trivet.records.provenance.record_tree` gave.
    kind : type
        Type of the record.
    where
        What a message names.

    Raises
    ------
    StorageError
        If the tree is not that of such a record.
    """
    try:
        return TypeAdapter(kind).validate_python(_with_arrays(tree, arrays))
    except (ValidationError, KeyError, ValueError, TypeError, binascii.Error) as error:
        raise StorageError(
            f"{where}: damaged: not a stored {kind.__name__} ({str(error)[:300]})"
        ) from error


def _with_arrays(tree: Any, arrays: dict[str, NDArray[Any]]) -> Any:
    """Return a tree with its arrays and bytes put back."""
    if isinstance(tree, list):
        return [_with_arrays(one, arrays) for one in tree]
    if not isinstance(tree, dict):
        return tree
    if len(tree) == 1:
        ((key, value),) = tree.items()
        if key == ARRAY_KEY and isinstance(value, str):
            return arrays[value]
        if key == BYTES_KEY and isinstance(value, str):
            return base64.b64decode(value, validate=True)
    return {key: _with_arrays(one, arrays) for key, one in tree.items()}
