"""Files and folders that appear whole or not at all."""

from __future__ import annotations

import errno
import os
import shutil
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path

from trivet.errors import StorageError


@contextmanager
def new_folder(folder: Path) -> Iterator[Path]:
    """Yield a temporary sibling that is flushed and renamed to the folder at the end.

    On any fault, Ctrl-C included, the temporary folder is removed and nothing
    stands under the folder's name.
    """
    part: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix=f".{folder.name[:16]}-", dir=folder.parent))
        yield part
        part.chmod(0o755)
        with ThreadPoolExecutor(16) as pool:  # flushes side by side share one journal write
            list(pool.map(_flush, (*part.rglob("*"), part)))
        if not folder.exists():  # two runs may race to the same content
            os.replace(part, folder)
            _flush(folder.parent)
    except OSError as fault:
        if part is not None and fault.errno in (errno.EEXIST, errno.ENOTEMPTY) and folder.is_dir():
            return
        raise storage_error(folder, fault) from fault
    finally:
        if part is not None and part.exists():
            shutil.rmtree(part, ignore_errors=True)


def _flush(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_text(path: Path, text: str) -> None:
    """Write a text file through a temporary sibling and a rename."""
    part: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
        part = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        part.chmod(0o644)
        os.replace(part, path)
    except OSError as fault:
        raise storage_error(path, fault) from fault
    finally:
        if part is not None and part.exists():
            part.unlink()


def storage_error(path: Path, fault: OSError) -> StorageError:
    """Return what to tell of a write that failed."""
    return StorageError(
        f"{path}: cannot be written: {fault.strerror or fault}; nothing was left half written. "
        "Free space or choose another folder, then run the command again"
    )
