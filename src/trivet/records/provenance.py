"""What a record is, as bytes: its canonical tree, its arrays and its hash.

The hash covers canonical JSON plus array bytes; it knows no clock and no path,
so the same content has the same hash on every machine.
"""

from __future__ import annotations

import base64
import dataclasses
import hashlib
import json
import math
from decimal import Decimal
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from trivet.records.figures import Figure, Money, figure_as_table

ARRAY_KEY = "array"
BYTES_KEY = "base64"


def record_tree(record: object) -> tuple[Any, dict[str, NDArray[Any]]]:
    """Return a record as a JSON tree and the arrays that it refers to by name.

    Arrays stand in the tree as ``{"array": NAME}``; non-finite floats as text,
    since JSON has none; bytes as ``{"base64": TEXT}``.
    """
    arrays: dict[str, NDArray[Any]] = {}
    return _tree(record, arrays), arrays


def _tree(value: object, arrays: dict[str, NDArray[Any]]) -> Any:
    match value:
        case np.ndarray():
            name = f"a{len(arrays)}"
            arrays[name] = value
            return {ARRAY_KEY: name}
        case Figure():
            return figure_as_table(value)
        case Money() | Decimal():
            return str(value)
        case BaseModel():
            names = type(value).model_fields
            return {name: _tree(getattr(value, name), arrays) for name in names}
        case bytes():
            return {BYTES_KEY: base64.b64encode(value).decode()}
        case dict():
            return {str(key): _tree(item, arrays) for key, item in value.items()}
        case list() | tuple():
            return [_tree(item, arrays) for item in value]
        case np.generic():
            return _tree(value.item(), arrays)
        case float() if not math.isfinite(value):
            return {"nan": "NaN", "inf": "Infinity", "-inf": "-Infinity"}[str(float(value))]
        case None | bool() | int() | float() | str():
            return value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: _tree(getattr(value, field.name), arrays)
            for field in dataclasses.fields(value)
        }
    raise TypeError(f"a record cannot hold a {type(value).__name__}")


def fingerprint(*records: object) -> str:
    """Return the SHA-256 of records as hexadecimal text."""
    digest = hashlib.sha256()
    for record in records:
        tree, arrays = record_tree(record)
        digest.update(json.dumps(tree, sort_keys=True, separators=(",", ":")).encode())
        for name, array in arrays.items():
            digest.update(f"{name}{array.dtype.str}{array.shape}".encode())
            digest.update(np.ascontiguousarray(array).tobytes())
    return digest.hexdigest()


def record_json(record: object) -> str:
    """Return a record as JSON text for people and programs, arrays written out."""
    tree, arrays = record_tree(record)
    return json.dumps(_filled(tree, arrays), indent=1, ensure_ascii=False)


def _filled(tree: Any, arrays: dict[str, NDArray[Any]]) -> Any:
    if isinstance(tree, dict):
        if set(tree) == {ARRAY_KEY} and tree[ARRAY_KEY] in arrays:
            return _finite(arrays[tree[ARRAY_KEY]].tolist())
        return {key: _filled(item, arrays) for key, item in tree.items()}
    if isinstance(tree, list):
        return [_filled(item, arrays) for item in tree]
    return tree


def _finite(values: Any) -> Any:
    if isinstance(values, list):
        return [_finite(item) for item in values]
    if isinstance(values, float) and not math.isfinite(values):
        return None if math.isnan(values) else ("Infinity" if values > 0 else "-Infinity")
    return values
