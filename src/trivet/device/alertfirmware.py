"""The alert machine for the firmware: C files, and golden vectors that prove them equal."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from trivet.arrays import IntArray
from trivet.device import alertmachine as machine
from trivet.device import alertwords as words
from trivet.device.alertwords import AlertSettings, settings_array
from trivet.device.firmware import braced, code_text
from trivet.device.readingfirmware import THRESHOLDS
from trivet.device.thresholds import header_text

CODE = (
    "trivet_alerts.h",
    "trivet_alert_parts.h",
    "trivet_alerts.c",
    "trivet_slope.c",
    "trivet_pot.c",
)
VECTORS_NAME = "trivet_alert_vectors.h"
CHECK = "trivet_alert_check.c"
MOMENTS = 12_000  # own estimate: 50 minutes, each rule many times
# A band at 450 K, drawn so that the scripted ramps cross it; own estimate.
_BAND = {"signal": words.REPORTED, "set_dk": 4500, "deadband_dk": 30, "on_ms": 4000}
EVERY_KIND = (
    AlertSettings("level", set_dk=5431, deadband_dk=80, on_ms=1000, escalate_ms=20_000),
    AlertSettings(
        "time_to_limit",
        set_dk=5031,
        lead_ms=60_000,
        deadband_dk=50,
        on_ms=2000,
        off_ms=10_000,
        gate_dk=3831,
        escalate_ms=15_000,
    ),
    AlertSettings("loss_of_sight", on_ms=1000, off_ms=5000),
    AlertSettings("below", top_dk=4500, gate_dk=4000, needs=words.HEAT_ON, **_BAND),
    AlertSettings("in_band", top_dk=4700, **_BAND),
    AlertSettings("level", signal=words.SPREAD, set_dk=600, deadband_dk=50, on_ms=3000),
    AlertSettings(
        "boil_dry",
        signal=words.APPARENT,
        set_dk=3780,
        gate_dk=3430,
        top_dk=150,
        deadband_dk=40,
        lead_ms=30_000,
        window_ms=20_000,
        on_ms=4000,
        off_ms=5000,
    ),
    AlertSettings("condition", needs=words.HEAT_ON, forbids=words.PERSON, on_ms=20_000),
)
"""Alerts that the checker tries beside those of the design, so that every rule is held."""
STRETCH = 60
"""Moments for which a state of the scripted burner lasts."""


def scripted_moments(
    settings: IntArray, *, generator: np.random.Generator, moments: int = MOMENTS
) -> tuple[IntArray, IntArray, IntArray]:
    """Return moments that drive alerts on and off in every way.

    Parameters
    ----------
    settings : (alert, 13)
        Their set points and gates place the readings.
    generator : numpy.random.Generator
        Source of randomness.
    moments : int
        Moments. [-]

    Returns
    -------
    tuple of (moment,)
        Time [ms], signals (signal, moment) [0.1 K], word.

    Raises
    ------
    ValueError
        If moments is under 1.

    Notes
    -----
    Ramps of up to 5 K/s around the set points, plateaus at the boil and pots that boil
    dry, blind and saturated stretches, gaps, and clocks that jump back.
    """
    period = generator.choice([125, 150, 250, 250, 250, 400, 1000, 1050], size=moments)
    slow = _held(generator.random(moments // STRETCH + 1) < 0.1, moments)
    period = np.where(slow, 4500, period)
    gap = generator.random(moments)
    period = np.where(gap < 0.004, 9000, np.where(gap > 0.998, -3000, period))
    period = np.where((gap > 0.5) & (gap < 0.501), 70_000, period)
    count = moments // STRETCH + 1
    state = _held(generator.integers(0, 12, count), moments)
    kinds = settings[:, words.KIND]
    boiling = kinds == words.BOIL_DRY
    signals = np.zeros((words.SIGNALS, moments), dtype=np.int64)
    for row in range(words.SIGNALS):
        mine = settings[(settings[:, words.SIGNAL] == row) & ~boiling]
        points = mine[mine[:, words.SET_DK] > 0, words.SET_DK]
        centre = int(np.median(points)) if points.size else 4500
        signals[row] = _walk(centre, moments, generator=generator)
    if boiling.any():
        signals[words.APPARENT] = _pots(settings[boiling][0], moments, generator=generator)
    signals[words.U95] = _held(generator.integers(-1, 300, count), moments)
    for row in (words.HOTTEST, words.REPORTED, words.SPREAD, words.APPARENT):
        shift = generator.integers(0, 3)
        signals[row] = np.where(state == shift, words.NO_VALUE, signals[row])
    for row in (words.HOTTEST, words.APPARENT):
        signals[row] = np.where(state == 4, words.AT_RANGE, signals[row])
    word = np.where(state <= 2, _held(generator.integers(0, 3, count), moments), words.HEAT_ON)
    word = np.where(_held(generator.random(count) < 0.2, moments), words.COOL, word)
    other = words.NO_PAN | words.PERSON | words.LINK_LOST
    hand = np.repeat(generator.random(count) < 0.4, 3 * STRETCH)[:moments]
    word = word | (_held(generator.integers(0, 64, count), moments) & other)
    word = word | words.HANDLED * hand
    return np.cumsum(period).astype(np.int64), signals, word.astype(np.int64)


def _brisk(settings: IntArray) -> IntArray:
    """Return the same alerts with an eighth of their delays, so that each comes on and off."""
    quick = settings.copy()
    quick[:, [words.ON_MS, words.OFF_MS, words.ESCALATE_MS]] //= 8
    return quick


def _held(values: NDArray[np.generic], moments: int) -> IntArray:
    """Return each value for a stretch of moments."""
    return np.asarray(np.repeat(values, STRETCH)[:moments], dtype=np.int64)


def _walk(centre: int, moments: int, *, generator: np.random.Generator) -> IntArray:
    """Return ramps of up to 5 K/s that keep crossing a set point."""
    rate = _held(generator.integers(-25, 26, moments // STRETCH + 1), moments)
    span = min(1600, 2 * centre)
    reading = centre - 300 + np.cumsum(rate) // 4
    # Reflect at the ends.
    reading = centre - span // 2 + np.abs((reading - centre + span // 2) % (2 * span) - span)
    noisy = reading + generator.integers(-3, 4, moments)
    return np.asarray(np.maximum(noisy, 0), dtype=np.int64)


def _pots(row: IntArray, moments: int, *, generator: np.random.Generator) -> IntArray:
    """Return plateaus at the boil, each left upwards, downwards, slowly or not at all."""
    middle = (int(row[words.SET_DK]) + int(row[words.GATE_DK])) // 2
    change = int(row[words.TOP_DK]) + 60
    length = 4 * STRETCH
    pots = moments // length + 1
    place = np.arange(moments) % length
    aim = np.repeat(generator.choice([-change, 0, change, 4 * change], size=pots), length)[:moments]
    slow = np.repeat(generator.choice([12, 12, 400], size=pots), length)[:moments]
    share = np.clip((place - 170) / slow, 0.0, 1.0)
    level = middle + np.repeat(generator.integers(-250, 251, pots), length)[:moments]
    course = level + aim * share + generator.integers(-8, 9, moments)
    return np.asarray(course, dtype=np.int64)


def alert_texts(
    settings: IntArray, *, generator: np.random.Generator
) -> tuple[dict[str, str], int]:
    """Return the C files of the alert machine, and how many changes its vectors hold.

    Parameters
    ----------
    settings : (alert, 13)
        As ``alertwords.settings_array``.
    generator : numpy.random.Generator
        Source of the scripted moments.

    Returns
    -------
    tuple
        Header, source, vectors and checker; and the number of changes.

    Raises
    ------
    InputError
        From the machine.

    Notes
    -----
    12,000 moments; each alert also with an eighth of its delays, and one of every kind.
    Expected changes are those of the twin. Without alerts there are no files.
    """
    if settings.shape[0] == 0:
        return {}, 0
    settings = np.concatenate([settings, _brisk(settings), settings_array(EVERY_KIND)])
    time_ms, signals, word = scripted_moments(settings, generator=generator)
    changes = machine.burner_changes(
        time_ms,
        signals=signals,
        word=word,
        settings=settings,
        state=machine.cold_start(settings.shape[0]),
    )
    moments = zip(time_ms.tolist(), signals.T.tolist(), word.tolist(), strict=True)
    rows: dict[str, list[Sequence[object]]] = {
        "trivet_alert trivet_alerts[TRIVET_CHECKED_ALERTS]": settings.tolist(),
        "trivet_moment trivet_moments[TRIVET_MOMENTS]": [
            (t, braced(seen), f"{w}u") for t, seen, w in moments
        ],
        # Moment, alert, what, and the time left with its ends and rate; the cause stays here.
        "trivet_change trivet_changes[TRIVET_CHANGES + 1]": [
            *changes[:, [0, 1, 2, 4, 5, 6, 7]].tolist(),
            (-1,) * 7,
        ],
    }
    arrays = "".join(
        f"static const {name} = {{\n"
        + ",\n".join("    " + braced(row) for row in values)
        + "\n};\n"
        for name, values in rows.items()
    )
    vectors = (
        f"#define TRIVET_CHECKED_ALERTS {settings.shape[0]}\n"
        f"#define TRIVET_MOMENTS {time_ms.size}\n#define TRIVET_CHANGES {len(changes)}\n\n"
        "typedef struct {\n    int32_t moment, alert, what;\n"
        "    int64_t left, low, high, rate;\n} trivet_change;\n\n" + arrays
    )
    texts = {name: code_text(name) for name in (*CODE, CHECK)}
    texts[THRESHOLDS] = header_text()
    texts[VECTORS_NAME] = vectors
    return texts, len(changes)
