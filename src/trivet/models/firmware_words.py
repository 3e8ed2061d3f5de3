"""What the firmware gets of a recording and what it says, as words."""

from __future__ import annotations

import numpy as np

from trivet.arrays import FloatArray, IntArray
from trivet.device import readingrules as rules
from trivet.device.fixedpoint import (
    OVER_RANGE,
    STEPS_PER_K,
    UNDER_RANGE,
    temperature_q6,
)
from trivet.device.reading import device_reading
from trivet.device.readingrules import HeadReading, cold_reading
from trivet.errors import RecordingError
from trivet.models.firmware_tables import head_readings
from trivet.models.firmware_told import told_place, told_surfaces
from trivet.quality import Quality
from trivet.records.benchsheet import Told
from trivet.records.calibration import Calibration
from trivet.records.design import Design
from trivet.records.estimate import UNSURE
from trivet.records.recording import HeadFrames, ProductInput


def frame_words(frames: HeadFrames) -> tuple[IntArray, IntArray]:
    """Return the words that the sensor's driver hands to the firmware.

    Parameters
    ----------
    frames : HeadFrames
        As recorded or simulated.

    Returns
    -------
    tuple
        (time, pixel) [1/64 K], and (time, 3): time [ms], housing [1/64 K], awake [ms].

    Notes
    -----
    Rounded half up: up to 8 mK a pixel.
    """
    pixels = temperature_q6(frames.apparent_k.reshape(frames.time_s.size, -1))
    sensor = np.stack(
        [
            milliseconds(frames.time_s),
            temperature_q6(frames.sensor_k),
            milliseconds(frames.awake_s),
        ],
        axis=1,
    )
    return pixels, sensor


def told_words(told: Told, *, constants: HeadReading, design: Design) -> IntArray:
    """Return the place of what was told of each burner of a head."""
    surfaces = told_surfaces(design)
    places = [told_place(told.about(one), surfaces=surfaces) for one in constants.burners]
    return np.array(places, dtype=np.int64)


def exact_words(frames: HeadFrames, *, told: IntArray, constants: HeadReading) -> FloatArray:
    """Return what the firmware's rules say without rounding, (time, burner, 10) words of 1/64 K.

    ``constants`` are those of ``firmware_tables.unrounded``. Times are whole milliseconds.
    """
    kelvin = frames.apparent_k.reshape(frames.time_s.size, -1).astype(np.float64)
    words = np.minimum(np.where(np.isnan(kelvin), 0.0, kelvin) * STEPS_PER_K, OVER_RANGE)
    words = np.where(np.isneginf(kelvin), UNDER_RANGE, words)
    _, sensor = frame_words(frames)
    exact = sensor.astype(np.float64)
    exact[:, 1] = frames.sensor_k * STEPS_PER_K
    state = cold_reading(constants)
    return device_reading(words, sensor=exact, told=told, constants=constants, state=state)


def device_readings(
    inputs: ProductInput, *, design: Design, calibration: Calibration
) -> tuple[tuple[HeadReading, IntArray], ...]:
    """Return the firmware's words of every head, and the constants they were made with.

    Parameters
    ----------
    inputs : ProductInput
        Frames, sensor state and what the cook told.
    design : Design
        Sensors, burners, pans and contents.
    calibration : Calibration
        Its terms become the firmware's constants.

    Returns
    -------
    tuple
        For each head its constants and (time, burner, 10) words.

    Raises
    ------
    RecordingError
        If a head of the design has no frames, or its frames another shape.

    Notes
    -----
    Every cook begins with a cold memory, as after waking.
    """
    found = []
    for constants in head_readings(design, calibration=calibration):
        frames = inputs.frames_of(constants.head)
        if frames is None or frames.apparent_k[0].size != constants.pixels:
            raise RecordingError(
                f"head {constants.head!r} has no frames of {constants.pixels} pixels in this "
                "recording: read it with the design that it was made with"
            )
        pixels, sensor = frame_words(frames)
        told = told_words(inputs.told, constants=constants, design=design)
        words = device_reading(
            pixels, sensor=sensor, told=told, constants=constants, state=cold_reading(constants)
        )
        found.append((constants, words))
    return tuple(found)


def moment_words(
    inputs: ProductInput, *, design: Design, calibration: Calibration
) -> dict[str, tuple[str, IntArray]]:
    """Return each burner's head and its words (moment, 10) at the first head's frames.

    Parameters
    ----------
    inputs, design, calibration : ProductInput, Design, Calibration
        As for :func:`device_readings`.

    Returns
    -------
    dict
        Burners in the design's order.

    Raises
    ------
    RecordingError
        From :func:`device_readings`.

    Notes
    -----
    Another head's words count from its frame on until they are stale; before and after
    nothing is said.

    References
    ----------
    ``device/c/trivet_device.c`` does the same.
    """
    first_ms = milliseconds(inputs.heads[0].time_s)
    stale_ms = round(float(design.estimation.stale_after_s) * 1000)
    found: dict[str, tuple[str, IntArray]] = {}
    for constants, words in device_readings(inputs, design=design, calibration=calibration):
        own_s = next(one.time_s for one in inputs.heads if one.head == constants.head)
        own_ms = milliseconds(own_s)
        at = np.searchsorted(own_ms, first_ms, side="right") - 1
        if constants.head == inputs.heads[0].head:
            at = np.arange(first_ms.size)
        fresh = (at >= 0) & (first_ms - own_ms[np.maximum(at, 0)] <= stale_ms)
        for b, name in enumerate(constants.burners):
            rows = words[np.maximum(at, 0), b].copy()
            rows[~fresh] = 0
            rows[~fresh, rules.PRESENT] = UNSURE
            rows[~fresh, rules.FLAGS] = int(Quality.STALE)
            rows[~fresh, rules.OF] = rules.NOTHING
            found[name] = (constants.head, rows)
    return {one.name: found[one.name] for one in design.burners if one.name in found}


def milliseconds(time_s: FloatArray) -> IntArray:
    """Return moments in whole milliseconds."""
    return np.floor(time_s * 1000.0 + 0.5).astype(np.int64)
