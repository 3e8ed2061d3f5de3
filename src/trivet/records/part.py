"""The base of every record that is read from a file: frozen, strict, keys without unit suffix."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict

# A field's name carries its SI unit; the key in the file does not, since there
# the text itself carries the unit ("height = '30 in'" fills height_m).
SUFFIXES = (
    "_delta_k",
    "_frac",
    "_per_s",
    "_w_m2k",
    "_kps",
    "_bps",
    "_kg_m3",
    "_m3",
    "_rad",
    "_kg",
    "_hz",
    "_k",
    "_m",
    "_s",
    "_w",
    "_j",
)


def file_key(name: str) -> str:
    """Return the key that a field has in a file."""
    for suffix in SUFFIXES:
        if name.endswith(suffix) and len(name) > len(suffix):
            return name[: -len(suffix)]
    return name


class Part(BaseModel):
    """A frozen part of a design or cook file; unknown keys are errors."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        alias_generator=file_key,
        serialize_by_alias=False,
        use_attribute_docstrings=True,
    )
