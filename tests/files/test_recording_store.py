"""Recordings at rest: what is read is what was written, whole or block by block."""

from __future__ import annotations

import dataclasses
import shutil
from pathlib import Path

import numpy as np
import pytest

from trivet.errors import StorageError
from trivet.files.recording_store import (
    RECORDING,
    TRUTH,
    iter_blocks,
    open_recording,
    read_recording,
    read_truth,
    write_recording,
)
from trivet.records.benchsheet import SheetBurner, SheetProbe, Told
from trivet.records.provenance import fingerprint
from trivet.records.recording import (
    BurnerTruth,
    Event,
    HeadFrames,
    Note,
    ProbeSeries,
    ProductInput,
    Recording,
    Reference,
    SimulatedCook,
    Truth,
)


def frames(name: str, count: int, *, rows: int = 24, cols: int = 32) -> HeadFrames:
    rng = np.random.default_rng(len(name))
    seen = (300 + rng.normal(size=(count, rows, cols))).astype(np.float32)
    seen[0, 0, :3] = np.nan, np.inf, -np.inf
    time = np.arange(count) / 4
    return HeadFrames(name, time, seen, 300 + time / 10, time)


def cook(count: int = 40) -> SimulatedCook:
    time = np.arange(count) / 4
    probe = SheetProbe.model_validate({"column": "tc1", "class": "iec-2", "u": "0.5 K"})
    probes = tuple(
        ProbeSeries(
            probe.model_copy(update={"column": f"tc{at}"}),
            time[: 10 + at // 6],
            *[time[: 10 + at // 6]] * 2,
        )
        for at in range(11)
    )
    burner = SheetBurner.model_validate({"burner": "front-left", "diameter": "26 cm"})
    recording = Recording(
        name="proof-water-r1",
        purpose="proof",
        evidence="simulated",
        unit="drawn 3",
        altitude_m=150.0,
        inputs=ProductInput(
            (frames("main", count), frames("Seitlich / 2", count + 3, rows=8, cols=8)),
            Told.model_validate({"base_contents": "oil", "front-left": {"pan": "x"}}),
        ),
        reference=Reference(probes, (Event(1.5, "front-left", "food_in", "patty"),), (burner,)),
        notes=(Note("gap of 3 s", "frames 10 to 22", "record again"),),
    )
    series = {
        field.name: np.linspace(300, 400, count)
        for field in dataclasses.fields(BurnerTruth)
        if field.name not in ("burner", "pan", "base", "seen_of", "rim_in_view_frac")
    }
    truth = Truth(
        "proof-water-r1",
        tuple(
            BurnerTruth(name, "p", "dry", seen_of=np.full(count, -1, np.int8), **series)
            for name in ("front-left", "back right")
        ),
        "stopped at 400 °C",
    )
    return SimulatedCook(recording, truth)


@pytest.fixture
def stored(tmp_path: Path) -> Path:
    return write_recording(tmp_path / "r" / "key", cook())


def test_what_is_read_is_what_was_written(stored: Path) -> None:
    made = cook()
    read = read_recording(stored)
    assert fingerprint(read) == fingerprint(made.recording)
    assert fingerprint(read_truth(stored)) == fingerprint(made.truth)
    assert read.inputs.heads[0].apparent_k.dtype == np.float32
    assert not read.inputs.heads[0].apparent_k.flags.writeable
    assert [probe.probe.column for probe in read.reference.probes][-1] == "tc10"


def test_a_recorded_cook_has_no_truth(tmp_path: Path) -> None:
    write_recording(tmp_path / "bench", cook().recording)
    with pytest.raises(StorageError, match="no such recording"):
        read_truth(tmp_path / "bench")


def test_the_truth_is_a_store_of_its_own(stored: Path) -> None:
    shutil.rmtree(stored / TRUTH)
    assert fingerprint(read_recording(stored)) == fingerprint(cook().recording)
    assert "truth" not in str(open_recording(stored))


def test_names_and_units(stored: Path) -> None:
    with open_recording(stored) as tree:
        seen = tree["heads/head-0/apparent_temperature"]
        assert seen.dims == ("time", "row", "col")
        assert seen.attrs["units"] == "K"
        assert seen.attrs["standard_name"] == "brightness_temperature"
        assert tree["heads/head-0"].coords["time"].attrs["units"] == "s"
        window = seen[10:12, :4, :4]  # a slice reads what it needs
        np.testing.assert_array_equal(
            window.values, cook().recording.inputs.heads[0].apparent_k[10:12, :4, :4]
        )


def test_blocks_join_to_the_whole(tmp_path: Path) -> None:
    whole = frames("main", 700)
    recording = dataclasses.replace(cook().recording, inputs=ProductInput((whole,), Told()))
    path = write_recording(tmp_path / "long", recording)
    blocks = list(iter_blocks(path, "main", block=128))
    assert [len(block.time_s) for block in blocks] == [128] * 5 + [60]
    for name in ("time_s", "apparent_k", "sensor_k", "awake_s"):
        joined = np.concatenate([getattr(block, name) for block in blocks])
        np.testing.assert_array_equal(joined, getattr(whole, name))
    with pytest.raises(StorageError, match="no head 'side'; it has main"):
        next(iter_blocks(path, "side"))


def test_nothing_is_overwritten(stored: Path) -> None:
    assert write_recording(stored, cook()) == stored
    with pytest.raises(StorageError, match="holds another recording"):
        write_recording(stored, cook(41))
    assert fingerprint(read_recording(stored)) == fingerprint(cook().recording)


def test_an_interruption_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import xarray as xr

    def stopped(*args: object, **named: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(xr.Dataset, "to_zarr", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_recording(tmp_path / "recording" / "k", cook())
    assert list((tmp_path / "recording").iterdir()) == []


def chunk_of(folder: Path, variable: str) -> Path:
    return next(one for one in (folder / variable / "c").rglob("*") if one.is_file())


@pytest.mark.parametrize("damage", ["cut", "gone", "flip", "no metadata", "no group"])
def test_damage_is_named(stored: Path, damage: str) -> None:
    head = stored / RECORDING / "heads" / "head-0"
    chunk = chunk_of(head, "apparent_temperature")
    content = bytearray(chunk.read_bytes())
    if damage == "cut":
        chunk.write_bytes(content[: len(content) // 2])
    elif damage == "gone":
        chunk.unlink()
    elif damage == "flip":
        content[len(content) // 2] ^= 0xFF
        chunk.write_bytes(content)
    elif damage == "no metadata":
        (head / "apparent_temperature" / "zarr.json").unlink()
    else:
        shutil.rmtree(head)
    with pytest.raises(StorageError, match=r"recording\.zarr: damaged"):
        read_recording(stored)


def test_a_lost_part_is_not_read_as_a_gap(stored: Path) -> None:
    chunk_of(stored / RECORDING / "heads" / "head-0", "apparent_temperature").unlink()
    with pytest.raises(StorageError, match="apparent_temperature are gone"):
        open_recording(stored)
    with pytest.raises(StorageError, match="apparent_temperature are gone"):
        next(iter_blocks(stored, "main"))


def test_missing_and_unknown_formats(stored: Path, tmp_path: Path) -> None:
    with pytest.raises(StorageError, match="no such recording"):
        read_recording(tmp_path / "none")
    root = stored / RECORDING / "zarr.json"
    root.write_text(root.read_text("utf-8").replace('"format": 1', '"format": 4'), "utf-8")
    with pytest.raises(StorageError, match="format 4 is not known"):
        read_recording(stored)
