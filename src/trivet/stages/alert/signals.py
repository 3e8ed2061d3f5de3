"""An estimate and what the device knows of itself as the machine's words: whole numbers."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from trivet.device.alertsettings import (
    AT_RANGE,
    COOL,
    HANDLED,
    HEAT_ON,
    LINK_LOST,
    NO_PAN,
    NO_READING,
    PERSON,
    SIGNALS,
    Ints,
)
from trivet.errors import InputError
from trivet.quality import Quality
from trivet.records.alertlog import Watch
from trivet.records.design import TargetBand
from trivet.records.estimate import ABSENT, BurnerEstimate
from trivet.records.requirement import OF_WORDS

TICK_S = 1.0
"""While frames stay away the device still looks at its clock this often."""

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

_HIDING = (
    Quality.STALE
    | Quality.SATURATED
    | Quality.WINDOW
    | Quality.HAND
    | Quality.LID
    | Quality.STEAM
    | Quality.COVERED
)
_VEILED = Quality.STALE | Quality.LID | Quality.COVERED | Quality.WINDOW


def ticks(time_s: Floats, stale_after_s: float) -> tuple[Floats, Ints]:
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


def milliseconds(time_s: Floats) -> Ints:
    """Return moments in whole milliseconds."""
    return np.floor(time_s * 1000.0 + 0.5).astype(np.int64)


def burner_signals(burner: BurnerEstimate, *, band: TargetBand | None, blind: Mask) -> Ints:
    """Return a burner's signals at its frames, (signal, time). [0.1 K]

    The reported temperature counts where it is of what the told band is of.
    """
    reported = burner.reported_k
    if band is not None:
        reported = np.where(burner.of == OF_WORDS.index(band.of), reported, np.nan)
    apparent = np.where(burner.flags & np.uint32(int(_VEILED)) != 0, np.nan, burner.apparent_k)
    rows = (burner.hottest_k, reported, burner.nonuniformity_k, apparent, burner.u95_k)
    return np.where(blind, NO_READING, np.stack([_deci_kelvin(row) for row in rows]))


def _deci_kelvin(value_k: Floats) -> Ints:
    out = np.full(value_k.shape, NO_READING, dtype=np.int64)
    given = np.isfinite(value_k)
    out[given] = np.floor(value_k[given] * 10.0 + 0.5).astype(np.int64)
    out[np.isposinf(value_k)] = AT_RANGE
    return np.minimum(out, AT_RANGE)


def burner_words(burner: BurnerEstimate, *, person: Mask, handled: Mask, blind: Mask) -> Ints:
    """Return a burner's state words at its frames."""
    flags = burner.flags.astype(np.int64)
    cool = (flags & int(Quality.ABSENT | Quality.COLD) != 0) & (flags & int(_HIDING) == 0)
    cool &= ~burner.heat_on & ~blind
    gone = (burner.present == ABSENT) & ~blind
    bits = (
        (HEAT_ON, burner.heat_on & ~blind),
        (COOL, cool),
        (NO_PAN, gone),
        (PERSON, person),
        (HANDLED, handled),
    )
    word = np.zeros(flags.shape, dtype=np.int64)
    for bit, there in bits:
        word |= bit * there.astype(np.int64)
    return word


def device_signals(watch: Watch, *, window_loss_frac: float) -> tuple[Ints, Ints]:
    """Return the device's own signals, (signal, time), and state words."""
    rows = np.full((SIGNALS, watch.time_s.size), NO_READING, dtype=np.int64)
    rows[0] = _deci_kelvin(watch.housing_k)
    rows[1] = np.round(1000.0 * watch.battery_frac)
    rows[2] = round(1000.0 * window_loss_frac)
    return rows, (LINK_LOST * ~watch.link).astype(np.int64)


def since_last(mark: Mask, time_ms: Ints, before_ms: int) -> tuple[Ints, int]:
    """Return the age of the last marked moment, (time,), and when it was. [ms]

    ``before_ms`` is when one was marked before these moments. A clock that jumped back makes
    an age negative: how long ago it was is not known then.
    """
    index = np.maximum.accumulate(np.where(mark, np.arange(mark.size), -1))
    last = np.where(index >= 0, time_ms[np.maximum(index, 0)], before_ms)
    return time_ms - last, int(last[-1]) if last.size else before_ms


def at_ticks(values: Ints, source: Ints, *, stale: int | None, drop: int = 0) -> Ints:
    """Return values at the machine's moments; at stale ones a fixed value or those kept."""
    frame = np.where(source >= 0, source, -1 - source)
    taken = values[..., frame]
    return np.where(source < 0, (taken & ~drop) if stale is None else stale, taken)
