"""What is said of a burner, and the frames themselves, as the alert machine's words: integers.

One source for the alert stage and, line by line, for the C chain from frames to alerts
(``device/c/trivet_device.c``). Temperatures are words of 1/64 K on the way in and 0.1 K on
the way out; arrays are (time,) or end in time.
"""

from __future__ import annotations

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.alertsettings import AT_RANGE, COOL, HANDLED, HEAT_ON, NO_PAN, NO_READING, PERSON
from trivet.device.fixedpoint import NO_READING as NO_WORD
from trivet.device.fixedpoint import OVER_RANGE, UNDER_RANGE
from trivet.device.readingburner import ABSENT
from trivet.errors import InputError
from trivet.facts.thresholds import threshold
from trivet.quality import Quality

TICK_S = threshold("alert_tick_s")
"""While frames stay away the device still looks at its clock this often."""

VEILED = int(Quality.STALE | Quality.LID | Quality.COVERED | Quality.WINDOW)
"""Flags with which the apparent temperature is not that of the pan's contents."""
HIDING = VEILED | int(Quality.HAND | Quality.SATURATED | Quality.STEAM)
"""Flags with which a burner without contrast may still be hot."""
COOL_FLAGS = int(Quality.ABSENT | Quality.COLD)
TOP_Q6 = 3276 * 64
"""What stands for a pixel at or above the range, where a frame's span is taken."""


def deci_kelvin(words: IntArray) -> IntArray:
    """Return temperature words as deci-kelvin, half up; sentinels as the machine's."""
    value = np.minimum((words * 10 + 32) >> 6, AT_RANGE)
    return np.where(words == NO_WORD, NO_READING, np.where(words == OVER_RANGE, AT_RANGE, value))


def said_signals(said: IntArray) -> IntArray:
    """Return what is said of a burner, (time, 10), as the five signals, (signal, time).

    Parameters
    ----------
    said : (time, 10)
        Words of the reading.

    Returns
    -------
    (5, time)
        Hottest, reported, spread, apparent, 95 % half-width. [0.1 K]

    Notes
    -----
    Rounded half up to 0.1 K, so up to 0.05 K beside the words.

    References
    ----------
    ``trivet.device.readingrules`` for the columns.
    """
    none = said[:, rules.REPORTED] == NO_WORD
    spread = (np.maximum(said[:, rules.SPREAD] - 1, 0) * 10 + 32) >> 6
    half = (said[:, rules.HALF] * 10 + 32) >> 6
    return np.stack(
        [
            deci_kelvin(said[:, rules.HOTTEST]),
            deci_kelvin(said[:, rules.REPORTED]),
            np.where(said[:, rules.SPREAD] == 0, NO_READING, spread),
            deci_kelvin(said[:, rules.APPARENT]),
            np.where(none, NO_READING, half),
        ]
    )


def heard_signals(
    signals: IntArray, *, flags: IntArray, of: IntArray, band_of: int | None, blind: BoolArray
) -> IntArray:
    """Return a burner's signals as far as they count.

    Parameters
    ----------
    signals : (5, time)
        Of :func:`said_signals`. [0.1 K]
    flags, of : (time,)
        Of the reading.
    band_of : int or None
        Of what the told band is; None without one.
    blind : (time,)
        Where the frame shows nothing.

    Returns
    -------
    (5, time)
        [0.1 K]

    Notes
    -----
    The reported temperature counts where it is of what the told band is of; the apparent one
    where nothing veils the pan.
    """
    hottest, reported, spread, apparent, half = signals
    if band_of is not None:
        reported = np.where(of == band_of, reported, NO_READING)
    apparent = np.where(flags & VEILED != 0, NO_READING, apparent)
    return np.where(blind, NO_READING, np.stack([hottest, reported, spread, apparent, half]))


def state_words(
    flags: IntArray, *, present: IntArray, heat_on: BoolArray, marks: IntArray, blind: BoolArray
) -> IntArray:
    """Return a burner's state words.

    Parameters
    ----------
    flags, present : (time,)
        Of the reading.
    heat_on, blind : (time,)
        Whether it heats; whether the frame shows nothing.
    marks : (time,)
        The bits PERSON and HANDLED as they are.

    Returns
    -------
    (time,)
        Bits of the state word.

    Notes
    -----
    Only a burner without contrast that nothing hides and that does not heat is cool.
    """
    cool = (flags & COOL_FLAGS != 0) & (flags & HIDING == 0) & ~heat_on
    word = HEAT_ON * heat_on + COOL * cool + NO_PAN * (present == ABSENT)
    return np.asarray(np.where(blind, 0, word) | (marks & (PERSON | HANDLED)), dtype=np.int64)


def repeated_frames(frames: IntArray) -> BoolArray:
    """Return which frames (time, pixel) are word for word the one before."""
    same = np.zeros(frames.shape[0], dtype=np.bool_)
    same[1:] = (frames[1:] == frames[:-1]).all(axis=1)
    return same


def even_frames(frames: IntArray, *, least_dk: int) -> BoolArray:
    """Return which frames (time, pixel) span less than a kitchen with a hot hob can.

    Pixels without a reading do not count; a frame of none but such is not even.
    """
    known = frames != NO_WORD
    words = np.where(frames == OVER_RANGE, TOP_Q6, np.where(frames == UNDER_RANGE, 0, frames))
    low = np.where(known, words, TOP_Q6).min(axis=1)
    high = np.where(known, words, 0).max(axis=1)
    span_dk = ((high - low) * 10 + 32) >> 6
    return np.asarray(known.any(axis=1) & (span_dk < least_dk))


def since_last(mark: BoolArray, time_ms: IntArray, before_ms: int) -> tuple[IntArray, int]:
    """Return the age of the last marked moment, (time,), and when it was. [ms]

    ``before_ms`` is when one was marked before these moments. A clock that jumped back makes
    an age negative: how long ago it was is not known then.
    """
    index = np.maximum.accumulate(np.where(mark, np.arange(mark.size), -1))
    last = np.where(index >= 0, time_ms[np.maximum(index, 0)], before_ms)
    return time_ms - last, int(last[-1]) if last.size else before_ms


def ticks(time_s: FloatArray, stale_after_s: float) -> tuple[FloatArray, IntArray]:
    """Return the machine's moments and the frame behind each, -1 - frame where stale.

    The clock may jump back, as clocks do: moments stay in the order in which they came.
    """
    if time_s.size and not np.all(np.isfinite(time_s)):
        raise InputError("the estimate's times are not all finite")
    if np.any(np.diff(time_s) == 0.0):
        place = int(np.argmin(np.abs(np.diff(time_s))))
        raise InputError(f"the estimate's times do not rise after moment {place}")
    times, sources, before = [], [], 0
    for gap in np.flatnonzero(np.diff(time_s) > stale_after_s).tolist():
        blind = np.arange(time_s[gap] + stale_after_s, time_s[gap + 1], TICK_S)
        times += [time_s[before : gap + 1], blind]
        sources += [np.arange(before, gap + 1), np.full(blind.size, -1 - gap)]
        before = gap + 1
    times.append(time_s[before:])
    sources.append(np.arange(before, time_s.size))
    return np.concatenate(times), np.concatenate(sources).astype(np.int64)
