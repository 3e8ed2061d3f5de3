"""Recordings at rest: zarr version 3 through xarray, names and units in the manner of CF.

A stored recording is a folder::

    recording.zarr/            purpose, evidence, unit, altitude, told: attributes
        heads/head-0/          apparent_temperature (time, row, col) [K], sensor_temperature, awake
        reference/probes-0/    temperature (probe, time) [K] and its standard uncertainty
    truth.zarr/                simulated cooks only, a store of its own
        burners-0/             what was really so, (burner, time)

Every chunk is written, also one without a value, so that a missing one is known
to be lost; the hash of the whole record stands beside it.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import FloatArray
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

RECORDING_FORMAT = 1  # version of the format; raised when an older program could not read it
RECORDING = "recording.zarr"
TRUTH = "truth.zarr"
_CHUNK_BYTES = 1 << 20  # common practice, no source: about a megabyte a chunk
_CHUNKS_IN_SHARD = 16  # own estimate: files of some 16 MB: few to open, quick to copy
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
        Nodes ``heads/head-0`` ... and ``reference/probes-0`` ...; close it after use.

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
        names = [json.loads(node.attrs["fields"])[0]["head"] for node in nodes]
        if head not in names:
            raise StorageError(f"{path}: no head {head!r}; it has {', '.join(names)}")
        frames = nodes[names.index(head)]
        for start in range(0, frames.sizes["time"], block):
            part = frames.isel(time=slice(start, start + block))
            yield _block(part, where=path)
    finally:
        tree.close()


# ------------------------------------------------------------------- writing


class _Timed(Protocol):
    @property
    def time_s(self) -> FloatArray: ...


@dataclass(frozen=True)
class _Group:
    """Records of one kind that share a time axis, stacked along ``axis`` when it has a name."""

    members: tuple[object, ...]
    axis: str = ""


def _groups(record: object) -> tuple[dict[str, Any], dict[str, _Group]]:
    """Return what stands in a store's root, and the groups of arrays by their path."""
    if isinstance(record, Recording):
        groups = {
            f"heads/head-{at}": _Group((head,)) for at, head in enumerate(record.inputs.heads)
        }
        groups |= _stacks("reference/probes", "probe", record.reference.probes)
        inputs = dataclasses.replace(record.inputs, heads=())
        reference = dataclasses.replace(record.reference, probes=())
        root: object = dataclasses.replace(record, inputs=inputs, reference=reference)
    elif isinstance(record, Truth):
        groups = _stacks("burners", "burner", record.burners)
        root = dataclasses.replace(record, burners=())
    else:
        raise TypeError(f"a recording store cannot hold a {type(record).__name__}")
    return record_tree(root)[0], groups


def _stacks(path: str, axis: str, members: Sequence[_Timed]) -> dict[str, _Group]:
    """Return groups of neighbours that share a time axis: fewer arrays, faster to write."""
    runs = groupby(members, key=lambda one: one.time_s.tobytes())
    return {f"{path}-{at}": _Group(tuple(run), axis) for at, (_, run) in enumerate(runs)}


def _write_store(store: Path, record: object) -> None:
    import xarray as xr

    tree, groups = _groups(record)
    root = {
        "format": RECORDING_FORMAT,
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
            encoding={key: _encoding(one) for key, one in dataset.variables.items()},
        )


def _to_dataset(group: _Group) -> xr.Dataset:
    """Return records of arrays over time as a dataset; what is no array, as attributes."""
    import xarray as xr

    variables: dict[str, Any] = {}
    plain: list[dict[str, Any]] = [{} for _ in group.members]
    for field in dataclasses.fields(group.members[0]):  # type: ignore[arg-type]
        values = [getattr(member, field.name) for member in group.members]
        if not isinstance(values[0], np.ndarray):
            for table, value in zip(plain, values, strict=True):
                table[field.name] = record_tree(value)[0]
            continue
        name, unit = _variable(field.name)
        says = {"units": unit, "long_name": _LONG_NAMES.get(field.name, name), "field": field.name}
        if field.name == "apparent_k":
            says["standard_name"] = "brightness_temperature"
        dims = ("time", "row", "col")[: values[0].ndim]
        if group.axis and name != "time":
            variables[name] = ((group.axis, *dims), np.stack(values), says)
        else:
            variables[name] = (dims, values[0], says)
    coords = {"time": variables.pop("time")}
    return xr.Dataset(variables, coords, {"fields": json.dumps(plain, ensure_ascii=False)})


def _variable(field: str) -> tuple[str, str]:
    """Return a field's variable name and unit."""
    for suffix, (ending, unit) in _UNITS.items():
        if field.endswith(suffix):
            stem = field.removesuffix(suffix)
            return stem if ending.endswith(f"_{stem}") else stem + ending, unit
    return field, "1"


def _encoding(variable: xr.Variable) -> dict[str, Any]:
    """Return chunks along time of about a megabyte, several in one file when there are many."""
    from zarr.codecs import BloscCodec

    size = variable.dtype.itemsize
    count = variable.sizes["time"]
    moment = max(variable.size // max(count, 1) * size, 1)
    chunk = max(1, min(count, _CHUNK_BYTES // moment))

    def spans(length: int) -> tuple[int, ...]:
        return tuple(length if dim == "time" else variable.sizes[dim] for dim in variable.dims)

    encoding: dict[str, Any] = {
        "chunks": spans(chunk),
        "compressors": (BloscCodec(cname="lz4", clevel=5, shuffle="bitshuffle", typesize=size),),
        "_FillValue": None,
    }
    if count > chunk:
        encoding["shards"] = spans(chunk * min(_CHUNKS_IN_SHARD, -(-count // chunk)))
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
    if attributes.get("format") != RECORDING_FORMAT:
        raise StorageError(
            f"{store}: format {attributes.get('format')!r} is not known; this version reads "
            f"{RECORDING_FORMAT}"
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
    fields: dict[str, Any], datasets: dict[str, xr.Dataset], *, kind: type[T], store: Path
) -> T:
    """Return the record of a root's fields and its groups."""
    arrays: dict[str, NDArray[Any]] = {}
    members: dict[str, list[Any]] = {"head": [], "probes": [], "burners": []}
    for name in sorted(datasets, key=lambda one: int(one.rpartition("-")[2])):
        word = name.rpartition("/")[2].rpartition("-")[0]
        members[word] += _trees_of(datasets[name], name, arrays)
    if kind is Recording:
        fields["inputs"]["heads"] = members["head"]
        fields["reference"]["probes"] = members["probes"]
    else:
        fields["burners"] = members["burners"]
    return rebuilt(fields, arrays, kind=kind, where=store)


def _trees_of(
    dataset: xr.Dataset, name: str, arrays: dict[str, NDArray[Any]]
) -> list[dict[str, Any]]:
    """Return the records of a group as trees, their arrays put beside them."""
    trees: list[dict[str, Any]] = json.loads(dataset.attrs["fields"])
    for key, variable in dataset.variables.items():
        values = variable.values
        values.flags.writeable = False
        for at, tree in enumerate(trees):
            stacked = variable.dims[0] in ("probe", "burner")
            arrays[f"{name}/{key}/{at}"] = values[at] if stacked else values
            tree[variable.attrs["field"]] = {ARRAY_KEY: f"{name}/{key}/{at}"}
    return trees


def _block(dataset: xr.Dataset, *, where: object) -> HeadFrames:
    arrays: dict[str, NDArray[Any]] = {}
    try:
        (tree,) = _trees_of(dataset.load(), "part", arrays)
    except Exception as error:  # the library raises assorted errors on damaged chunks
        raise StorageError(f"{where}: damaged ({error}); {_ADVICE}") from error
    return rebuilt(tree, arrays, kind=HeadFrames, where=where)
