"""The alert machine's words: settings, signals, what can be told. Integers.

One source for the alert stage and, line by line, for the C chain from frames to alerts
(``device/c/trivet_device.c``). Temperatures are words of 1/64 K on the way in and 0.1 K on
the way out; arrays are (time,) or end in time.
"""

from __future__ import annotations

from dataclasses import astuple, dataclass, fields
from typing import Literal, get_args

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.fixedpoint import NO_READING as NO_WORD
from trivet.device.fixedpoint import OVER_RANGE, UNDER_RANGE
from trivet.device.thresholds import SHORTEST_SLOPE_MS
from trivet.errors import InputError, OutOfRangeError
from trivet.facts.thresholds import threshold
from trivet.quality import Quality
from trivet.records.estimate import ABSENT

NO_VALUE = -1  # definition of the machine's words
AT_RANGE = 32767  # definition: the largest of 16 bits

Rule = Literal[
    "level", "time_to_limit", "loss_of_sight", "below", "in_band", "boil_dry", "condition"
]
LEVEL, TIME_TO_LIMIT, LOSS_OF_SIGHT, BELOW, IN_BAND, BOIL_DRY, CONDITION = range(7)
KINDS: dict[str, int] = {name: at for at, name in enumerate(get_args(Rule))}

HEAT_ON, COOL, NO_PAN, PERSON, LINK_LOST, HANDLED = 1, 2, 4, 8, 16, 32
"""Bits of a moment's state word: the burner heats; it is known to be cool; no pan stands on
it; somebody is there; the link is lost; a hand was over the hob just now."""

# Signals of a burner's moment; all in 0.1 K.
HOTTEST, REPORTED, SPREAD, APPARENT, U95 = range(5)
SIGNALS = 5  # hottest to half-width, above
# Signals of the device itself, in the first places: 0.1 K, 1/1000, 1/1000.
HOUSING, CHARGE, WINDOW_LOSS = range(3)

# Columns of the settings of one alert.
KIND, SET_DK, LEAD_MS, DEADBAND_DK, ON_MS, OFF_MS, GATE_DK, WINDOW_MS = range(8)
TOP_DK, SIGNAL, ESCALATE_MS, NEEDS, FORBIDS = range(8, 13)
COLUMNS = 13  # columns above

LONGEST_WINDOW_MS = 120_000  # own estimate: keeps the sums of products under 2**63
LONGEST_LEAD_MS = 600_000  # own estimate: likewise
LONGEST_DELAY_MS = 86_400_000  # own estimate: a day


@dataclass(frozen=True)
class AlertSettings:
    """One alert in the device's units.

    ``set_dk`` is the set point of a level alert, the limit of a predicted one, the lower
    end of a band, or the highest plateau that counts as boiling; ``gate_dk`` the reading
    above which it acts, or the lowest plateau; ``top_dk`` the upper end of a band, the level
    that arms an alert for too low a reading, or the change that tells of a dry pot;
    ``signal`` which signal it looks at; ``needs`` and ``forbids`` bits of the state word.
    """

    kind: Rule
    set_dk: int = 0
    lead_ms: int = 0
    deadband_dk: int = 0
    on_ms: int = 0
    off_ms: int = 0
    gate_dk: int = 0
    window_ms: int = 10_000
    top_dk: int = 0
    signal: int = HOTTEST
    escalate_ms: int = 0
    needs: int = 0
    forbids: int = 0


COLUMN_NAMES = tuple(one.name for one in fields(AlertSettings))


def settings_array(settings: tuple[AlertSettings, ...]) -> IntArray:
    """Return the settings as the integers that the machine reads.

    Parameters
    ----------
    settings : tuple of AlertSettings
        One a alert.

    Returns
    -------
    (alert, 13)
        Columns in the order of :class:`AlertSettings`. [-, 0.1 K, ms]

    Raises
    ------
    OutOfRangeError
        If a value could overflow the machine's 64-bit products, a window is
        under 5 s, or a delay is negative.

    Notes
    -----
    Window to 120 s, lead to 600 s and readings to 3,276 K keep the largest
    sum of products at 5.8e18, under 2**63 = 9.2e18.
    """
    rows = []
    for one in settings:
        _check(one)
        rows.append((KINDS[one.kind], *astuple(one)[1:]))
    return np.array(rows, dtype=np.int64).reshape(len(rows), COLUMNS)


def _check(one: AlertSettings) -> None:
    if one.kind not in KINDS:
        raise InputError(f"alert kind {one.kind!r}: allowed {', '.join(KINDS)}")
    if not SHORTEST_SLOPE_MS <= one.window_ms <= LONGEST_WINDOW_MS:
        raise OutOfRangeError(f"slope window {one.window_ms} ms: allowed 5,000 to 120,000 ms")
    if not 0 <= one.lead_ms <= LONGEST_LEAD_MS:
        raise OutOfRangeError(f"lead {one.lead_ms} ms: allowed 0 to 600,000 ms")
    if min(one.on_ms, one.off_ms, one.escalate_ms, one.deadband_dk) < 0:
        raise OutOfRangeError("delays and dead band: allowed 0 or more")
    if max(one.on_ms, one.off_ms, one.escalate_ms) > LONGEST_DELAY_MS:
        raise OutOfRangeError("delays: allowed up to a day")
    if not all(0 <= value < AT_RANGE for value in (one.set_dk, one.gate_dk, one.top_dk)):
        raise OutOfRangeError(f"set point {one.set_dk} dK, gate {one.gate_dk} dK: under 3,276 K")
    if not 0 <= one.signal < SIGNALS:
        raise OutOfRangeError(f"signal {one.signal}: allowed 0 to {SIGNALS - 1}")


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
    return np.where(words == NO_WORD, NO_VALUE, np.where(words == OVER_RANGE, AT_RANGE, value))


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
    """
    none = said[:, rules.REPORTED] == NO_WORD
    spread = (np.maximum(said[:, rules.SPREAD] - 1, 0) * 10 + 32) >> 6
    half = (said[:, rules.HALF] * 10 + 32) >> 6
    return np.stack(
        [
            deci_kelvin(said[:, rules.HOTTEST]),
            deci_kelvin(said[:, rules.REPORTED]),
            np.where(said[:, rules.SPREAD] == 0, NO_VALUE, spread),
            deci_kelvin(said[:, rules.APPARENT]),
            np.where(none, NO_VALUE, half),
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
        reported = np.where(of == band_of, reported, NO_VALUE)
    apparent = np.where(flags & VEILED != 0, NO_VALUE, apparent)
    return np.where(blind, NO_VALUE, np.stack([hottest, reported, spread, apparent, half]))


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


NO_RULE = 255
"""The alert does not act; no row of oil points; of no told band."""


@dataclass(frozen=True)
class ToldWords:
    """Names of what can be told; place 0 of each is nothing told."""

    pans: tuple[str, ...]
    contents: tuple[str, ...]
    bands: tuple[str, ...]
    oils: tuple[str, ...]


@dataclass(frozen=True)
class ToldRules:
    """The settings of every alert by what is told of a burner, as the firmware holds them."""

    words: ToldWords
    rules: IntArray
    """(rule, 13) each setting once."""
    rule_of: IntArray
    """(contents, band, alert) which rule, or NO_RULE."""
    device_rule: IntArray
    """(alert,) the same for the device itself."""
    place_of: IntArray
    """(pan, contents) which surface of the reading."""
    band_of: IntArray
    """(band,) of what the band is."""
    oil_row: IntArray
    """(alert,) which row of oil points, or NO_RULE."""
    oil_dk: IntArray
    """(row, oil, uses) limit for a told oil. [0.1 K]"""
