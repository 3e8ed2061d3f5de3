"""What the firmware would say of a recording, as an Estimate."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.fixedpoint import (
    NO_READING,
    OVER_RANGE,
    STEPS_PER_K,
    UNDER_RANGE,
    temperature_q6,
)
from trivet.models.firmware_words import milliseconds, moment_words
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import BurnerEstimate, Estimate
from trivet.records.recording import ProductInput


def device_estimate(inputs: ProductInput, *, design: Design, calibration: Calibration) -> Estimate:
    """Return the firmware's words of a recording as an Estimate.

    Parameters
    ----------
    inputs, design, calibration : ProductInput, Design, Calibration
        As for :func:`device_readings`.

    Returns
    -------
    Estimate
        On the times of the first head; another head's words count from their frame on.

    Raises
    ------
    RecordingError
        From :func:`device_readings`.

    Notes
    -----
    Nothing is computed here: words become kelvin.
    """
    said = moment_words(inputs, design=design, calibration=calibration)
    return Estimate(
        time_s=inputs.heads[0].time_s,
        burners=tuple(burner_estimate(name, head, words) for name, (head, words) in said.items()),
    )


def as_words(inputs: ProductInput) -> ProductInput:
    """Return the input as the firmware gets it: frames and housing in whole words, times in ms."""
    return replace(
        inputs,
        heads=tuple(
            replace(
                head,
                time_s=milliseconds(head.time_s) / 1000.0,
                apparent_k=as_kelvin(temperature_q6(head.apparent_k)).astype(np.float32),
                sensor_k=as_kelvin(temperature_q6(head.sensor_k)),
            )
            for head in inputs.heads
        ),
    )


def as_kelvin(words: IntArray) -> FloatArray:
    """Return temperature words as kelvin, sentinels as NaN and infinities."""
    value = np.where(words == NO_READING, np.nan, words / STEPS_PER_K)
    value = np.where(words == OVER_RANGE, np.inf, value)
    return np.asarray(np.where(words == UNDER_RANGE, -np.inf, value))


def burner_estimate(burner: str, head: str, words: IntArray | FloatArray) -> BurnerEstimate:
    """Return one burner's words (time, 10) as an estimate."""
    of = words[:, rules.OF]
    spread = words[:, rules.SPREAD]
    hottest = _kelvin(words[:, rules.HOTTEST])
    return BurnerEstimate(
        burner=burner,
        head=head,
        present=words[:, rules.PRESENT].astype(np.int8),
        of=np.where(of == rules.NOTHING, -1, of).astype(np.int8),
        reported_k=_kelvin(words[:, rules.REPORTED]),
        u95_k=_kelvin(words[:, rules.HALF], where=words[:, rules.REPORTED] != NO_READING),
        hottest_k=np.where(words[:, rules.HOTTEST] == OVER_RANGE, np.inf, hottest),
        nonuniformity_k=np.where(spread > 0, (spread - 1) / STEPS_PER_K, np.nan),
        apparent_k=_kelvin(words[:, rules.APPARENT]),
        flags=words[:, rules.FLAGS].astype(np.uint32),
        heat_on=words[:, rules.HEAT_ON].astype(np.bool_),
        pixels=words[:, rules.OPEN].astype(np.int8),
    )


def _kelvin(words: IntArray | FloatArray, *, where: BoolArray | None = None) -> FloatArray:
    given = words != NO_READING if where is None else where
    return np.where(given, words / STEPS_PER_K, np.nan)
