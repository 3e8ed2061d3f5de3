"""Whether frames are in the unit they claim: evidence, not belief.

The coldest part of the view is kitchen: within some 25 K of the sensor's own
housing, and above freezing.  Kelvin, Fahrenheit, raw counts and pictures taken
for C break that, each in its own way.
"""

from __future__ import annotations

import numpy as np

from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.files.framesource import FrameSource
from trivet.records.sensorcard import SensorCard

LOWEST_C = -60.0  # own estimate: under any freezer
HIGHEST_C = 1200.0  # own estimate: above any glowing ring or flame that a sensor reads
BACKGROUND_REACH_K = 30.0  # own estimate: a housing over a hob is up to 30 K warmer than the room


def refuse_wrong_unit(source: FrameSource, *, card: SensorCard, ambient_c: float) -> None:
    """Refuse frames whose values cannot be the temperatures that they claim to be.

    Parameters
    ----------
    source : FrameSource
        Frames in C as the file says.
    card : SensorCard
        The head's sensor.
    ambient_c : float
        Kitchen temperature of the design. [C]

    Raises
    ------
    RecordingError
        Naming the evidence: values beyond any kitchen, whole numbers from 0 to
        255, a background in kelvin or Fahrenheit, a sensor temperature in
        either.

    Notes
    -----
    Fahrenheit is told from C by the coldest twentieth of the first frames:
    72 F beside a housing at 27 C is 45 K off as C and 5 K off as F. Where the
    housing is above about 45 C, or a hot pan fills the whole view from the start,
    the two cannot be told apart this way.
    """
    values = source.apparent_c[np.isfinite(source.apparent_c)]
    if values.size == 0:
        raise RecordingError(f"{source.where}: no finite value in any frame")
    _refuse_sensor_unit(source)
    _refuse_kelvin(source, values)
    _refuse_impossible(source, values)
    _refuse_pictures(source, values, card)
    _refuse_fahrenheit(source, ambient_c)


def _background_c(source: FrameSource) -> float:
    """Coldest twentieth of the first frames."""
    first = source.apparent_c[: max(3, len(source.apparent_c) // 20)]
    finite = first[np.isfinite(first)]
    return float(np.percentile(finite, 5)) if finite.size else float("nan")


def _refuse_sensor_unit(source: FrameSource) -> None:
    sensor = source.sensor_c[np.isfinite(source.sensor_c)]
    if sensor.size == 0:
        raise RecordingError(f"{source.where}: sensor_c holds no number at all")
    middle = float(np.median(sensor))
    if 230.0 < middle < 400.0:
        raise RecordingError(
            f"{source.where}: sensor_c is about {middle:.0f}: kelvin, not C. Subtract 273.15."
        )
    if not LOWEST_C < float(np.min(sensor)) <= float(np.max(sensor)) < 125.0:
        raise RecordingError(
            f"{source.where}: sensor_c runs from {np.min(sensor):.1f} to {np.max(sensor):.1f}; "
            "no sensor housing works there. Give it in C."
        )


def _refuse_kelvin(source: FrameSource, values: np.ndarray) -> None:
    background, sensor = _background_c(source), float(np.nanmedian(source.sensor_c))
    lowest = float(np.min(values))
    if lowest > 200.0 and abs(background - ZERO_C_K - sensor) < 60.0:
        raise RecordingError(
            f"{source.where}: the coldest of the view reads {background:.1f} beside a sensor at "
            f"{sensor:.1f} C: kelvin, not C ({background - ZERO_C_K:.1f} C would fit). Subtract "
            "273.15 before saving."
        )


def _refuse_impossible(source: FrameSource, values: np.ndarray) -> None:
    low, high = float(np.min(values)), float(np.max(values))
    if low >= LOWEST_C and high <= HIGHEST_C:
        return
    rows = _wild_rows(source)
    if rows:
        raise RecordingError(
            f"{source.where}: rows {', '.join(map(str, rows))} hold values from {low:.0f} to "
            f"{high:.0f} C: telemetry rows inside the frame. Cut them off before saving."
        )
    if source.from_counts:
        raise RecordingError(
            f"{source.where}: scaled counts run from {low:.1f} to {high:.1f} C; check scale_k and "
            "offset_k (offset_k is the kelvin at count 0, not C)"
        )
    raise RecordingError(
        f"{source.where}: apparent_c runs from {low:.1f} to {high:.1f}; allowed: {LOWEST_C:.0f} to "
        f"{HIGHEST_C:.0f} C. These look like counts: name them counts and give scale_k and "
        "offset_k."
    )


def _wild_rows(source: FrameSource) -> list[int]:
    """Rows at an edge that hold impossible values while the others do not."""
    frames = np.nan_to_num(source.apparent_c, nan=20.0, posinf=20.0, neginf=20.0)
    wild = np.any((frames < LOWEST_C) | (frames > HIGHEST_C), axis=(0, 2))
    rows = [int(row) for row in np.flatnonzero(wild)]
    edge = {*range(4), *range(wild.size - 4, wild.size)}
    return rows if rows and set(rows) <= edge and len(rows) <= 4 else []


def _refuse_pictures(source: FrameSource, values: np.ndarray, card: SensorCard) -> None:
    if source.from_counts or values.size < 100:
        return
    low, high = float(np.min(values)), float(np.max(values))
    if low >= 0.0 and high <= 1.0 and high > low:
        raise RecordingError(
            f"{source.where}: all values lie from 0 to 1: a picture scaled to the scene, not "
            "temperatures. Export the sensor's own temperatures."
        )
    whole = bool(np.all(values == np.round(values)))
    if whole and low >= 0.0 and high <= 255.0 and high > low and card.step_delta_k < 0.5:
        raise RecordingError(
            f"{source.where}: only whole numbers from {low:.0f} to {high:.0f}, while sensor "
            f"{card.name!r} steps by {card.step_delta_k:g} K: a picture of 0 to 255, not C. Export "
            "the sensor's own temperatures (or state its step in the sensor card)."
        )


def _refuse_fahrenheit(source: FrameSource, ambient_c: float) -> None:
    background, sensor = _background_c(source), float(np.nanmedian(source.sensor_c))
    as_f = (background - 32.0) / 1.8
    sensor_as_f = (sensor - 32.0) / 1.8
    kitchen = 5.0 < as_f < 33.0 and abs(as_f - sensor) < BACKGROUND_REACH_K
    if kitchen and background - sensor > 25.0:
        raise RecordingError(
            f"{source.where}: the coldest of the view reads {background:.1f} beside a sensor at "
            f"{sensor:.1f} C: Fahrenheit, not C ({as_f:.1f} C would fit). Convert before saving."
        )
    if sensor - background > 40.0 and abs(sensor_as_f - background) < 20.0:
        raise RecordingError(
            f"{source.where}: sensor_c reads {sensor:.1f} over a view of {background:.1f} C: "
            f"Fahrenheit ({sensor_as_f:.1f} C would fit). Convert before saving."
        )
    both = min(background, sensor) > ambient_c + 35.0 and background > 60.0
    if both and max(abs(as_f - ambient_c), abs(sensor_as_f - ambient_c)) < 20.0:
        raise RecordingError(
            f"{source.where}: view {background:.1f} and sensor {sensor:.1f} are both far above the "
            f"design's kitchen of {ambient_c:.0f} C and fit it as Fahrenheit. Convert both before "
            "saving, or correct the design's ambient."
        )
