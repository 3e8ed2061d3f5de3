"""The reference probes of a bench cook: log, channel offsets, clock and uncertainty joined."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import NotEnoughDataError, ProbeLogError, nearest
from trivet.files.clocks import LogClock, log_clock
from trivet.files.probes import ProbeLog, read_probe_log
from trivet.physics.sensor.probelog import (
    ChannelOffsets,
    common_temperature_offsets,
    follows,
    offset_at_k,
)
from trivet.physics.sensor.probes import (
    CONDUCTION_SHARE,
    lag_corrected_k,
    moving_uncertainty_k,
    probe_standard_uncertainty_k,
    surface_from_junction_k,
)
from trivet.physics.sensor.thermocouple import ToleranceClass
from trivet.records.benchsheet import CookSheet, SheetProbe
from trivet.records.recording import Note, ProbeSeries

LAG_SHARE = 0.15
"""Least doubt of a measured lag, as a share of it; assumed, no source."""
CLASSES: tuple[ToleranceClass, ...] = ("iec-1", "iec-2", "iec-3", "astm-special", "astm-standard")


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
    logger and attachment, the offset's where one was taken off, and the rate of
    the reading times the doubt of clock and lag.
    """
    cold = tuple(
        probe.column
        for probe in sheet.probes
        if probe.touches == "food" or probe.attachment == "inserted"
    )
    heated = tuple(probe.column for probe in sheet.probes if probe.touches != "room")
    log = read_probe_log(log_file, may_be_cold=cold, must_move=heated)
    _refuse_displaced(log, sheet)
    clock = log_clock(sheet, where=log.where)
    notes = [*log.notes, *clock.notes]
    common = None if offsets is None else _common(offsets)
    series = []
    for probe in sheet.probes:
        series.append(_series(log, probe, common, clock, air_k))
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
    clock: LogClock,
    air_k: float,
) -> ProbeSeries:
    at = log.column(probe.column)
    if at is None:
        raise ProbeLogError(
            f"{log.where}: no column {probe.column!r}, which cook.toml names; "
            f"{nearest(probe.column, log.columns)}"
        )
    reading = log.readings_c[:, at] + ZERO_C_K
    uncertainty = _uncertainty(reading, probe, log.where, air_k)
    if common is not None:
        run, channel_offsets = common
        place = run.column(probe.column)
        if place is None:
            raise ProbeLogError(
                f"{run.where}: no column {probe.column!r}; {nearest(probe.column, run.columns)}"
            )
        offset, offset_u = offset_at_k(reading, offsets=channel_offsets, probe=place)
        reading, uncertainty = reading - offset, np.hypot(uncertainty, offset_u)
    reading, uncertainty = _attached(
        reading, uncertainty, time=log.time_s, probe=probe, clock=clock, air_k=air_k
    )
    return ProbeSeries(
        probe=probe,
        time_s=clock.frames_s(log.time_s),
        temperature_k=reading,
        u_k=uncertainty,
    )


def _attached(
    reading: FloatArray,
    uncertainty: FloatArray,
    *,
    time: FloatArray,
    probe: SheetProbe,
    clock: LogClock,
    air_k: float,
) -> tuple[FloatArray, FloatArray]:
    """Take out conduction error and lag where the sheet gives them; pay for them where not."""
    if probe.conduction_frac is not None:
        surface = surface_from_junction_k(
            reading, error_frac=float(probe.conduction_frac), air_k=air_k
        )
        uncertainty = np.hypot(uncertainty, CONDUCTION_SHARE * np.abs(surface - reading))
        reading = surface
    step = float(np.median(np.diff(time))) if time.size > 1 else 1.0
    lag = 0.0 if probe.lag_s is None else float(probe.lag_s)
    window = max(2.0 * lag, 4.0 * step)
    # with a time constant of 1 s the correction is the rate itself
    ahead = lag_corrected_k(reading, time_s=time, time_constant_s=1.0, window_s=window)
    rate = ahead - reading
    lag_u = None
    if probe.lag_s is not None:
        lag_u = max(probe.lag_s.standard_uncertainty, LAG_SHARE * lag)
        reading = reading + lag * rate
    moving = moving_uncertainty_k(
        rate, attachment=probe.attachment, lag_u_s=lag_u, clock_u_s=clock.u_s
    )
    if probe.u_delta_k is None:  # a stated uncertainty holds all that its owner knows
        uncertainty = np.hypot(uncertainty, moving)
    return reading, np.where(np.isfinite(reading), uncertainty, np.nan)


def _refuse_displaced(log: ProbeLog, sheet: CookSheet) -> None:
    """Refuse a room channel that follows what is heated."""
    heated = [log.column(one.column) for one in sheet.probes if one.touches not in ("room", "food")]
    others = [at for at in heated if at is not None]
    if not others:
        return
    liveliest = max(others, key=lambda at: float(np.ptp(_known(log.readings_c[:, at]))))
    for probe in sheet.probes:
        at = log.column(probe.column)
        if probe.touches != "room" or at is None:
            continue
        if follows(log.readings_c[:, at], other_k=log.readings_c[:, liveliest]):
            rise = float(np.ptp(_known(log.readings_c[:, at])))
            raise ProbeLogError(
                f"{log.where}: column {probe.column!r}, the room's, rises by {rise:.0f} K with "
                f"{log.columns[liveliest]!r}: displaced, it hangs over or in what is heated. Take "
                "it out of cook.toml or say what it touches"
            )


def _known(column: FloatArray) -> FloatArray:
    return column[np.isfinite(column)]


def _uncertainty(reading: FloatArray, probe: SheetProbe, where: str, air_k: float) -> FloatArray:
    if probe.u_delta_k is not None:
        return np.where(np.isfinite(reading), float(probe.u_delta_k), np.nan)
    named = next((one for one in CLASSES if one == probe.tolerance_class), None)
    if named is None:
        raise ProbeLogError(
            f"{where}: probe {probe.column!r}: class {probe.tolerance_class!r} is unknown; "
            f"{nearest(probe.tolerance_class, CLASSES)}"
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
