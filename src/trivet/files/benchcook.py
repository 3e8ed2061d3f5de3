"""Reads a bench cook: a folder with its sheet, frames, probe log and events."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from trivet.constants import ZERO_C_K
from trivet.errors import DesignError, Fault, InputError, RecordingError, nearest
from trivet.files.clocks import compare_clocks
from trivet.files.frame_readers import READERS
from trivet.files.frames import frame_file, read_frames
from trivet.files.references import read_references
from trivet.files.rules import parts_within, rule_faults, undefined
from trivet.files.texttable import numbers, read_table
from trivet.files.tomlfile import TomlFile, read_toml, validate
from trivet.records.benchsheet import CookSheet
from trivet.records.design import Design
from trivet.records.recording import (
    EVENTS,
    Event,
    HeadFrames,
    Note,
    ProbeSeries,
    ProductInput,
    Recording,
    Reference,
)
from trivet.records.sensorcard import Head

SHEET_FORMAT = 1  # version of the format; raised when an older program could not read it
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
    toml = read_toml(folder / SHEET, newest=SHEET_FORMAT)
    sheet, faults = validate(CookSheet, toml)
    if sheet is not None:
        faults += tuple(_sheet_faults(toml, sheet, design))
    if faults or sheet is None:
        raise DesignError(tuple(sorted(faults, key=lambda fault: fault.line or 0)))
    return sheet


def _links(sheet: CookSheet, design: Design) -> dict[str, list[str]]:
    """Return the names that may stand at each key of the sheet that refers to something."""
    burners, heads, pans, bands = (
        [one.name for one in parts]
        for parts in (design.burners, design.heads, design.pans, design.bands)
    )
    columns = [probe.column for probe in sheet.probes]
    return {
        "sensor_head": heads,
        "burners[].burner": burners,
        "probes[].burner": burners,
        "targets[].burner": burners,
        "marks[].head": ["", *heads],
        "flats[].head": ["", *heads],
        "patches[].probe": [*columns, "housing"],
        "told.pan": pans,
        "told.target_band": bands,
        **{f"told.{burner}.pan": pans for burner in sheet.told.burners},
        **{f"told.{burner}.target_band": bands for burner in sheet.told.burners},
    }


def _sheet_faults(toml: TomlFile, sheet: CookSheet, design: Design) -> Iterator[Fault]:
    """Yield names that the design does not know, and rules that the sheet breaks."""
    yield from undefined(toml, _links(sheet, design))
    yield from rule_faults(toml, dict(parts_within(sheet)))
    burners = [burner.name for burner in design.burners]
    for name in sheet.told.burners:
        if name not in burners:
            yield toml.fault(("told", name), f"{name!r} is not defined", nearest(name, burners))


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
        ambient_c = float(design.surroundings.ambient_k) - ZERO_C_K
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


EVENT_COLUMNS = ("time_s", "burner", "event", "value", "note")
WITHOUT_BURNER = frozenset(("person_in", "person_out", "shutter"))


def read_events(
    path: Path, *, burners: tuple[str, ...]
) -> tuple[tuple[Event, ...], tuple[Note, ...]]:
    """Return the events of a cook, in order of time.

    Parameters
    ----------
    path : Path
        Table with ``time_s, burner, event, value, note``; the last two may be
        left out.
    burners : tuple of str
        Names that the design knows.

    Returns
    -------
    events, notes
        Events sorted by time; a note where the file was not.

    Raises
    ------
    RecordingError
        If a column is missing, a moment is no number, an event or burner is
        unknown (with the nearest name), or a level is not from 0 to 1.
    """
    table = read_table(path)
    missing = [name for name in EVENT_COLUMNS[:3] if name not in table.header]
    if missing:
        raise RecordingError(
            f"{path.name}: columns missing: {', '.join(missing)}; the header is "
            f"{','.join(EVENT_COLUMNS)}"
        )
    at = {name: table.header.index(name) for name in EVENT_COLUMNS if name in table.header}
    times, _ = numbers(table, (at["time_s"],))
    events = []
    for row, cells in enumerate(table.rows):
        picked = {name: cells[place] for name, place in at.items()}
        moment = float(times[row, 0])
        _refuse_event(picked, moment, table.line(row), burners)
        events.append(
            Event(
                time_s=moment,
                burner=picked["burner"],
                event=picked["event"],
                value=picked.get("value", ""),
                note=picked.get("note", ""),
            )
        )
    notes = table.notes
    if np.any(np.diff(times[:, 0]) < 0.0):
        first = int(np.flatnonzero(np.diff(times[:, 0]) < 0.0)[0]) + 1
        notes += (Note("events are not in order of time; sorted", table.line(first), "check it"),)
    return tuple(sorted(events, key=lambda event: event.time_s)), notes


def _refuse_event(
    cells: dict[str, str], moment: float, place: str, burners: tuple[str, ...]
) -> None:
    if not np.isfinite(moment):
        raise RecordingError(f"{place}: an event without time_s")
    event, burner = cells["event"], cells["burner"]
    if event not in EVENTS:
        raise RecordingError(f"{place}: event {event!r} is unknown; {nearest(event, EVENTS)}")
    if burner == "" and event in WITHOUT_BURNER:
        return
    if burner not in burners:
        raise RecordingError(
            f"{place}: burner {burner!r} is not in the design; {nearest(burner, burners)}"
        )
    if event == "level":
        _check_burner_level(cells.get("value", ""), place)


def _check_burner_level(text: str, place: str) -> None:
    try:
        level = float(text.removesuffix("%")) / (100.0 if text.endswith("%") else 1.0)
    except ValueError:
        level = float("nan")
    if not 0.0 <= level <= 1.0:
        raise RecordingError(
            f"{place}: level {text!r}; allowed: the share of full power, 0 to 1 (or 0 % to 100 %)"
        )
