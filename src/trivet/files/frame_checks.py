"""Checks of frames that were read: time axis, gaps, half frames, missing values, clipping."""

from __future__ import annotations

import numpy as np

from trivet.arrays import Float32Array, FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.files.framesource import FrameSource
from trivet.physics.sensor.halfframes import compose_full_frames, half_frame_pattern
from trivet.records.recording import Note
from trivet.records.sensorcard import SensorCard

MAX_MISSING_FRAC = 0.5  # own estimate: with fewer pixels a pan cannot be told


def check_time(source: FrameSource, card: SensorCard) -> tuple[Note, ...]:
    """Refuse a time axis that is not one; note gaps and an odd rate.

    Parameters
    ----------
    source : FrameSource
        Frames with their moments.
    card : SensorCard
        Gives the rate to expect.

    Returns
    -------
    tuple of Note
        Gaps over three frame times, and a rate over twice off the card's.

    Raises
    ------
    RecordingError
        If a moment is missing, moments do not rise, or they are milliseconds.
    """
    time = source.time_s
    missing = np.flatnonzero(~np.isfinite(time))
    if missing.size:
        raise RecordingError(
            f"{source.where}: time_s: no number at frame {missing[0]} ({missing.size} such)"
        )
    if time.size < 2:
        raise RecordingError(f"{source.where}: {time.size} frame; a recording has two or more")
    steps = np.diff(time)
    wrong = np.flatnonzero(steps <= 0.0)
    if wrong.size:
        at = int(wrong[0]) + 1
        raise RecordingError(
            f"{source.where}: time_s does not rise at frame {at}: {time[at]:.3f} s after "
            f"{time[at - 1]:.3f} s ({wrong.size} such). A clock was set or frames are doubled or "
            "out of order; split the recording there or restore the logger's own clock."
        )
    usual = float(np.median(steps))
    expected = 1.0 / float(card.frame_rate_hz)
    if 300.0 < usual / expected < 3000.0:
        raise RecordingError(
            f"{source.where}: frames {usual:g} apart where sensor {card.name!r} gives one every "
            f"{expected:g} s: time_s looks like milliseconds. Divide by 1000."
        )
    return (*_gap_notes(source.where, time, steps, usual), *_rate_notes(source, usual, expected))


def _gap_notes(where: str, time: FloatArray, steps: FloatArray, usual: float) -> tuple[Note, ...]:
    gaps = np.flatnonzero(steps > 3.0 * usual)
    if not gaps.size:
        return ()
    longest = int(gaps[np.argmax(steps[gaps])])
    return (
        Note(
            f"{gaps.size} gaps in the frames, the longest {steps[longest]:.1f} s",
            f"{where}, {time[longest]:.1f} to {time[longest + 1]:.1f} s",
            "nothing was filled in; readings there are stale",
        ),
    )


def _rate_notes(source: FrameSource, usual: float, expected: float) -> tuple[Note, ...]:
    if 0.5 <= usual / expected <= 2.0:
        return ()
    return (
        Note(
            f"a frame every {usual:.3g} s where the sensor card says {expected:.3g} s",
            source.where,
            "noise and delays of the design do not apply; correct the card or the clock",
        ),
    )


def whole_frames(source: FrameSource, card: SensorCard) -> tuple[Float32Array, tuple[Note, ...]]:
    """Return frames with half frames composed, fillers blanked, and notes of both.

    Parameters
    ----------
    source : FrameSource
        Frames as read, time axis checked.
    card : SensorCard
        Says whether half frames are to be expected.

    Returns
    -------
    (time, row, col), notes
        Frames in C; NaN where there is no value.

    Raises
    ------
    RecordingError
        If over half of the pixels have no value and no read pattern explains it.
    """
    frames = source.apparent_c
    blank, found = _blanked(frames, source.where)
    notes = list(found)
    pattern = half_frame_pattern(~np.isnan(blank))
    if pattern is not None:
        full = compose_full_frames(blank, time_s=source.time_s)
        lost = int(np.count_nonzero(full.repeated))
        more = f"; {lost} times the same half twice in a row" if lost else ""
        notes.append(
            Note(
                f"half frames ({pattern} pattern) composed into whole ones{more}",
                source.where,
                f"half of the pixels are up to {np.nanmax(full.age_s):.2f} s old; "
                "save whole frames or state half_frames in the sensor card",
            )
        )
        return full.temperature_k.astype(np.float32), tuple(notes)
    notes += _repeated(blank, source)
    notes += _alternating(blank, source, card)
    notes += _missing(blank, source.where)
    return blank, tuple(notes)


def _blanked(frames: Float32Array, where: str) -> tuple[Float32Array, tuple[Note, ...]]:
    """Turn exact zeros into NaN where they cannot be readings."""
    zero = frames == 0.0
    share = float(np.mean(zero))
    if share == 0.0:
        return frames, ()
    others = frames[~zero & np.isfinite(frames)]
    if others.size and float(np.percentile(others, 1)) < 3.0:
        return frames, ()  # a view near freezing: zeros may be readings
    note = Note(
        f"{share:.1%} of the values are exactly 0 and far from the rest: fillers, taken as missing",
        where,
        "write NaN where a pixel has no value",
    )
    return np.where(zero, np.float32(np.nan), frames), (note,)


def _repeated(frames: Float32Array, source: FrameSource) -> list[Note]:
    """Note frames that are the one before again, pixel for pixel."""
    alike = (frames[1:] == frames[:-1]) | np.isnan(frames[1:])
    again = np.all(alike, axis=(1, 2)) & np.any(~np.isnan(frames[1:]), axis=(1, 2))
    if not np.any(again):
        return []
    first = int(np.flatnonzero(again)[0]) + 1
    return [
        Note(
            f"{np.count_nonzero(again)} frames repeat the one before pixel for pixel",
            f"{source.where}, first frame {first} at {source.time_s[first]:.2f} s",
            "a live sensor shows noise: the sensor or its reader had stalled there",
        )
    ]


def _alternating(frames: Float32Array, source: FrameSource, card: SensorCard) -> list[Note]:
    """Note frames of which only one half changes from each to the next."""
    if len(frames) < 4:
        return []
    changed = frames[1:] != frames[:-1]
    pattern = half_frame_pattern(changed)
    if pattern is None:
        return []
    step = float(np.median(np.diff(source.time_s)))
    expected = "as the sensor card says" if card.half_frames else "the sensor card does not say so"
    return [
        Note(
            f"each frame renews half of the pixels ({pattern} pattern); {expected}",
            source.where,
            f"the other half is {step:.2f} s older: at 3 K/s a checkerboard of {3 * step:.1f} K",
        )
    ]


def _missing(frames: Float32Array, where: str) -> list[Note]:
    lost = np.isnan(frames)
    share = float(np.mean(lost))
    if share == 0.0:
        return []
    if share > MAX_MISSING_FRAC:
        raise RecordingError(
            f"{where}: {share:.0%} of all values are NaN; allowed: up to {MAX_MISSING_FRAC:.0%}. "
            "Check the export; such frames carry no picture."
        )
    dead = np.all(lost, axis=0)
    empty = np.flatnonzero(np.all(lost, axis=(1, 2)))
    parts = [f"{share:.2%} of the values are NaN"]
    if np.any(dead):
        row, col = np.argwhere(dead)[0]
        parts.append(f"{np.count_nonzero(dead)} pixels never have one, first row {row} col {col}")
    if empty.size:
        parts.append(f"{empty.size} frames have none, first frame {empty[0]}")
    return [Note("; ".join(parts), where, "they are left out, never read as cold")]


def in_range(
    frames: Float32Array, *, card: SensorCard, where: str
) -> tuple[Float32Array, tuple[Note, ...]]:
    """Return frames with what lies beyond the sensor's range marked as such.

    Parameters
    ----------
    frames : (time, row, col)
        Apparent temperature. [C]
    card : SensorCard
        Gives the range, where known.
    where : str
        File, for the notes.

    Returns
    -------
    (time, row, col), notes
        ``+inf`` at or above the range or on a plateau of clipped values,
        ``-inf`` below it. [C]

    Notes
    -----
    A plateau is an exact maximum that at least 20 values share, more than
    three times as many as lie in the 2 K under it, in pixels that show noise
    whenever they are off it. A gain limit far under the stated range (a module
    left in high gain) shows this way.
    """
    out = frames
    notes: list[Note] = []
    plateau = _plateau(frames)
    if plateau is not None:
        out = np.where(out >= plateau, np.float32(np.inf), out)
        notes.append(
            Note(
                f"values clip at {plateau:.2f} C: at least this hot, how hot is unknown",
                where,
                "set the sensor's gain for the range, and record again",
            )
        )
    bounds = (card.range_high_k, card.range_low_k)
    for bound, sign, word in zip(bounds, (1.0, -1.0), ("at or above", "below"), strict=True):
        if bound is None:
            continue
        limit = float(bound) - ZERO_C_K
        beyond = (out >= limit) if sign > 0 else (out < limit)
        if np.any(beyond):
            count = int(np.count_nonzero(np.any(beyond, axis=(1, 2))))
            out = np.where(beyond, np.float32(sign * np.inf), out)
            notes.append(
                Note(
                    f"{count} frames have pixels {word} the sensor's limit of {limit:.0f} C",
                    where,
                    "they are marked saturated, not measured",
                )
            )
    return out, tuple(notes)


def _plateau(frames: Float32Array) -> float | None:
    finite = frames[np.isfinite(frames)]
    if finite.size < 100:
        return None
    top = float(np.max(finite))
    at_top = int(np.count_nonzero(finite == top))
    under = int(np.count_nonzero((finite < top) & (finite > top - 2.0)))
    if at_top < 20 or at_top <= 3 * under:
        return None
    moving = frames[:, np.all(frames != top, axis=0)]
    with np.errstate(invalid="ignore"):
        jitter = np.abs(np.diff(moving, axis=0)) if moving.size else np.zeros((1, 1))
    noisy = float(np.mean(jitter[np.isfinite(jitter)] > 0.0)) if jitter.size else 0.0
    return top if noisy > 0.5 else None


def held_sensor(source: FrameSource) -> tuple[FloatArray, tuple[Note, ...]]:
    """Return the sensor temperature with its missing values held from before.

    Parameters
    ----------
    source : FrameSource
        Frames with their sensor temperature.

    Returns
    -------
    (time,), notes
        Sensor temperature [C]; the last known value stands where one is missing.
    """
    sensor = source.sensor_c
    good = np.isfinite(sensor)
    if np.all(good):
        return sensor, ()
    newest = np.maximum.accumulate(np.where(good, np.arange(sensor.size), -1))
    newest[newest < 0] = int(np.flatnonzero(good)[0])
    note = Note(
        f"sensor_c is missing at {np.count_nonzero(~good)} frames; the value before stands",
        source.where,
        "log it with every frame",
    )
    return sensor[newest], (note,)
