"""The store gives back what it was given, whole, or says what is wrong."""

from __future__ import annotations

import dataclasses
import importlib
import itertools
import os
import pkgutil
import types
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints

import numpy as np
import pytest
from pydantic import BaseModel

import trivet.records
from trivet.arrays import ArrayField
from trivet.errors import InputError, StorageError
from trivet.files import atomic, store
from trivet.files.cooks import read_cooks
from trivet.files.design import read_design
from trivet.records.alertlog import AlertChange, AlertLog
from trivet.records.benchsheet import (
    SheetBurner,
    SheetFlat,
    SheetMark,
    SheetPatch,
    SheetProbe,
    SheetTarget,
    Told,
)
from trivet.records.campaign import CookPlans
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.estimate import Estimate
from trivet.records.provenance import fingerprint

ROOT = Path(__file__).parents[2]
LARKPANE = ROOT / "examples" / "larkpane"
VALUE_TYPES = {"ArrayField", "Quantity", "MoneyText", "Money", "Metric"}

_PLAN: dict[str, Any] = {
    "name": "one",
    "purpose": "proof",
    "duration": "3 min",
    "burners": [
        {"burner": "b", "pan": "p", "base": "dry", "schedule": [{"at": "0 s", "level": "50 %"}]}
    ],
}
_PARTS: dict[type[BaseModel], dict[str, Any]] = {
    Told: {"base_contents": "oil", "front-left": {"pan": "array"}},
    SheetBurner: {"burner": "base64", "diameter": "26 cm", "contents": "oil", "volume": "5 mL"},
    SheetProbe: {"column": "tc1", "class": "iec-2", "u": "0.5 K", "x": "-3 cm"},
    SheetMark: {"row": 3, "col": 4.5, "x": "1 cm", "y": "-2 cm"},
    SheetTarget: {"burner": "base64", "diameter": "18 cm"},
    SheetPatch: {"x": "0 m", "y": "1 cm", "diameter": "2 dm", "emissivity": "0.1", "probe": "é"},
    SheetFlat: {"from": "1 s", "to": "9 s", "temperature": "40 degC"},
    CookPlan: _PLAN,
    CookPlans: {"format": 1, "cooks": [_PLAN]},
}


class Samples:
    """Draws values in a fixed order, awkward ones among them."""

    def __init__(self) -> None:
        self.floats = itertools.cycle((1.5, float("nan"), -0.0, float("inf"), 1e-300, -np.inf, 0.1))
        self.texts = itertools.cycle(("plain", "NaN", "ünïcode °C", "", "Infinity", '"q"\n'))
        self.rng = np.random.default_rng(1)

    def of(self, kind: Any) -> Any:
        """Return a value of an annotation."""
        origin, arguments = get_origin(kind), get_args(kind)
        if origin is Annotated:
            field = next(one for one in arguments[1:] if isinstance(one, ArrayField))
            return self.array(field.dtype)
        if origin is Literal:
            return arguments[-1]
        if origin in (Union, types.UnionType):
            return self.of(next(one for one in arguments if one is not type(None)))
        if origin is tuple:
            return tuple(self.members(arguments))
        if origin in (dict, Mapping):
            return {self.of(arguments[0]): self.of(arguments[1]) for _ in range(2)}
        if dataclasses.is_dataclass(kind) and isinstance(kind, type):
            hints = get_type_hints(kind, include_extras=True)
            return kind(
                **{field.name: self.of(hints[field.name]) for field in dataclasses.fields(kind)}
            )
        if kind is Design:
            return read_design(LARKPANE / "design.toml")
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind.model_validate(_PARTS[kind])
        plain = {float: lambda: next(self.floats), str: lambda: next(self.texts)}
        plain |= {int: lambda: 7, bool: lambda: True, bytes: lambda: b"\x00\xff{}"}
        return plain[kind]()

    def members(self, arguments: tuple[Any, ...]) -> Iterator[Any]:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            yield from (self.of(arguments[0]), self.of(arguments[0]))
        else:
            yield from map(self.of, arguments)

    def array(self, dtype: str) -> Any:
        values = self.rng.normal(size=(4,)) * 100
        if np.dtype(dtype).kind == "f":
            values[:3] = np.nan, np.inf, -np.inf
        return np.abs(values).astype(dtype) if np.dtype(dtype).kind == "u" else values.astype(dtype)


def record_types() -> Iterator[type]:
    """Yield every frozen record that a stage takes or gives."""
    for module in pkgutil.iter_modules(trivet.records.__path__):
        loaded = importlib.import_module(f"trivet.records.{module.name}")
        for kind in vars(loaded).values():
            if (
                isinstance(kind, type)
                and dataclasses.is_dataclass(kind)
                and kind.__module__ == loaded.__name__
                and kind.__name__ not in VALUE_TYPES
            ):
                yield kind


LOG = AlertLog((AlertChange(1.0, "front-left", "pan-hot", "on"),), machine=b"\x00\x01state")


@pytest.mark.parametrize("kind", tuple(record_types()), ids=lambda kind: kind.__name__)
def test_every_record_survives(tmp_path: Path, kind: Any) -> None:
    record = Samples().of(kind)
    kept = store.save(tmp_path, "stage", "key", record)
    read = store.load(tmp_path, "stage", "key", kind)
    assert type(read) is kind
    assert fingerprint(record) == fingerprint(kept) == fingerprint(read)


def test_design_and_plans_survive(tmp_path: Path) -> None:
    design = read_design(LARKPANE)
    for record in (design, read_cooks(LARKPANE, design)):
        store.save(tmp_path, "inputs", type(record).__name__, record)
        read = store.load(tmp_path, "inputs", type(record).__name__, type(record))
        assert read == record
        assert fingerprint(read) == fingerprint(record)
    again = store.load(tmp_path, "inputs", "Design", type(design))
    assert again is not None
    assert again.costs.price == design.costs.price  # exact money
    assert again.limits[1].value_k.low == design.limits[1].value_k.low
    assert again.limits[1].value_k.note == design.limits[1].value_k.note


def test_arrays_come_back_read_only(tmp_path: Path) -> None:
    store.save(tmp_path, "estimate", "k", Samples().of(Estimate))
    read = store.load(tmp_path, "estimate", "k", Estimate)
    assert read is not None
    with pytest.raises(ValueError, match="read-only"):
        read.time_s[0] = 1.0
    assert read.burners[0].flags.dtype == np.uint32


def test_missing_is_none_and_names_are_plain(tmp_path: Path) -> None:
    assert store.load(tmp_path, "alert", "none", AlertLog) is None
    for name in ("../x", "", "a/b", ".hidden"):
        with pytest.raises(InputError, match="cannot name"):
            store.record_path(tmp_path, "alert", name)


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    store.save(tmp_path, "alert", "k", LOG)
    before = snapshot(tmp_path)
    assert store.save(tmp_path, "alert", "k", LOG) == LOG
    with pytest.raises(StorageError, match="another record under this key"):
        store.save(tmp_path, "alert", "k", AlertLog(()))
    assert snapshot(tmp_path) == before


def snapshot(folder: Path) -> dict[str, bytes]:
    return {str(one): one.read_bytes() for one in sorted(folder.rglob("*")) if one.is_file()}


@pytest.mark.parametrize("stop", [KeyboardInterrupt, OSError(28, "No space left on device")])
def test_an_interruption_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: Any
) -> None:
    def stopped(*args: object, **named: object) -> None:
        raise stop

    monkeypatch.setattr(np, "savez_compressed", stopped)
    record = Samples().of(Estimate)
    with pytest.raises(KeyboardInterrupt if stop is KeyboardInterrupt else StorageError) as caught:
        store.save(tmp_path, "estimate", "k", record)
    if isinstance(caught.value, StorageError):
        assert "No space left" in str(caught.value)
        assert caught.value.exit_code == 3
    assert list((tmp_path / "results" / "estimate").iterdir()) == []
    monkeypatch.undo()
    store.save(tmp_path, "estimate", "k", record)


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "results").write_text("in the way", encoding="utf-8")
    with pytest.raises(StorageError, match="cannot be written"):
        store.save(tmp_path, "alert", "k", LOG)
    assert (tmp_path / "results").read_text(encoding="utf-8") == "in the way"


def test_two_runs_that_race_keep_the_first(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    with atomic.new_folder(folder) as part:
        (part / "a").write_text("second", encoding="utf-8")
        folder.mkdir()
        (folder / "a").write_text("first", encoding="utf-8")
    assert (folder / "a").read_text(encoding="utf-8") == "first"
    assert os.listdir(tmp_path) == ["results"]


@pytest.mark.parametrize("file", [store.RECORD_FILE, store.ARRAYS_FILE])
@pytest.mark.parametrize("damage", ["cut", "empty", "gone", "flip"])
def test_damage_is_named(tmp_path: Path, file: str, damage: str) -> None:
    store.save(tmp_path, "estimate", "k", Samples().of(Estimate))
    path = store.record_path(tmp_path, "estimate", "k") / file
    content = bytearray(path.read_bytes())
    if damage == "gone":
        path.unlink()
    elif damage == "flip":
        at = content.index(b"time_s") if file == store.RECORD_FILE else len(content) // 3
        content[at] ^= 0x20
        path.write_bytes(content)
    else:
        path.write_bytes(content[: len(content) // 2] if damage == "cut" else b"")
    with pytest.raises(StorageError, match=r"results.estimate.k"):
        store.load(tmp_path, "estimate", "k", Estimate)


def test_another_type_or_format_is_refused(tmp_path: Path) -> None:
    store.save(tmp_path, "alert", "k", LOG)
    with pytest.raises(StorageError, match="holds a AlertLog, not a Estimate"):
        store.load(tmp_path, "alert", "k", Estimate)
    path = store.record_path(tmp_path, "alert", "k") / store.RECORD_FILE
    path.write_text(path.read_text("utf-8").replace('"format": 1', '"format": 9'), "utf-8")
    with pytest.raises(StorageError, match="format 9 is not known"):
        store.load(tmp_path, "alert", "k", AlertLog)


def test_the_same_record_gives_the_same_bytes(tmp_path: Path) -> None:
    record = Samples().of(Estimate)
    for project in ("one", "two"):
        store.save(tmp_path / project, "estimate", "k", record)
    one, two = (list(snapshot(tmp_path / project).values()) for project in ("one", "two"))
    assert one == two


def test_a_page_lies_under_its_hash(tmp_path: Path) -> None:
    page = store.Store(tmp_path).page("dossier", "<!doctype html>\n")
    assert page.read_text(encoding="utf-8") == "<!doctype html>\n"
    assert store.Store(tmp_path).page("dossier", "<!doctype html>\n") == page
    assert store.Store(tmp_path).page("dossier", "<p>other") != page
