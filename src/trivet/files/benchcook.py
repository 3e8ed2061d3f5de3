"""Reads a bench cook: a folder with its sheet, frames, probe log and events."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

from trivet.errors import DesignError, Fault, InputError, RecordingError, nearest
from trivet.files.clocks import compare_clocks
from trivet.files.events import read_events
from trivet.files.frame_readers import READERS
from trivet.files.frames import frame_file, read_frames
from trivet.files.references import read_references
from trivet.files.tomlfile import TomlFile, read_toml, validate
from trivet.records.benchsheet import CookSheet
from trivet.records.design import Design
from trivet.records.recording import (
    Event,
    HeadFrames,
    Note,
    ProbeSeries,
    ProductInput,
    Recording,
    Reference,
)
from trivet.records.sensorcard import Head

FORMAT = 1
SHEET = "cook.toml"


def bench_folders(project: Path) -> tuple[Path, ...]:
    """Return the folders of a project's bench cooks, in order of name.

    Parameters
    ----------
    project : Path
        The project folder.

    Returns
    -------
    tuple of Path
        Every folder in ``bench/`` that holds anything; names that begin with a
        dot or an underscore are set aside.
    """
    bench = project / "bench"
    if not bench.is_dir():
        return ()
    folders = (one for one in bench.iterdir() if one.is_dir() and one.name[0] not in "._")
    return tuple(sorted(one for one in folders if any(one.iterdir())))


def folder_hash(folder: Path) -> str:
    """Return the SHA-256 of a bench cook: names and bytes of its files.

    Parameters
    ----------
    folder : Path
        The bench cook.

    Returns
    -------
    str
        Hexadecimal text; neither path nor clock enter.
    """
    digest = hashlib.sha256()
    for file in sorted(_files(folder)):
        content = hashlib.sha256()
        with file.open("rb") as stream:
            while block := stream.read(1 << 20):
                content.update(block)
        name = file.relative_to(folder).as_posix()
        digest.update(f"{len(name)}:{name}:{content.hexdigest()}".encode())
    return digest.hexdigest()


def import_bench_cook(folder: Path, *, design: Design) -> Recording:
    """Return the recording of a bench cook, checked, with notes of what was found.

    Parameters
    ----------
    folder : Path
        ``cook.toml``; frames of each head; where kept, ``probes.csv`` or xlsx,
        ``probe_offsets.csv`` or xlsx, and ``events.csv``. It is only read.
    design : Design
        The design whose heads, burners, pans and bands it names.

    Returns
    -------
    Recording
        Named after the folder. Evidence is ``bench``, or ``simulated`` where
        the sheet says that the folder was made and not measured.

    Raises
    ------
    DesignError
        With every fault of ``cook.toml`` at once.
    RecordingError
        If frames or events are not what they claim to be.
    ProbeLogError
        If the probe log is not what it claims to be.
    FormatError
        If a file is damaged or of an unknown format.
    InputError
        If a file is missing.

    Notes
    -----
    What is wrong throughout is refused; what is wrong at moments is blanked
    and noted. The page ``docs/formats/bench-cook.md`` lists both.
    """
    sheet = _sheet(folder, design)
    frames, notes = _heads(folder, sheet, design)
    probes, found = _probes(folder, sheet, design)
    notes += found
    events, found = _events(folder, design)
    notes += found + _strangers(folder, sheet)
    notes += compare_clocks(frames, probes, events)
    return Recording(
        name=folder.name,
        purpose=sheet.purpose,
        evidence="simulated" if sheet.synthetic else "bench",
        unit=sheet.unit,
        altitude_m=float(
            design.surroundings.altitude_m if sheet.altitude_m is None else sheet.altitude_m
        ),
        inputs=ProductInput(heads=frames, told=sheet.told),
        reference=Reference(
            probes=probes,
            events=events,
            sheet=sheet.burners,
            marks=sheet.marks,
            targets=sheet.targets,
            patches=sheet.patches,
            flats=sheet.flats,
        ),
        notes=notes,
    )


def _sheet(folder: Path, design: Design) -> CookSheet:
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder")
    if not (folder / SHEET).is_file():
        raise InputError(f"{folder}: {SHEET} is missing; it says what was cooked and with what")
    toml = read_toml(folder / SHEET, newest=FORMAT)
    sheet, faults = validate(CookSheet, toml)
    if sheet is not None:
        faults += tuple(_name_faults(toml, sheet, design))
    if faults or sheet is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    return sheet


def _name_faults(toml: TomlFile, sheet: CookSheet, design: Design) -> Iterator[Fault]:
    """Yield names that the design does not know, and columns named twice."""
    burners = [burner.name for burner in design.burners]
    known = {
        "pan": [pan.name for pan in design.pans],
        "target_band": [band.name for band in design.bands],
    }
    for head in _head_names(sheet):
        if head not in {one.name for one in design.heads}:
            found = f"head {head!r} is not in the design"
            yield toml.fault(("sensor_head",), found, nearest(head, (h.name for h in design.heads)))
    for at, burner in enumerate(sheet.burners):
        yield from _unknown(toml, ("burners", at, "burner"), burner.burner, burners)
    for at, probe in enumerate(sheet.probes):
        yield from _unknown(toml, ("probes", at, "burner"), probe.burner, burners)
        if probe.column in [one.column for one in sheet.probes[:at]]:
            found = f"column {probe.column!r} is named twice"
            yield toml.fault(("probes", at, "column"), found, "each column once")
    yield from _calibration_faults(toml, sheet, design)
    for name, entry in sheet.told.burners.items():
        yield from _unknown(toml, ("told", name), name, burners)
        for key, names in known.items():
            yield from _unknown(toml, ("told", name, key), getattr(entry, key), names)
    for key, names in known.items():
        yield from _unknown(toml, ("told", key), getattr(sheet.told.every, key), names)


def _calibration_faults(toml: TomlFile, sheet: CookSheet, design: Design) -> Iterator[Fault]:
    """Yield what is wrong with marks, targets, patches and even scenes."""
    burners = [burner.name for burner in design.burners]
    heads = [head.name for head in design.heads]
    for at, mark in enumerate(sheet.marks):
        yield from _unknown(toml, ("marks", at, "head"), mark.head or None, heads)
    for at, flat in enumerate(sheet.flats):
        yield from _unknown(toml, ("flats", at, "head"), flat.head or None, heads)
    for at, aim in enumerate(sheet.targets):
        yield from _unknown(toml, ("targets", at, "burner"), aim.burner, burners)
    columns = [probe.column for probe in sheet.probes]
    for at, patch in enumerate(sheet.patches):
        yield from _unknown(toml, ("patches", at, "probe"), patch.probe, [*columns, "housing"])
        if float(patch.emissivity_frac) >= 0.5:
            found = f"emissivity {float(patch.emissivity_frac):.2f}: the patch shows itself"
            yield toml.fault(("patches", at, "emissivity"), found, "under 0.5")


def _unknown(
    toml: TomlFile, path: tuple[str | int, ...], name: str | None, known: list[str]
) -> Iterator[Fault]:
    if name is not None and name not in known:
        yield toml.fault(path, f"{name!r} is not in the design", nearest(name, known))


def _head_names(sheet: CookSheet) -> tuple[str, ...]:
    if sheet.sensor_head is None:
        return ()
    return (sheet.sensor_head,) if isinstance(sheet.sensor_head, str) else sheet.sensor_head


def _used_heads(folder: Path, sheet: CookSheet, design: Design) -> tuple[Head, ...]:
    named = _head_names(sheet)
    if named:
        return tuple(head for head in design.heads if head.name in named)
    if len(design.heads) == 1:
        return design.heads
    files = [file.name for file in folder.iterdir()]
    seen = [
        head
        for head in design.heads
        if any(name.startswith((f"frames.{head.name}.", f"words.{head.name}.")) for name in files)
    ]
    if not seen:
        raise RecordingError(
            f"{folder / SHEET}: sensor_head is not given and the design has "
            f"{', '.join(head.name for head in design.heads)}; say which recorded it"
        )
    return tuple(seen)


def _heads(
    folder: Path, sheet: CookSheet, design: Design
) -> tuple[tuple[HeadFrames, ...], tuple[Note, ...]]:
    heads = _used_heads(folder, sheet, design)
    frames: list[HeadFrames] = []
    notes: list[Note] = []
    for head in heads:
        file = frame_file(folder, head=head.name, only=len(heads) == 1)
        ambient_c = float(design.surroundings.ambient_k) - 273.15
        one, found = read_frames(file, head=head.name, card=design.card(head), ambient_c=ambient_c)
        frames.append(one)
        notes += found
    return tuple(frames), tuple(notes)


def _one_of(folder: Path, stem: str, suffixes: tuple[str, ...]) -> Path | None:
    found = [folder / f"{stem}{end}" for end in suffixes if (folder / f"{stem}{end}").is_file()]
    if len(found) > 1:
        names = " and ".join(file.name for file in found)
        raise RecordingError(f"{folder}: {names}; keep the one that was recorded")
    return found[0] if found else None


def _probes(
    folder: Path, sheet: CookSheet, design: Design
) -> tuple[tuple[ProbeSeries, ...], tuple[Note, ...]]:
    log = _one_of(folder, "probes", (".csv", ".xlsx"))
    if log is None:
        if sheet.probes:
            columns = ", ".join(probe.column for probe in sheet.probes)
            raise InputError(
                f"{folder}: probes.csv (or .xlsx) is missing, but {SHEET} lists the columns "
                f"{columns}"
            )
        note = Note("no reference probes", folder.name, "this cook can prove no temperature")
        return (), (note,)
    return read_references(
        log,
        offsets=_one_of(folder, "probe_offsets", (".csv", ".xlsx")),
        sheet=sheet,
        air_k=float(design.surroundings.ambient_k),
    )


def _events(folder: Path, design: Design) -> tuple[tuple[Event, ...], tuple[Note, ...]]:
    file = folder / "events.csv"
    if not file.is_file():
        note = Note("no events.csv", folder.name, "heat, food and lids of this cook are unknown")
        return (), (note,)
    return read_events(file, burners=tuple(burner.name for burner in design.burners))


def _strangers(folder: Path, sheet: CookSheet) -> tuple[Note, ...]:
    """Note files that nothing reads, so that a misspelt name is not lost in silence."""
    known = {SHEET, "events.csv"}
    known |= {f"{stem}{end}" for stem in ("probes", "probe_offsets") for end in (".csv", ".xlsx")}
    strangers = sorted(
        file.name
        for file in folder.iterdir()
        if file.name not in known
        and file.name[0] not in "._"
        and file.suffix.casefold() not in (".md", ".txt", ".pdf", ".jpg", ".png")
        and not (file.name.startswith(("frames.", "words.")) and file.suffix in READERS)
    )
    if not strangers:
        return ()
    return (
        Note(f"files that are not read: {', '.join(strangers)}", folder.name, "check their names"),
    )


def _files(folder: Path) -> Iterator[Path]:
    for file in folder.rglob("*"):
        if file.is_file() and not any(
            part.startswith(".") for part in file.relative_to(folder).parts
        ):
            yield file
