"""An estimate and what the device knows of itself as the machine's words: whole numbers."""

from __future__ import annotations

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device.alertsettings import AT_RANGE, HANDLED, LINK_LOST, NO_READING, PERSON, SIGNALS
from trivet.device.alertsignals import heard_signals, state_words
from trivet.records.alertlog import Watch
from trivet.records.design import TargetBand
from trivet.records.estimate import BurnerEstimate
from trivet.records.requirement import OF_WORDS


def milliseconds(time_s: FloatArray) -> IntArray:
    """Return moments in whole milliseconds."""
    return np.floor(time_s * 1000.0 + 0.5).astype(np.int64)


def burner_signals(
    burner: BurnerEstimate, *, band: TargetBand | None, blind: BoolArray
) -> IntArray:
    """Return a burner's signals at its frames, (signal, time). [0.1 K]"""
    rows = (
        burner.hottest_k,
        burner.reported_k,
        burner.nonuniformity_k,
        burner.apparent_k,
        burner.u95_k,
    )
    return heard_signals(
        np.stack([_deci_kelvin(row) for row in rows]),
        flags=burner.flags.astype(np.int64),
        of=burner.of.astype(np.int64),
        band_of=None if band is None else OF_WORDS.index(band.of),
        blind=blind,
    )


def _deci_kelvin(value_k: FloatArray) -> IntArray:
    out = np.full(value_k.shape, NO_READING, dtype=np.int64)
    given = np.isfinite(value_k)
    out[given] = np.floor(value_k[given] * 10.0 + 0.5).astype(np.int64)
    out[np.isposinf(value_k)] = AT_RANGE
    return np.minimum(out, AT_RANGE)


def burner_words(
    burner: BurnerEstimate, *, person: BoolArray, handled: BoolArray, blind: BoolArray
) -> IntArray:
    """Return a burner's state words at its frames."""
    return state_words(
        burner.flags.astype(np.int64),
        present=burner.present.astype(np.int64),
        heat_on=burner.heat_on,
        marks=PERSON * person + HANDLED * handled,
        blind=blind,
    )


def device_signals(watch: Watch, *, window_loss_frac: float) -> tuple[IntArray, IntArray]:
    """Return the device's own signals, (signal, time), and state words."""
    rows = np.full((SIGNALS, watch.time_s.size), NO_READING, dtype=np.int64)
    rows[0] = _deci_kelvin(watch.housing_k)
    rows[1] = np.round(1000.0 * watch.battery_frac)
    rows[2] = round(1000.0 * window_loss_frac)
    return rows, (LINK_LOST * ~watch.link).astype(np.int64)


def at_ticks(values: IntArray, source: IntArray, *, stale: int | None, drop: int = 0) -> IntArray:
    """Return values at the machine's moments; at stale ones a fixed value or those kept."""
    frame = np.where(source >= 0, source, -1 - source)
    taken = values[..., frame]
    return np.where(source < 0, (taken & ~drop) if stale is None else stale, taken)
