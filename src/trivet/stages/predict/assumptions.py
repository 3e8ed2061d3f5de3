"""What the prediction takes for granted: the design's assumed figures, and the program's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel

from trivet.models.assumed import OWN
from trivet.records.design import Design
from trivet.records.figures import Figure, file_key


def assumed_figures(design: Design) -> tuple[str, ...]:
    """Return every figure without an origin: key, wording and note, the design's first.

    Parameters
    ----------
    design : Design
        Walked field by field, defaults included.

    Returns
    -------
    tuple of str
        ``key = text (note)``, keys as in the file, members of lists by their name.
    """
    own = [f"predict.{key} = {one.text} ({one.note})" for key, one in OWN.items()]
    return (*_lines(design), *own)


def _lines(design: Design) -> Iterator[str]:
    for path, figure in _figures(design, ""):
        if figure.origin == "assumed":
            text = figure.text or f"{float(figure):g}"
            yield f"{path} = {text}" + (f" ({figure.note})" if figure.note else "")


def _figures(value: Any, path: str) -> Iterator[tuple[str, Figure]]:
    if isinstance(value, Figure):
        yield path, value
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            key = str(field.alias or file_key(name))
            yield from _figures(getattr(value, name), f"{path}.{key}" if path else key)
    elif isinstance(value, tuple):
        for place, item in enumerate(value):
            name = str(getattr(item, "name", "") or getattr(item, "id", "") or place)
            yield from _figures(item, f"{path}.{name}")
