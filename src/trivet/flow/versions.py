"""The version of the code: what a stored record depends on beside its inputs."""

from __future__ import annotations

import hashlib
from functools import cache
from pathlib import Path


@cache
def code_version() -> str:
    """Return the hash of the package's own sources and tables, as they were when first asked."""
    return _code_version(Path(__file__).parents[1])


def _code_version(package: Path) -> str:
    digest = hashlib.sha256()
    for path in sorted(package.rglob("*")):
        if path.suffix in (".py", ".csv", ".toml", ".j2", ".css"):
            digest.update(path.relative_to(package).as_posix().encode())
            digest.update(path.read_bytes())
    return digest.hexdigest()
