"""Whether frames, probe log and events of a cook run on one clock, as far as they show it."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import NotEnoughDataError, ProbeLogError
from trivet.physics.sensor.alignment import clock_offset_by_correlation
from trivet.records.recording import Event, HeadFrames, Note, ProbeSeries

SUSPECT_S = 5.0
MAX_FRAMES = 3000


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
    starts = np.array([_first(probe) for probe in probes]) - 273.15
    if starts.size < 2 or not np.all(np.isfinite(starts)):
        return
    _, level = _hottest(frames)
    known = level[np.isfinite(level)]
    if known.size == 0:
        return
    hottest_c = float(np.median(known[:3])) - 273.15
    housing_c = float(frames.sensor_k[0]) - 273.15
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
