"""A TOML file read with its lines, and pydantic's errors as faults that name file and line."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path as FilePath
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from trivet.errors import Fault, FormatError, InputError, nearest
from trivet.records.figures import Quantity

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


M = TypeVar("M", bound=BaseModel)

_SIZE_LIMIT = 4_000_000  # own estimate: a thousand cooks written one by one take under 2 MB


@dataclass(frozen=True)
class TomlFile:
    """The content of one TOML file and the line of each of its keys."""

    name: str
    content: dict[str, Any]
    lines: Mapping[Path, int]

    def fault(self, path: Path, found: str, allowed: str) -> Fault:
        """Return a fault at a key path of the file."""
        return Fault(
            self.name, line_of(self.lines, path), key_text(path) or "(file)", found, allowed
        )

    def entries(self, key: str) -> Iterator[tuple[int, dict[str, Any]]]:
        """Yield index and table of each entry of an array of tables, whatever else is wrong."""
        raw = self.content.get(key, [])
        if isinstance(raw, list):
            yield from ((at, entry) for at, entry in enumerate(raw) if isinstance(entry, dict))

    def names(self, key: str, field: str = "name") -> tuple[str, ...]:
        """Return the names that an array of tables defines."""
        return tuple(
            entry[field] for _, entry in self.entries(key) if isinstance(entry.get(field), str)
        )


def key_text(path: Path) -> str:
    """Return a key path as ``heads[0].mount.height``."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def read_toml(path: str | FilePath, *, newest: int) -> TomlFile:
    """Read a TOML file whose ``format`` is known.

    Parameters
    ----------
    path : path of the file
    newest : int
        The newest format version that this program reads.

    Raises
    ------
    InputError
        If the file is missing or cannot be read.
    FormatError
        If it is no TOML in UTF-8 (with its line), or of an unknown format.
    """
    file = FilePath(path)
    try:
        if file.stat().st_size > _SIZE_LIMIT:
            raise FormatError(f"{file}: larger than {_SIZE_LIMIT // 10**6} MB; not a design file")
        text = file.read_bytes().decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        where = f"byte {error.start}"
        raise FormatError(f"{file}: not text in UTF-8 ({where}); save it as UTF-8") from error
    except OSError as error:
        raise InputError(f"{file}: cannot be read: {error.strerror}") from error
    try:
        content = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FormatError(_syntax_message(file, str(error), text)) from error
    version = content.get("format")
    if isinstance(version, int) and not isinstance(version, bool) and version != newest:
        raise FormatError(
            f"{file}:{line_of(toml_lines(text), ('format',))}: format = {version} is not known; "
            f"this version of Trivet reads format = {newest}"
        )
    return TomlFile(str(file), content, toml_lines(text))


def _syntax_message(file: FilePath, message: str, text: str) -> str:
    """Return the parser's message with ``file:line`` in front."""
    found = re.search(r"line (\d+)", message)
    line = int(found.group(1)) if found else text.count("\n") + 1
    return f"{file}:{line}: not valid TOML: {message}"


def validate(model: type[M], toml: TomlFile) -> tuple[M | None, tuple[Fault, ...]]:
    """Return the record that a file holds, or None and every fault of the file's shape.

    Parameters
    ----------
    model : subclass of pydantic's BaseModel
        What the file should hold.
    toml : TomlFile
        The file as read.
    """
    try:
        return model.model_validate(toml.content), ()
    except ValidationError as error:
        errors = [dict(one) for one in error.errors(include_url=False)]
        return None, tuple(
            _shape_fault(toml, model, one) for one in errors if not _follows(one, errors)
        )


def _follows(error: dict[str, Any], errors: list[dict[str, Any]]) -> bool:
    """Return whether a list only counts as too short because its entries are at fault."""
    place = error["loc"]
    return error["type"] == "too_short" and any(
        len(other["loc"]) > len(place) and other["loc"][: len(place)] == place for other in errors
    )


def _shape_fault(toml: TomlFile, model: type[BaseModel], error: dict[str, Any]) -> Fault:
    path = tuple(error["loc"])
    context = error.get("ctx", {})
    kind = error["type"]
    if kind == "extra_forbidden":
        known = [key for key, _ in _fields(model, path[:-1])]
        found = f"unknown key {path[-1]!r}"
        return toml.fault(path, found, nearest(str(path[-1]), known))
    if kind == "missing":
        return toml.fault(path, "missing", _wanted(model, path))
    if "allowed" in context:
        return toml.fault(path, str(context["found"]), str(context["allowed"]))
    found = f"{_short(error['input'])}"
    if kind == "literal_error":
        return toml.fault(path, found, f"one of {context['expected']}")
    return toml.fault(path, found, error["msg"][:1].lower() + error["msg"][1:])


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _wanted(model: type[BaseModel], path: Path) -> str:
    """Return what a missing key stands for, from the field's own docstring."""
    field = dict(_fields(model, path[:-1])).get(str(path[-1]))
    if field is None:
        return "required"
    allowed = [one.allowed_text() for one in field.metadata if isinstance(one, Quantity)]
    says = [f"required: {allowed[0]}" if allowed else "required"]
    if field.description:
        says.append(field.description.strip().rstrip("."))
    return "; ".join(says)


def _fields(model: type[BaseModel], path: Path) -> list[tuple[str, FieldInfo]]:
    """Return key and field of each field of the model that stands at a path."""
    for part in path:
        if isinstance(part, int):
            continue
        field = dict(file_fields(model)).get(part)
        inner = None if field is None else model_in(field.annotation)
        if inner is None:
            return []
        model = inner
    return file_fields(model)


def file_fields(model: type[BaseModel]) -> list[tuple[str, FieldInfo]]:
    """Return key and field of each field of a model."""
    return [(field.alias or name, field) for name, field in model.model_fields.items()]


def model_in(annotation: Any) -> type[BaseModel] | None:
    """Return the model inside ``tuple[Model, ...]``, ``Model | None`` or ``Model``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    inner = (model_in(one) for one in get_args(annotation))
    return next((one for one in inner if one is not None), None)
