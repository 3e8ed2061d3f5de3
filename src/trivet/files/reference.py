"""Tables of every key of the project's files, made from the records that read them."""

from __future__ import annotations

from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from trivet.files.schema import SCHEMAS, as_written
from trivet.records.figures import Money, MoneyText, Quantity


def key_tables(name: str) -> str:
    """Return tables in Markdown of every key of a file.

    Parameters
    ----------
    name : {"design", "cooks", "cook"}
        Which file.

    Returns
    -------
    str
        One table for the file and one for each kind of table in it: key, what
        it takes, its default and its meaning.
    """
    waiting: list[tuple[str, type[BaseModel]]] = [("", SCHEMAS[name])]
    done: list[str] = []
    for path, model in waiting:
        title = f"### `{path}`" if path else "### The file"
        rows = ["| key | takes | default | meaning |", "|---|---|---|---|"]
        for field_name, field in model.model_fields.items():
            key = field.alias or field_name
            rows.append(_row(key, field))
            inner, many = _table_in(field.annotation)
            if inner is not None:
                below = f"{path}.{key}" if path else key
                waiting.append((f"{below}[]" if many else below, inner))
        done.append("\n".join([title, "", (model.__doc__ or "").split("\n\n")[0], "", *rows]))
    return "\n\n".join(done) + "\n"


def _row(key: str, field: FieldInfo) -> str:
    if field.is_required():
        default = "required"
    else:
        shown = as_written(field.get_default(call_default_factory=True, validated_data={}))
        default = "–" if shown in (None, "", [], {}) else _default_text(shown)
    meaning = " ".join((field.description or "").split())
    cells = (f"`{key}`", _takes(field.annotation, field.metadata), default, meaning)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |"


def _default_text(shown: Any) -> str:
    if isinstance(shown, dict):
        return "its defaults"
    if isinstance(shown, bool):
        return f"`{str(shown).lower()}`"
    return f"`{shown}`" if not isinstance(shown, list) else ", ".join(f"`{one}`" for one in shown)


def _takes(annotation: Any, metadata: list[Any]) -> str:
    """Return in words what a field takes."""
    for one in metadata:
        if isinstance(one, Quantity):
            return one.allowed_text().replace(" as text", "")
        if isinstance(one, MoneyText):
            return "money, e.g. '149.00 USD'"
    if get_origin(annotation) is Literal:
        return ", ".join(f"`{one}`" for one in get_args(annotation))
    inner, many = _table_in(annotation)
    if inner is not None:
        return "tables" if many else "table"
    if get_origin(annotation) is dict:
        return "table"
    arguments = [one for one in get_args(annotation) if one not in (type(None), Ellipsis)]
    if hasattr(annotation, "__metadata__"):
        return _takes(arguments[0], list(annotation.__metadata__))
    if get_origin(annotation) is tuple:
        return f"list of: {_takes(arguments[0], [])}"
    if arguments:
        return " or ".join(_takes(one, []) for one in arguments)
    names = {str: "text", int: "whole number", bool: "`true`, `false`", float: "number"}
    return names.get(annotation, "money" if annotation is Money else "text")


def _table_in(annotation: Any) -> tuple[type[BaseModel] | None, bool]:
    """Return the record inside an annotation, and whether there are several."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation, False
    for one in get_args(annotation):
        inner, _ = _table_in(one)
        if inner is not None:
            return inner, get_origin(annotation) is tuple
    return None, False
