"""Raw half frames of a 32 x 24 thermopile array, turned into temperatures.

Each half frame is 832 words from address 0x0400: 768 pixels and, after them, the on-chip
thermometer, the gain, two blind pixels and the supply voltage. The chain is: supply, ambient, gain;
offset; drift with supply and ambient; read pattern; blind pixel; emissivity; sensitivity; the
fourth root; and once more with the sensitivity of the range the result falls in.

Steps follow the MLX90640 datasheet, revision 12 (December 2019), section 11.2 (temperature
calculation); the numbers of its subsections are from memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError, RecordingError
from trivet.physics.sensor.halfframes import subpage_mask
from trivet.physics.sensor.thermopile_memory import (
    COLS,
    ROWS,
    WORDS,
    ThermopileConstants,
    calibration_memory,
    sixteen_bit_words,
)
from trivet.physics.sensor.thermopile_state import (
    RAM_START,
    Readout,
    ambient_temperature_k,
    drift_inputs,
    gain_factor,
    readout_of_register,
    signed_ram,
    supply_voltage_v,
)

__all__ = [
    "Readout",
    "ThermopileConstants",
    "ambient_temperature_k",
    "calibration_memory",
    "compensated_alpha",
    "compensated_signal",
    "first_pass_temperature_k",
    "gain_factor",
    "half_frame_temperature_k",
    "object_temperature_k",
    "readout_of_register",
    "supply_voltage_v",
]

BLIND_WORD = (776, 808)  # 0x0708 and 0x0728
AMBIENT_LESS_REFLECTED_K = 8.0  # the datasheet's default: surroundings 8 K under the chip


def compensated_signal(
    ram: ArrayLike, *, constants: ThermopileConstants, subpage: int, readout: Readout
) -> FloatArray:
    """Return each pixel's signal after gain, offset, drifts, read pattern and blind pixel.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    subpage : 0 or 1: which blind pixel belongs to this half frame
    readout : pattern and resolution of the half frame
    Returns : (24, 32) signal of every pixel [counts], also of those the subpage did not read
    Notes : The maker calibrates in the chess pattern; interleaved frames of such a sensor get three
        stored corrections (IL_CHESS C1 to C3) of some counts, about 0.1 to 0.5 K.
    Source : MLX90640 datasheet, revision 12 (2019), sections 11.2.2.5 to 11.2.2.7
    """
    words = signed_ram(ram)
    gain = gain_factor(ram, constants=constants)
    warm, extra = drift_inputs(ram, constants=constants, resolution=readout.resolution)
    pixels = constants.pixels
    raw = words[: ROWS * COLS].reshape(ROWS, COLS) * gain
    signal = raw - pixels.offset * (1.0 + pixels.per_k * warm) * (1.0 + pixels.per_v * extra)
    blind = constants.compensation
    offset = blind.offset[subpage]
    if readout.pattern != constants.calibrated_pattern:
        signal = signal + _pattern_correction(constants)
        offset += blind.interleaved[0] if subpage == 1 else 0.0
    blind_raw = words[BLIND_WORD[subpage]] * gain
    blind_signal = blind_raw - offset * (1.0 + blind.per_k * warm) * (1.0 + blind.per_v * extra)
    return np.asarray(signal - blind.gradient * blind_signal, dtype=np.float64)


def compensated_alpha(
    ram: ArrayLike, *, constants: ThermopileConstants, subpage: int, resolution: int = 2
) -> FloatArray:
    """Return each pixel's sensitivity at the chip's temperature.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    subpage : 0 or 1: whose blind pixel is taken off
    resolution : converter setting of the half frame, 0 to 3
    Returns : (24, 32) sensitivity [counts/K4]
    Notes : Some 1e-7 counts/K4 at the centre, a third less at the corners; it falls by 0.2 % a
        kelvin of chip temperature.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.8
    """
    warm, _ = drift_inputs(ram, constants=constants, resolution=resolution)
    blind = constants.compensation
    bare = constants.pixels.alpha - blind.gradient * blind.alpha[subpage]
    return np.asarray(bare * (1.0 + constants.ranges.ambient_slope_per_k * warm))


def first_pass_temperature_k(
    signal: ArrayLike, *, alpha: ArrayLike, background: float, slope_per_k: float
) -> FloatArray:
    """Return the object temperature with the sensitivity slope of 0 C and above.

    signal : broadcastable; compensated signal over emissivity [counts]
    alpha : broadcastable; compensated sensitivity [counts/K4]
    background : fourth power of the reflected temperature, weighted with that of the chip (the
        datasheet's T_a-r) [K4]
    slope_per_k : relative change of sensitivity with object temperature in that range [1/K]
    Returns : broadcast shape; object temperature [K]; NaN where the signal lies under any
        temperature's
    Notes : Exact only where the object lies in that range; elsewhere, and for the last tenth of a
        kelvin, :func:`object_temperature_k` goes on from here.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.9
    """
    counts = np.asarray(signal, dtype=np.float64)
    gain = np.asarray(alpha, dtype=np.float64)
    with np.errstate(invalid="ignore"):
        bend = slope_per_k * (gain**3 * counts + gain**4 * background) ** 0.25
        power = counts / (gain * (1.0 - slope_per_k * ZERO_C_K) + bend) + background
        return np.asarray(power**0.25, dtype=np.float64)


def object_temperature_k(
    signal: ArrayLike, *, alpha: ArrayLike, background: float, constants: ThermopileConstants
) -> FloatArray:
    """Return the object temperature with the sensitivity of the range it falls in.

    signal : broadcastable; compensated signal over emissivity [counts]
    alpha : broadcastable; compensated sensitivity [counts/K4]
    background : weighted fourth power of reflected and chip temperature [K4]
    constants : from :func:`calibration_memory`; its ranges are used
    Returns : broadcast shape; object temperature [K]; NaN where the signal lies under any
        temperature's
    Notes : The slopes move a reading at 300 C by about 0.2 K for every 1e-4 / K. The range is
        chosen by the first pass, so within a few tenths of a kelvin of a corner either neighbour's
        slope may be used; the curve is continuous there.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.9
    """
    slope = np.array(constants.ranges.slope_per_k)
    corner = np.array(constants.ranges.corner_k)
    first = first_pass_temperature_k(
        signal, alpha=alpha, background=background, slope_per_k=float(slope[1])
    )
    within = np.searchsorted(corner[1:], np.nan_to_num(first), side="right")
    factor = _range_factor(corner, slope)[within]
    with np.errstate(invalid="ignore"):
        bent = np.asarray(alpha) * factor * (1.0 + slope[within] * (first - corner[within]))
        return np.asarray((np.asarray(signal) / bent + background) ** 0.25, dtype=np.float64)


def half_frame_temperature_k(
    ram: ArrayLike,
    *,
    constants: ThermopileConstants,
    subpage: int,
    emissivity: float = 1.0,
    reflected_k: float | None = None,
    readout: Readout | None = None,
) -> FloatArray:
    """Return the object temperatures of the pixels that a half frame read.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    subpage : 0 or 1, as in the status register when the half frame was read
    emissivity : emissivity to assume, 0 < eps <= 1; 1 gives apparent temperature
    reflected_k : float, optional: reflected temperature; the datasheet's default is the chip's less
        8 K. Without effect at emissivity 1 [K]
    readout : Readout, optional: pattern and resolution; chess and 18 bit when not given
    Returns : (24, 32) object temperature [K]; NaN outside the subpage, at broken pixels, and where
        the signal lies under what any temperature gives
    Raises : RecordingError if the words cannot be a half frame: wrong length, blank, stuck, a gain
        word of 0, or a subpage other than 0 and 1; OutOfRangeError if the emissivity lies outside
        (0, 1]
    Notes : The T**4 law is the maker's own approximation, made good by the slopes of the ranges;
        valid within the ranges that the memory was calibrated for (-40 to 300 C for most parts).
        Above, the slope of the last range is extended and the value is a sign of "hot", not a
        measurement. The sensor is stated to +-1 to 2 K at its core and about 2 % of (object -
        ambient), after up to 4 minutes of settling.
    Source : MLX90640 datasheet, revision 12 (2019), sections 11.2.2.5 to 11.2.2.9
    """
    if not 0.0 < emissivity <= 1.0:
        raise OutOfRangeError(f"emissivity {emissivity}; allowed: above 0, up to 1")
    setting = readout or Readout()
    mask = subpage_mask(ROWS, cols=COLS, pattern=setting.pattern, subpage=subpage)
    _refuse_blank(sixteen_bit_words(ram, what="half frame", start=RAM_START), mask)
    chip_k = ambient_temperature_k(ram, constants=constants, resolution=setting.resolution)
    reflected = chip_k - AMBIENT_LESS_REFLECTED_K if reflected_k is None else reflected_k
    signal = compensated_signal(ram, constants=constants, subpage=subpage, readout=setting)
    alpha = compensated_alpha(
        ram, constants=constants, subpage=subpage, resolution=setting.resolution
    )
    background = reflected**4 - (reflected**4 - chip_k**4) / emissivity
    object_k = object_temperature_k(
        signal / emissivity, alpha=alpha, background=background, constants=constants
    )
    return np.where(mask & ~constants.pixels.broken, object_k, np.nan)


def _refuse_blank(words: IntArray, mask: BoolArray) -> None:
    pixels = words[: ROWS * COLS].reshape(ROWS, COLS)[mask]
    values, counts = np.unique(pixels, return_counts=True)
    if counts.max() > 0.5 * pixels.size:
        word = int(values[counts.argmax()])
        raise RecordingError(
            f"half frame: {counts.max()} of {pixels.size} pixel words of the subpage are "
            f"0x{word:04X}: stuck words, a dead bus or a block that was not read whole. "
            f"Discard this half frame; a live array of {WORDS} words shows noise."
        )


def _pattern_correction(constants: ThermopileConstants) -> FloatArray:
    """Counts to add when the read pattern is not the calibrated one (IL_CHESS C2, C3)."""
    row, col = np.indices((ROWS, COLS))
    odd_row = row % 2
    number = row * COLS + col
    sawtooth = (number + 2) // 4 - (number + 3) // 4 + (number + 1) // 4 - number // 4
    conversion = sawtooth * (1 - 2 * odd_row)
    _, second, third = constants.compensation.interleaved
    return np.asarray(third * (2 * odd_row - 1) - second * conversion, dtype=np.float64)


def _range_factor(corner: FloatArray, slope: FloatArray) -> FloatArray:
    """Sensitivity at each range's lower corner, relative to that at 0 C."""
    below = 1.0 / (1.0 + slope[0] * (corner[1] - corner[0]))
    third = 1.0 + slope[1] * (corner[2] - corner[1])
    fourth = third * (1.0 + slope[2] * (corner[3] - corner[2]))
    return np.array([below, 1.0, third, fourth])
