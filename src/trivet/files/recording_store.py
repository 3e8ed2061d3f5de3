"""Recordings at rest: zarr version 3 through xarray, names and units in the manner of CF.

A stored recording is a folder::

    recording.zarr/            purpose, evidence, unit, altitude, told: attributes
        heads/head-0/          apparent_temperature (time, row, col) [K], sensor_temperature, awake
        reference/probe-0/     temperature (time) [K] and its standard uncertainty
    truth.zarr/                simulated cooks only, a store of its own
        burner-0/              what was really so

Every chunk is written, also one without a value, so that a missing one is known
to be lost; the hash of the whole record stands beside it.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from trivet.errors import StorageError
from trivet.files.atomic import new_folder
from trivet.files.store import rebuilt
from trivet.records.provenance import ARRAY_KEY, fingerprint, record_tree
from trivet.records.recording import (
    HeadFrames,
    Recording,
    SimulatedCook,
    Truth,
)

if TYPE_CHECKING:
    import xarray as xr

T = TypeVar("T")

FORMAT = 1
RECORDING = "recording.zarr"
TRUTH = "truth.zarr"
_CHUNK_BYTES = 1 << 20
_CHUNKS_IN_SHARD = 16
_ADVICE = "make or import the recording again"

# Unit suffix of a field: what its variable's name ends in, and the unit.
_UNITS = {
    "_k": ("_temperature", "K"),
    "_kg": ("_mass", "kg"),
    "_w": ("_power", "W"),
    "_s": ("", "s"),
}
_LONG_NAMES = {
    "time_s": "time since the start of the recording",
    "apparent_k": "temperature of a black body with this signal; +inf at or above the range",
    "sensor_k": "temperature of the sensor housing",
    "awake_s": "time since the sensor woke",
    "temperature_k": "corrected reading of the reference probe",
    "u_k": "standard uncertainty of the reading",
}


def write_recording(path: str | Path, cook: Recording | SimulatedCook) -> Path:
    """Store a recording, the truth of a simulated one apart from it.

    Parameters
    ----------
    path : path
        Folder to make; nothing is overwritten.
    cook : Recording or SimulatedCook
        What to store.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    StorageError
        If the folder exists with another recording, or the disk is full or not
        writable; no half-written folder is left.
    """
    folder = Path(path)
    recording = cook.recording if isinstance(cook, SimulatedCook) else cook
    truth = cook.truth if isinstance(cook, SimulatedCook) else None
    if folder.exists():
        if fingerprint(read_recording(folder)) != fingerprint(recording):
            raise StorageError(f"{folder}: holds another recording; nothing was changed")
        return folder
    with new_folder(folder) as made:
        _write_store(made / RECORDING, recording)
        if truth is not None:
            _write_store(made / TRUTH, truth)
    return folder


def read_recording(path: str | Path) -> Recording:
    """Return a stored recording, all of it in memory, checked against its hash.

    Raises
    ------
    StorageError
        If it is missing, of an unknown format, or damaged.
    """
    return _read_store(Path(path) / RECORDING, Recording)


def read_truth(path: str | Path) -> Truth:
    """Return the truth of a simulated recording, checked against its hash.

    Raises
    ------
    StorageError
        If it is missing (a recorded cook has none), of an unknown format, or damaged.
    """
    return _read_store(Path(path) / TRUTH, Truth)


def open_recording(path: str | Path) -> xr.DataTree:
    """Return a stored recording opened lazily; values are read where they are asked for.

    Returns
    -------
    xarray.DataTree
        Nodes ``heads/head-0`` ... and ``reference/probe-0`` ...; close it after use.

    Raises
    ------
    StorageError
        If it is missing, of an unknown format, or lacks a part.
    """
    import xarray as xr

    store = Path(path) / RECORDING
    _checked_root(store)
    return xr.open_datatree(store, engine="zarr", consolidated=False, decode_times=False)


def iter_blocks(path: str | Path, head: str, *, block: int = 256) -> Iterator[HeadFrames]:
    """Yield the frames of one head block by block, in order, without loading all.

    Parameters
    ----------
    path : path
        Folder of the recording.
    head : str
        Name of the head.
    block : int
        Frames in a block; the last one may be shorter.

    Raises
    ------
    StorageError
        If the recording is missing or damaged, or has no such head.
    """
    tree = open_recording(path)
    try:
        nodes = [node.dataset for node in tree["heads"].children.values()]
        names = [json.loads(node.attrs["fields"])["head"] for node in nodes]
        if head not in names:
            raise StorageError(f"{path}: no head {head!r}; it has {', '.join(names)}")
        frames = nodes[names.index(head)]
        for start in range(0, frames.sizes["time"], block):
            part = frames.isel(time=slice(start, start + block))
            yield _from_dataset(part, HeadFrames, where=path)
    finally:
        tree.close()


# ------------------------------------------------------------------- writing


def _groups(record: object) -> tuple[dict[str, Any], dict[str, object]]:
    """Return what stands in a store's root, and the records of its groups by path."""
    if isinstance(record, Recording):
        groups: dict[str, object] = {
            f"heads/head-{at}": head for at, head in enumerate(record.sight.heads)
        }
        groups |= {
            f"reference/probe-{at}": probe for at, probe in enumerate(record.reference.probes)
        }
        sight = dataclasses.replace(record.sight, heads=())
        reference = dataclasses.replace(record.reference, probes=())
        root: object = dataclasses.replace(record, sight=sight, reference=reference)
    elif isinstance(record, Truth):
        groups = {f"burner-{at}": burner for at, burner in enumerate(record.burners)}
        root = dataclasses.replace(record, burners=())
    else:
        raise TypeError(f"a recording store cannot hold a {type(record).__name__}")
    return record_tree(root)[0], groups


def _write_store(store: Path, record: object) -> None:
    import xarray as xr

    tree, groups = _groups(record)
    root = {
        "format": FORMAT,
        "conventions": "names and units in the manner of CF-1.11",
        "fields": json.dumps(tree, ensure_ascii=False),
        "fingerprint": fingerprint(record),
    }
    datasets = {f"/{name}": _to_dataset(group) for name, group in groups.items()}
    nodes = {"/": xr.Dataset(attrs=root), **datasets}
    for name, dataset in nodes.items():
        dataset.to_zarr(
            store,
            group=name,
            mode="a",
            zarr_format=3,
            consolidated=False,
            write_empty_chunks=True,
            encoding={key: _encoding(one.values) for key, one in dataset.variables.items()},
        )


def _to_dataset(record: object) -> xr.Dataset:
    """Return a record of arrays over time as a dataset; what is no array, as attributes."""
    import xarray as xr

    variables: dict[str, Any] = {}
    plain: dict[str, Any] = {}
    for field in dataclasses.fields(record):  # type: ignore[arg-type]
        value = getattr(record, field.name)
        if not isinstance(value, np.ndarray):
            plain[field.name] = record_tree(value)[0]
            continue
        name, unit = _variable(field.name)
        says = {"units": unit, "long_name": _LONG_NAMES.get(field.name, name), "field": field.name}
        if field.name == "apparent_k":
            says["standard_name"] = "brightness_temperature"
        dims = ("time", "row", "col")[: value.ndim]
        variables[name] = (dims, value, says)
    coords = {"time": variables.pop("time")}
    return xr.Dataset(variables, coords, {"fields": json.dumps(plain, ensure_ascii=False)})


def _variable(field: str) -> tuple[str, str]:
    """Return a field's variable name and unit."""
    for suffix, (ending, unit) in _UNITS.items():
        if field.endswith(suffix):
            stem = field.removesuffix(suffix)
            return stem if ending.endswith(f"_{stem}") else stem + ending, unit
    return field, "1"


def _encoding(values: NDArray[Any]) -> dict[str, Any]:
    """Return chunks along time of about a megabyte, several in one file when there are many."""
    from zarr.codecs import BloscCodec

    codec = BloscCodec(cname="lz4", clevel=5, shuffle="bitshuffle", typesize=values.itemsize)
    frame = max(values[:1].nbytes, 1)
    count = len(values)
    chunk = max(1, min(count, _CHUNK_BYTES // frame))
    encoding: dict[str, Any] = {
        "chunks": (chunk, *values.shape[1:]),
        "compressors": (codec,),
        "_FillValue": None,
    }
    if count > chunk:
        shard = chunk * min(_CHUNKS_IN_SHARD, -(-count // chunk))
        encoding["shards"] = (shard, *values.shape[1:])
    return encoding


# ------------------------------------------------------------------- reading


def _checked_root(store: Path) -> dict[str, Any]:
    """Return the root's attributes of a store whose every part is there."""
    import zarr

    if not store.is_dir():
        raise StorageError(f"{store}: no such recording")
    try:
        root = zarr.open_group(store, mode="r", zarr_format=3)
        attributes = dict(root.attrs)
        lost = [
            name
            for name, array in root.members(max_depth=None)
            if isinstance(array, zarr.Array) and array.nchunks_initialized < array.nchunks
        ]
    except Exception as error:  # the library raises assorted errors on damaged metadata
        raise StorageError(f"{store}: damaged ({error}); {_ADVICE}") from error
    if attributes.get("format") != FORMAT:
        raise StorageError(
            f"{store}: format {attributes.get('format')!r} is not known; this version reads "
            f"{FORMAT}"
        )
    if lost:
        raise StorageError(f"{store}: damaged: parts of {', '.join(lost)} are gone; {_ADVICE}")
    return attributes


def _read_store(store: Path, kind: type[T]) -> T:
    import xarray as xr

    attributes = _checked_root(store)
    try:
        tree = xr.open_datatree(store, engine="zarr", consolidated=False, decode_times=False)
        with tree:
            datasets = {
                node.path.strip("/"): node.to_dataset().load()
                for node in tree.subtree
                if "fields" in node.attrs and node.path != "/"
            }
        fields = json.loads(attributes["fields"])
    except Exception as error:  # the library raises assorted errors on damaged chunks
        raise StorageError(f"{store}: damaged ({error}); {_ADVICE}") from error
    record = _assembled(fields, datasets, kind=kind, store=store)
    if fingerprint(record) != attributes.get("fingerprint"):
        raise StorageError(f"{store}: damaged: its content does not match its hash; {_ADVICE}")
    return record


def _assembled(
    fields: dict[str, Any], datasets: dict[str, Any], *, kind: type[T], store: Path
) -> T:
    """Return the record of a root's fields and its groups."""
    arrays: dict[str, NDArray[Any]] = {}
    groups: dict[str, list[Any]] = {"head": [], "probe": [], "burner": []}
    order = sorted(datasets, key=lambda name: (name.rpartition("-")[0], _number(name)))
    for name in order:
        word = name.rpartition("/")[2].rpartition("-")[0]
        groups[word].append(_tree_of(datasets[name], name, arrays))
    if kind is Recording:
        fields["sight"]["heads"] = groups["head"]
        fields["reference"]["probes"] = groups["probe"]
    else:
        fields["burners"] = groups["burner"]
    return rebuilt(fields, arrays, kind=kind, where=store)


def _number(name: str) -> int:
    return int(name.rpartition("-")[2])


def _tree_of(dataset: xr.Dataset, name: str, arrays: dict[str, NDArray[Any]]) -> dict[str, Any]:
    """Return a group as a record's tree, its arrays put beside it."""
    tree: dict[str, Any] = json.loads(dataset.attrs["fields"])
    for key, variable in dataset.variables.items():
        values = variable.values
        values.flags.writeable = False
        arrays[f"{name}/{key}"] = values
        tree[variable.attrs["field"]] = {ARRAY_KEY: f"{name}/{key}"}
    return tree


def _from_dataset(dataset: xr.Dataset, kind: type[T], *, where: object) -> T:
    arrays: dict[str, NDArray[Any]] = {}
    try:
        tree = _tree_of(dataset.load(), "part", arrays)
    except Exception as error:  # the library raises assorted errors on damaged chunks
        raise StorageError(f"{where}: damaged ({error}); {_ADVICE}") from error
    return rebuilt(tree, arrays, kind=kind, where=where)
