"""The reference probes of a bench cook: log, channel offsets, clock and uncertainty joined."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from trivet.errors import NotEnoughDataError, ProbeLogError
from trivet.files.framesource import nearest_key
from trivet.files.probes import ProbeLog, read_probe_log
from trivet.kernels.sensor.channel_offsets import (
    ChannelOffsets,
    common_temperature_offsets,
    offset_at_k,
)
from trivet.kernels.sensor.probe_uncertainty import probe_standard_uncertainty_k
from trivet.kernels.sensor.thermocouple import ToleranceClass
from trivet.records.cook import CookSheet, SheetProbe
from trivet.records.recording import Note, ProbeSeries

ZERO_C_K = 273.15
CLASSES: tuple[ToleranceClass, ...] = ("iec-1", "iec-2", "iec-3", "astm-special", "astm-standard")

Floats = NDArray[np.float64]


def read_references(
    log_file: Path, *, offsets: Path | None, sheet: CookSheet, air_k: float
) -> tuple[tuple[ProbeSeries, ...], tuple[Note, ...]]:
    """Return the corrected readings of the probes that the sheet names.

    Parameters
    ----------
    log_file : Path
        ``probes.csv`` or xlsx.
    offsets : Path or None
        Log of the same channels in one common temperature; their offsets are
        taken off.
    sheet : CookSheet
        Gives each probe's column, kind, class, attachment, and the clock
        offset: added to the log's time to get the frames' time.
    air_k : float
        Air around the wires. [K]

    Returns
    -------
    probes, notes
        One series a probe of the sheet, on the frames' clock [K].

    Raises
    ------
    ProbeLogError
        If a column of the sheet is not in the log (nearest names given), a
        tolerance class is unknown, or the offsets run was never settled.

    Notes
    -----
    Standard uncertainty: the sheet's own where given; else wire tolerance,
    logger and attachment, and the offset's where one was taken off.
    """
    cold = tuple(
        probe.column
        for probe in sheet.probes
        if probe.touches == "food" or probe.attachment == "inserted"
    )
    log = read_probe_log(log_file, may_be_cold=cold)
    notes = [*log.notes]
    common = None if offsets is None else _common(offsets)
    series = []
    for probe in sheet.probes:
        series.append(_series(log, probe, common, sheet, air_k))
    used = {log.column(probe.column) for probe in sheet.probes}
    spare = [name for at, name in enumerate(log.columns) if at not in used]
    if spare:
        notes.append(
            Note(
                f"columns that cook.toml does not name: {', '.join(spare)}",
                log.where,
                "add a [[probes]] entry for each that is a reference",
            )
        )
    if common is not None:
        notes.append(_offset_note(common))
    return tuple(series), tuple(notes)


def _series(
    log: ProbeLog,
    probe: SheetProbe,
    common: tuple[ProbeLog, ChannelOffsets] | None,
    sheet: CookSheet,
    air_k: float,
) -> ProbeSeries:
    at = log.column(probe.column)
    if at is None:
        raise ProbeLogError(
            f"{log.where}: no column {probe.column!r}, which cook.toml names; "
            f"{nearest_key(probe.column, log.columns)}"
        )
    reading = log.readings_c[:, at] + ZERO_C_K
    uncertainty = _uncertainty(reading, probe, log.where, air_k)
    if common is not None:
        run, channel_offsets = common
        place = run.column(probe.column)
        if place is None:
            raise ProbeLogError(
                f"{run.where}: no column {probe.column!r}; {nearest_key(probe.column, run.columns)}"
            )
        offset, offset_u = offset_at_k(reading, offsets=channel_offsets, probe=place)
        reading, uncertainty = reading - offset, np.hypot(uncertainty, offset_u)
    return ProbeSeries(
        probe=probe,
        time_s=log.time_s + float(sheet.clock_offset_s),
        temperature_k=reading,
        u_k=uncertainty,
    )


def _uncertainty(reading: Floats, probe: SheetProbe, where: str, air_k: float) -> Floats:
    if probe.u_delta_k is not None:
        return np.where(np.isfinite(reading), float(probe.u_delta_k), np.nan)
    named = next((one for one in CLASSES if one == probe.tolerance_class), None)
    if named is None:
        raise ProbeLogError(
            f"{where}: probe {probe.column!r}: class {probe.tolerance_class!r} is unknown; "
            f"{nearest_key(probe.tolerance_class, CLASSES)}"
        )
    return probe_standard_uncertainty_k(
        reading, kind=probe.kind, tolerance_class=named, attachment=probe.attachment, air_k=air_k
    )


def _common(file: Path) -> tuple[ProbeLog, ChannelOffsets]:
    run = read_probe_log(file)
    whole = np.all(np.isfinite(run.readings_c), axis=1)
    try:
        return run, common_temperature_offsets(
            run.readings_c[whole] + ZERO_C_K, time_s=run.time_s[whole]
        )
    except NotEnoughDataError as error:
        raise ProbeLogError(f"{file.name}: {error}") from error


def _offset_note(common: tuple[ProbeLog, ChannelOffsets]) -> Note:
    run, offsets = common
    plateaus = ", ".join(f"{level - ZERO_C_K:.1f} C" for level in offsets.plateau_k)
    widest = float(np.max(np.ptp(offsets.offset_k, axis=1)))
    return Note(
        f"channel offsets taken off, settled at {plateaus}; the widest spread is {widest:.2f} K",
        run.where,
        "the mean of all channels stands as right",
    )
