"""Clocks of a bench cook: times of day in a log, the log against the frames, and all of them."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.constants import DAY_S, ZERO_C_K
from trivet.errors import NotEnoughDataError, ProbeLogError, RecordingError
from trivet.physics.sensor.alignment import clock_from_events, clock_offset_by_correlation
from trivet.records.benchsheet import CookSheet
from trivet.records.recording import Event, HeadFrames, Note, ProbeSeries

_CLOCK = re.compile(
    r"^(?:(?P<date>\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4})[ T])?\s*"
    r"(?P<h>\d{1,2}):(?P<m>\d{2})(?::(?P<s>\d{2}(?:[.,]\d+)?))?\s*(?P<half>[AaPp]\.?[Mm]\.?)?Z?$"
)
HALF_DAY_S = DAY_S / 2  # by definition


def looks_like_clock(text: str) -> bool:
    """Return whether a cell is a time of day, such as ``12:01:05`` or ``1:05 PM``."""
    return _CLOCK.match(text) is not None


def clock_seconds(
    cells: tuple[str, ...], *, where: str, first_line: int
) -> tuple[FloatArray, tuple[Note, ...]]:
    """Return seconds since the first row's midnight of a column of clock times.

    Parameters
    ----------
    cells : (row,)
        Clock times; a date before them is used only to tell midnight.
    where : str
        File, for messages.
    first_line : int
        Line of the first row.

    Returns
    -------
    (row,), notes
        Seconds since midnight before the first row, past midnight going on.

    Raises
    ------
    ProbeLogError
        If a cell is no clock time, AM and PM stand at some rows only, or a
        12-hour clock without them starts again at 1.

    Notes
    -----
    A fall of about 24 h is midnight. A fall of about 12 h is a 12-hour clock:
    with AM and PM it is read as such, without them it is refused, since the
    hour cannot be known.
    """
    matches = [_CLOCK.match(cell) for cell in cells]
    for at, match in enumerate(matches):
        if match is None:
            raise ProbeLogError(
                f"{where}:{first_line + at}: {cells[at]!r} is not a clock time like the others"
            )
    found = [match for match in matches if match is not None]
    halves = [match["half"] for match in found]
    if any(halves) and not all(halves):
        at = halves.index(None)
        raise ProbeLogError(
            f"{where}:{first_line + at}: {cells[at]!r} lacks the AM or PM that other rows have"
        )
    seconds = np.array([_seconds(match) for match in found])
    return _unwrapped(seconds, cells, where, first_line, twelve=bool(halves and halves[0]))


def _seconds(match: re.Match[str]) -> float:
    hours = int(match["h"])
    if match["half"]:
        hours = hours % 12 + (12 if match["half"][0] in "Pp" else 0)
    return 3600.0 * hours + 60.0 * int(match["m"]) + float((match["s"] or "0").replace(",", "."))


def _unwrapped(
    seconds: FloatArray,
    cells: tuple[str, ...],
    where: str,
    first_line: int,
    *,
    twelve: bool,
) -> tuple[FloatArray, tuple[Note, ...]]:
    falls = np.flatnonzero(np.diff(seconds) < 0.0)
    for fall in falls:
        size = seconds[fall] - seconds[fall + 1]
        if not twelve and 0.9 * HALF_DAY_S < size < 1.02 * HALF_DAY_S:
            raise ProbeLogError(
                f"{where}:{first_line + int(fall) + 1}: {cells[fall + 1]!r} follows "
                f"{cells[fall]!r}: a 12-hour clock without AM or PM. Set the logger to 24 hours, "
                "or give time_s in seconds."
            )
    midnight = np.zeros(seconds.size)
    over = falls[(seconds[falls] - seconds[falls + 1]) > 0.9 * DAY_S]
    for fall in over:
        midnight[fall + 1 :] += DAY_S
    kind = "12-hour clock with AM and PM" if twelve else "24-hour clock"
    notes = [
        Note(
            f"time column is a {kind}, read as seconds since midnight"
            + (f"; midnight passed {over.size} times" if over.size else ""),
            where,
            "state clock_offset in cook.toml against the frames' clock; time_s is safer",
        )
    ]
    return seconds + midnight, tuple(notes)


DRIFT_EVENTS = 3  # own estimate: two unknowns and one moment to check them


@dataclass(frozen=True)
class LogClock:
    """frames = log + offset + drift (log - pivot), its standard uncertainty, and notes."""

    offset_s: float
    drift_frac: float
    pivot_s: float
    u_s: float
    notes: tuple[Note, ...]

    def frames_s(self, log_s: FloatArray) -> FloatArray:
        """Return moments of the log on the frames' clock. [s]"""
        return log_s + self.offset_s + self.drift_frac * (log_s - self.pivot_s)


def log_clock(sheet: CookSheet, *, where: str) -> LogClock:
    """Return how the log's clock runs against the frames'.

    Parameters
    ----------
    sheet : CookSheet
        Its shared moments where it has any, else its clock offset.
    where : str
        What a message names.

    Returns
    -------
    LogClock

    Raises
    ------
    ProbeLogError
        If a shared moment contradicts the others, or they contradict a stated
        clock offset.

    Notes
    -----
    Three shared moments of 0.1 s give the offset within 0.06 s (standard). One or
    two give it without drift. Without any the stated offset stands, with
    0.5 s of doubt unless the sheet knows better.
    """
    stated, u = float(sheet.clock_offset_s), float(sheet.clock_u_s)
    if not sheet.shared:
        return LogClock(stated, 0.0, 0.0, u, ())
    frames = np.array([float(one.frames_s) for one in sheet.shared])
    log = np.array([float(one.log_s) for one in sheet.shared])
    drift = frames.size >= DRIFT_EVENTS
    sigma = max(u, 0.02)
    try:
        fit = clock_from_events(frames, other_s=log, sigma_s=sigma, with_drift=drift)
    except (NotEnoughDataError, RecordingError) as error:
        raise ProbeLogError(f"{where}: shared moments of cook.toml: {error}") from error
    if stated != 0.0 and abs(stated - fit.offset_s) > 5.0 * sigma:
        raise ProbeLogError(
            f"{where}: cook.toml states clock_offset {stated:+.1f} s, its shared moments say "
            f"{fit.offset_s:+.2f} s; keep one of both"
        )
    far = float(np.ptp(log)) / 2.0
    own = float(np.sqrt(fit.covariance[0, 0] + fit.covariance[1, 1] * far**2))
    text = f"clock of the log from {frames.size} shared moments: {fit.offset_s:+.2f} +- {own:.2f} s"
    text += f", drift {1e6 * fit.drift_frac:+.0f} ppm" if drift else ", drift not known"
    note = Note(text, where, "the probes' lag is not in it; give each probe's lag from a step")
    return LogClock(fit.offset_s, fit.drift_frac, fit.pivot_s, own, (note,))


SUSPECT_S = 5.0  # own estimate: beyond the lag of a usual probe
MAX_FRAMES = 3000  # own estimate: enough to place a step, and quick


def compare_clocks(
    frames: tuple[HeadFrames, ...], probes: tuple[ProbeSeries, ...], events: tuple[Event, ...]
) -> tuple[Note, ...]:
    """Refuse a probe log beside the frames' time, and note what suggests another clock.

    Parameters
    ----------
    frames : tuple of HeadFrames
        What the heads saw.
    probes : tuple of ProbeSeries
        References, the sheet's clock offset applied.
    events : tuple of Event
        What was done.

    Returns
    -------
    tuple of Note
        Overlap under half, events outside the frames, an offset by the shape
        of the hottest pixels and the liveliest probe over 5 s and four
        standard uncertainties, or that the clocks could not be compared.

    Raises
    ------
    ProbeLogError
        If frames and log do not overlap at all, or every probe of several
        starts as Fahrenheit does where the frames show a cold hob.

    Notes
    -----
    Nothing is shifted: the offset seen holds the probes' lag besides the
    clocks', and only the person at the bench knows which.
    """
    start, end = min(one.time_s[0] for one in frames), max(one.time_s[-1] for one in frames)
    notes = _event_notes(events, start, end)
    if not probes:
        return notes
    begin, stop = probes[0].time_s[0], probes[0].time_s[-1]
    overlap = min(end, stop) - max(start, begin)
    if overlap <= 0.0:
        raise ProbeLogError(
            f"probes run from {begin:.1f} to {stop:.1f} s and frames from {start:.1f} to "
            f"{end:.1f} s: another clock. State clock_offset in cook.toml (added to the log's "
            "time)."
        )
    if overlap < 0.5 * (end - start):
        notes += (
            Note(
                f"probes cover {overlap:.0f} of {end - start:.0f} s of frames",
                f"{begin:.0f} to {stop:.0f} s",
                "check clock_offset in cook.toml, or that the log is whole",
            ),
        )
    _refuse_fahrenheit(frames[0], probes)
    return notes + _offset_notes(frames[0], probes)


def _event_notes(events: tuple[Event, ...], start: float, end: float) -> tuple[Note, ...]:
    outside = [event for event in events if not start <= event.time_s <= end]
    if not outside:
        return ()
    first = outside[0]
    return (
        Note(
            f"{len(outside)} events outside the frames' time, first {first.event!r} at "
            f"{first.time_s:.1f} s",
            f"events.csv; frames {start:.1f} to {end:.1f} s",
            "events are on the frames' clock; correct them if another clock was read",
        ),
    )


def _hottest(frames: HeadFrames) -> tuple[FloatArray, FloatArray]:
    stride = max(1, len(frames.time_s) // MAX_FRAMES)
    picture = frames.apparent_k[::stride].reshape(len(frames.time_s[::stride]), -1)
    finite = np.where(np.isfinite(picture), picture, np.float32(-1.0))
    count = max(1, finite.shape[1] // 100)
    hottest = np.partition(finite, finite.shape[1] - count, axis=1)[:, -count:]
    whole = np.all(hottest >= 0.0, axis=1)
    level = np.where(whole, np.mean(hottest, axis=1, dtype=np.float64), np.nan)
    return np.asarray(frames.time_s[::stride], dtype=np.float64), level


def _liveliest(probes: tuple[ProbeSeries, ...]) -> ProbeSeries | None:
    live = [one for one in probes if one.probe.touches not in ("room", "food")]
    spans = [float(np.nanmax(p.temperature_k) - np.nanmin(p.temperature_k)) for p in live]
    if not spans or max(spans) < 15.0:
        return None
    return live[int(np.argmax(spans))]


def _offset_notes(frames: HeadFrames, probes: tuple[ProbeSeries, ...]) -> tuple[Note, ...]:
    probe = _liveliest(probes)
    if probe is None:
        return ()
    time, level = _hottest(frames)
    span = float(time[-1] - time[0])
    step = float(np.clip(np.median(np.diff(probe.time_s)), 0.5, 10.0))
    try:
        fit = clock_offset_by_correlation(
            level,
            reference_time_s=time,
            other=probe.temperature_k,
            other_time_s=probe.time_s,
            max_offset_s=min(180.0, 0.25 * span),
            step_s=step,
        )
    except NotEnoughDataError as error:
        advice = "mark a shared event (a lid clap) to be sure of clock_offset"
        return (Note(f"clocks not compared: {error}", f"probe {probe.probe.column!r}", advice),)
    if abs(fit.offset_s) <= max(SUSPECT_S, 4.0 * fit.sigma_s, step):
        return ()
    return (
        Note(
            f"the probe log seems {abs(fit.offset_s):.1f} s "
            f"{'early' if fit.offset_s > 0 else 'late'} against the frames (lag included, +- "
            f"{2.0 * fit.sigma_s:.1f} s)",
            f"probe {probe.probe.column!r} against the hottest pixels",
            f"if the clocks differ, add {fit.offset_s:+.1f} s to clock_offset in cook.toml",
        ),
    )


def _refuse_fahrenheit(frames: HeadFrames, probes: tuple[ProbeSeries, ...]) -> None:
    """Refuse several probes that all start near one reading that fits the kitchen as F."""
    starts = np.array([_first(probe) for probe in probes]) - ZERO_C_K
    if starts.size < 2 or not np.all(np.isfinite(starts)):
        return
    _, level = _hottest(frames)
    known = level[np.isfinite(level)]
    if known.size == 0:
        return
    hottest_c = float(np.median(known[:3])) - ZERO_C_K
    housing_c = float(frames.sensor_k[0]) - ZERO_C_K
    as_f = (starts - 32.0) / 1.8
    alike = np.ptp(starts) < 10.0 and np.min(starts) > 55.0
    if alike and hottest_c < np.min(starts) - 20.0 and np.all(np.abs(as_f - housing_c) < 20.0):
        raise ProbeLogError(
            f"all probes start at {np.min(starts):.1f} to {np.max(starts):.1f} while the hottest "
            f"of the view is {hottest_c:.1f} C: Fahrenheit, not C ({np.mean(as_f):.1f} C would "
            "fit). Convert the log."
        )


def _first(probe: ProbeSeries) -> float:
    finite = probe.temperature_k[np.isfinite(probe.temperature_k)]
    return float(finite[0]) if finite.size else float("nan")
