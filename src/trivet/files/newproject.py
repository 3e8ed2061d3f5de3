"""Makes a new project folder from one of the scenarios."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

from trivet.errors import InputError, StorageError
from trivet.files.schema import write_schema

FILES = ("design.toml", "cooks.toml")


def scenarios() -> dict[str, Path]:
    """Return the folders of the scenarios that come with the package, by name."""
    return {
        folder.name: folder
        for root in _roots()
        if root.is_dir()
        for folder in sorted(root.iterdir())
        if all((folder / name).is_file() for name in FILES)
    }


def _roots() -> Iterator[Path]:
    package = Path(str(resources.files("trivet")))
    yield package.parent.parent / "examples"  # an editable install, beside its repository
    yield package / "scenarios"


def new_project(directory: str | Path, *, scenario: str = "larkpane") -> Path:
    """Make a project folder: commented files, their schemas, a place for bench cooks.

    Parameters
    ----------
    directory : path
        Where; it must not exist, or be empty.
    scenario : str
        Which worked example to start from.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    InputError
        If the scenario is unknown, or something stands in the place already.
    StorageError
        If the folder cannot be written; nothing is left behind.
    """
    known = scenarios()
    if scenario not in known:
        raise InputError(f"no scenario {scenario!r}; known: {', '.join(known) or 'none'}")
    target = Path(directory)
    if target.exists() and (not target.is_dir() or any(target.iterdir())):
        raise InputError(f"{target}: exists and is not empty; choose another folder")
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    except OSError as error:
        raise StorageError(f"{target}: cannot be made: {error.strerror}") from error
    try:
        _fill(made, known[scenario])
        made.chmod(0o777 & ~_umask())
        made.replace(target)
    except OSError as error:
        raise StorageError(f"{target}: cannot be written: {error.strerror}") from error
    finally:
        shutil.rmtree(made, ignore_errors=True)
    return target


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _fill(folder: Path, source: Path) -> None:
    for name in FILES:
        text = (source / name).read_text(encoding="utf-8")
        directive = f"#:schema ./{name.removesuffix('.toml')}.schema.json"
        if not text.startswith(directive):
            text = f"{directive}\n{text}"
        (folder / name).write_text(text, encoding="utf-8")
    write_schema(folder)
    (folder / "bench").mkdir()
    write_schema(folder / "bench", names=("cook",))
    readme = resources.files("trivet.files").joinpath("bench_readme.md").read_text("utf-8")
    (folder / "bench" / "README.md").write_text(readme, encoding="utf-8")
