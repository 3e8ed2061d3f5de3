"""What the project's files may hold, made from the records that read them.

JSON schemas for editors that check and complete TOML, and tables of every key for docs/formats.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic.json_schema import GenerateJsonSchema
from pydantic_core import core_schema

from trivet.records.benchsheet import CookSheet
from trivet.records.campaign import CookPlans
from trivet.records.design import Design
from trivet.records.figures import Figure, Money, MoneyText, Quantity

SCHEMAS: dict[str, type[BaseModel]] = {
    "design": Design,
    "cooks": CookPlans,
    "cook": CookSheet,
}


class _FileSchema(GenerateJsonSchema):
    """Shows a default as a file would write it: figures and money as their text."""

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> dict[str, Any]:
        """Return the schema of a field with a default."""
        shown = self.generate_inner(schema["schema"])
        if "default" not in schema:
            return shown
        default = as_written(schema["default"])
        if default is None:
            return shown
        return (
            {"default": default, **shown}
            if "$ref" not in shown
            else {
                "allOf": [shown],
                "default": default,
            }
        )


def as_written(value: object) -> Any:
    """Return a value as a file writes it: texts with units, keys without unit suffixes."""
    match value:
        case Figure():
            return value.text or repr(float(value))
        case Money():
            return str(value)
        case BaseModel():
            return {
                field.alias or name: as_written(getattr(value, name))
                for name, field in type(value).model_fields.items()
                if getattr(value, name) not in (None, "")
            }
        case tuple() | list():
            return [as_written(one) for one in value]
        case dict():
            return {key: as_written(one) for key, one in value.items()}
    return value


def schema_text(name: str) -> str:
    """Return the JSON schema of one of the files as text.

    Parameters
    ----------
    name : {"design", "cooks", "cook"}
        Which file: the design, the matrix of cooks, or a bench cook's sheet.
    """
    schema = SCHEMAS[name].model_json_schema(by_alias=True, schema_generator=_FileSchema)
    quantities: dict[str, dict[str, Any]] = {}
    schema = _with_references(schema, quantities)
    schema["$defs"] = {**schema["$defs"], **quantities}
    if "Told" in schema["$defs"]:  # the file has one table for every burner, and tables by name
        entry = {"$ref": "#/$defs/ToldEntry"}
        schema["$defs"]["Told"] = {**schema["$defs"]["ToldEntry"], "additionalProperties": entry}
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"


def _with_references(node: Any, quantities: dict[str, dict[str, Any]]) -> Any:
    """Return a schema in which each kind of quantity stands once; TOML has no null."""
    if isinstance(node, list):
        return [_with_references(one, quantities) for one in node]
    if not isinstance(node, dict):
        return node
    choices = [one for one in node.get("anyOf", []) if one != {"type": "null"}]
    if len(choices) == 2 and "examples" in choices[0]:
        key = _quantity_name(choices, quantities)
        quantities[key] = {"anyOf": choices}
        rest = {name: part for name, part in node.items() if name != "anyOf"}
        return {**rest, "allOf": [{"$ref": f"#/$defs/{key}"}]}
    if len(choices) == 1:
        rest = {name: part for name, part in node.items() if name != "anyOf"}
        return _with_references({**choices[0], **rest}, quantities)
    return {name: _with_references(part, quantities) for name, part in node.items()}


def _quantity_name(choices: list[Any], quantities: dict[str, dict[str, Any]]) -> str:
    """Return the name of a quantity's kind, numbered where kinds differ by their bounds."""
    kind = choices[0]["description"].split(" as text")[0].replace(" ", "-")
    name, number = kind, 1
    while quantities.get(name, {"anyOf": choices}) != {"anyOf": choices}:
        number += 1
        name = f"{kind}-{number}"
    return str(name)


def write_schema(directory: str | Path, *, names: tuple[str, ...] = ("design", "cooks")) -> None:
    """Write ``NAME.schema.json`` for each named file into a directory."""
    for name in names:
        path = Path(directory) / f"{name}.schema.json"
        path.write_text(schema_text(name), encoding="utf-8")


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
