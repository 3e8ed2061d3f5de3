"""The calibration memory of a 32 x 24 thermopile array, unpacked.

The array's maker stores the constants of each sensor as 832 words of 16 bits from address 0x2400.
They are packed: a pixel's offset, sensitivity and temperature coefficient share one word and are
refinements of row, column and array means. :func:`calibration_memory` unpacks them once; everything
after works on the frozen :class:`ThermopileConstants`.

Steps follow the MLX90640 datasheet, revision 12 (December 2019), section 11.1 (restoring
calibration data); the numbers of its subsections are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.physics.sensor.halfframes import ReadPattern

ROWS, COLS = 24, 32  # size of the array: datasheet
WORDS = 832  # of the memory, and of a half frame: datasheet, section 10
MEMORY_START, RAM_START = 0x2400, 0x0400  # addresses: datasheet, section 10


@dataclass(frozen=True)
class SupplyConstants:
    """Supply voltage: counts a volt, counts at 3.3 V and 25 C, stored resolution code."""

    counts_per_v: float
    counts_at_reference: float
    resolution: int


@dataclass(frozen=True)
class AmbientConstants:
    """On-chip thermometer: dependence on supply [1/V], counts a kelvin, counts at 25 C, gain."""

    per_v: float
    counts_per_k: float
    counts_at_reference: float
    alpha: float


@dataclass(frozen=True)
class PixelConstants:
    """Per pixel (24, 32): offset [counts], sensitivity [counts/K4], drifts [1/K], [1/V]."""

    offset: FloatArray
    alpha: FloatArray
    per_k: FloatArray
    per_v: FloatArray
    broken: BoolArray
    outlier: BoolArray


@dataclass(frozen=True)
class CompensationConstants:
    """The blind pixel of each subpage, and the correction from chess to interleaved."""

    offset: tuple[float, float]
    alpha: tuple[float, float]
    per_k: float
    per_v: float
    gradient: float  # the datasheet's TGC
    interleaved: tuple[float, float, float]  # IL_CHESS C1..C3


@dataclass(frozen=True)
class RangeConstants:
    """Object ranges: lower corner of each [K] and sensitivity slope in each [1/K]."""

    corner_k: tuple[float, float, float, float]
    slope_per_k: tuple[float, float, float, float]
    ambient_slope_per_k: float  # the datasheet's KsTa


@dataclass(frozen=True)
class ThermopileConstants:
    """Everything that one sensor's calibration memory says."""

    supply: SupplyConstants
    ambient: AmbientConstants
    gain_word: int
    pixels: PixelConstants
    compensation: CompensationConstants
    ranges: RangeConstants
    calibrated_pattern: ReadPattern


def calibration_memory(words: ArrayLike) -> ThermopileConstants:
    """Return the constants stored in an array's calibration memory.

    words : (832,) words of 16 bits from address 0x2400, 0 to 65535
    Returns : unpacked constants; its arrays are read-only
    Raises : RecordingError if there are not 832 words, if they are not 16-bit integers, if the
        memory is blank (one value throughout, or a block of zeros or 0xFFFF where the array means
        stand), or if a constant that divides is zero
    Notes : Constants are coarse as stored: one step of a pixel's sensitivity is 1 to 3 % of it, one
        offset step is a count, about 0.1 K at 25 C. Up to four broken or deviating pixels are
        permitted by the maker; they are marked, not repaired.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.1
    """
    memory = _checked_memory(words)
    constants = ThermopileConstants(
        supply=_supply(memory),
        ambient=_ambient(memory),
        gain_word=int(_signed(memory[48], 16)),
        pixels=_pixels(memory),
        compensation=_compensation(memory),
        ranges=_ranges(memory),
        calibrated_pattern="interleaved" if memory[10] & 0x0800 else "chess",
    )
    _refuse_zero_divisors(constants)
    return constants


def sixteen_bit_words(words: ArrayLike, *, what: str, start: int) -> IntArray:
    """Return 832 words as integers, or refuse them with the place of the fault.

    words : (832,) integers of 16 bits; signed ones are taken as their bit pattern
    what : what the words are, for the message
    start : address of the first word, for the message
    Returns : (832,) of int64 the words as unsigned values
    Raises : RecordingError if the length, the kind or the range is wrong
    Notes : Words are never padded or cut: a memory one word short shifts nothing but would leave
        the last pixel uncalibrated.
    Source : MLX90640 datasheet, revision 12 (2019), section 10 (memory and registers)
    """
    array = np.asarray(words)
    if array.shape != (WORDS,):
        last = start + max(array.size, 1) - 1
        raise RecordingError(
            f"{what}: {array.size} words (shape {array.shape}), that is 0x{start:04X} to "
            f"0x{last:04X}; allowed: exactly {WORDS} words, 0x{start:04X} to "
            f"0x{start + WORDS - 1:04X}. Read the whole block from the sensor again."
        )
    if not np.issubdtype(array.dtype, np.integer):
        raise RecordingError(
            f"{what}: words of type {array.dtype}; allowed: integers of 16 bits as read "
            "from the sensor, not converted values"
        )
    values = array.astype(np.int64)
    wrong = np.flatnonzero((values < -32768) | (values > 65535))
    if wrong.size:
        raise RecordingError(
            f"{what}: word 0x{start + int(wrong[0]):04X} is {values[wrong[0]]}; "
            "allowed: 0 to 65535 (or -32768 to 32767)"
        )
    return values & 0xFFFF


def _checked_memory(words: ArrayLike) -> IntArray:
    memory = sixteen_bit_words(words, what="calibration memory", start=MEMORY_START)
    for low, high, name in ((0, WORDS, "whole memory"), (48, 64, "array constants")):
        block = memory[low:high]
        if np.all(block == block[0]):
            raise RecordingError(
                f"calibration memory: {name} (0x{MEMORY_START + low:04X} to "
                f"0x{MEMORY_START + high - 1:04X}) is 0x{int(block[0]):04X} throughout: blank or "
                "not answered. Read the memory again before using these words."
            )
    pixels = memory[64:]
    values, counts = np.unique(pixels, return_counts=True)
    if counts.max() > 0.5 * pixels.size:
        raise RecordingError(
            f"calibration memory: {counts.max()} of 768 pixel words are "
            f"0x{int(values[counts.argmax()]):04X}: stuck words or a truncated read. "
            "Read the memory again before using these words."
        )
    return memory


def _signed(value: ArrayLike, bits: int) -> IntArray:
    field = np.asarray(value, dtype=np.int64) & ((1 << bits) - 1)
    return np.where(field >= 1 << (bits - 1), field - (1 << bits), field)


def _nibbles(words: IntArray) -> IntArray:
    """Signed 4-bit fields of the words, lowest nibble first."""
    shifts = np.array([0, 4, 8, 12])
    return _signed((words[:, None] >> shifts) & 0xF, 4).ravel()


def _supply(memory: IntArray) -> SupplyConstants:
    """Steps 11.1.1 and 11.1.17: supply voltage and resolution."""
    word = int(memory[51])
    return SupplyConstants(
        counts_per_v=float(_signed(word >> 8, 8)) * 32.0,
        counts_at_reference=float((word & 0xFF) - 256) * 32.0 - 8192.0,
        resolution=(int(memory[56]) & 0x3000) >> 12,
    )


def _ambient(memory: IntArray) -> AmbientConstants:
    """Step 11.1.2: the on-chip thermometer."""
    word = int(memory[50])
    return AmbientConstants(
        per_v=float(_signed(word >> 10, 6)) / 4096.0,
        counts_per_k=float(_signed(word, 10)) / 8.0,
        counts_at_reference=float(_signed(memory[49], 16)),
        alpha=float(memory[16] >> 12) / 4.0 + 8.0,
    )


def _pixels(memory: IntArray) -> PixelConstants:
    words = memory[64:].reshape(ROWS, COLS)
    per_k, per_v = _pixel_drifts(memory, words)
    arrays = (_pixel_offset(memory, words), _pixel_alpha(memory, words), per_k, per_v)
    marks = (np.asarray(words == 0), np.asarray((words & 1 == 1) & (words != 0)))
    for array in (*arrays, *marks):
        array.setflags(write=False)
    return PixelConstants(*arrays, broken=marks[0], outlier=marks[1])


def _pixel_offset(memory: IntArray, words: IntArray) -> FloatArray:
    """Step 11.1.3: array mean, row and column parts, 6-bit remainder."""
    scale = int(memory[16])
    rows = _nibbles(memory[18:24]) << ((scale >> 8) & 0xF)
    cols = _nibbles(memory[24:32]) << ((scale >> 4) & 0xF)
    rest = _signed(words >> 10, 6) << (scale & 0xF)
    total = _signed(memory[17], 16) + rows[:, None] + cols[None, :] + rest
    return np.asarray(total, dtype=np.float64)


def _pixel_alpha(memory: IntArray, words: IntArray) -> FloatArray:
    """Step 11.1.4: sensitivity, packed like the offset."""
    scale = int(memory[32])
    rows = _nibbles(memory[34:40]) << ((scale >> 8) & 0xF)
    cols = _nibbles(memory[40:48]) << ((scale >> 4) & 0xF)
    rest = _signed(words >> 4, 6) << (scale & 0xF)
    total = int(memory[33]) + rows[:, None] + cols[None, :] + rest
    return np.asarray(total / 2.0 ** ((scale >> 12) + 30), dtype=np.float64)


def _pixel_drifts(memory: IntArray, words: IntArray) -> tuple[FloatArray, FloatArray]:
    """Steps 11.1.5 and 11.1.6: drift with supply and with ambient, by row and column parity.

    Parity counts from 1 in the datasheet: its odd rows are rows 0, 2, 4 here.
    """
    scale = int(memory[56])
    k = [_signed(memory[54] >> 8, 8), _signed(memory[55] >> 8, 8), _signed(memory[54], 8)]
    k_mean = np.array([[k[0], k[1]], [k[2], _signed(memory[55], 8)]])
    v = int(memory[52])
    v_mean = _signed(np.array([[v >> 12, v >> 4], [v >> 8, v]]), 4)
    tile = (ROWS // 2, COLS // 2)
    rest = _signed(words >> 1, 3) << (scale & 0xF)
    per_k = (np.tile(k_mean, tile) + rest) / 2.0 ** (((scale >> 4) & 0xF) + 8)
    per_v = np.tile(v_mean, tile) / 2.0 ** ((scale >> 8) & 0xF)
    return per_k, per_v


def _compensation(memory: IntArray) -> CompensationConstants:
    """Steps 11.1.12 to 11.1.16: blind pixels, gradient and read-pattern correction."""
    scale = int(memory[56])
    offset = float(_signed(memory[58], 10))
    alpha = float(_signed(memory[57], 10)) / 2.0 ** ((int(memory[32]) >> 12) + 27)
    ratio = 1.0 + float(_signed(memory[57] >> 10, 6)) / 128.0
    pattern = int(memory[53])
    return CompensationConstants(
        offset=(offset, offset + float(_signed(memory[58] >> 10, 6))),
        alpha=(alpha, alpha * ratio),
        per_k=float(_signed(memory[59], 8)) / 2.0 ** (((scale >> 4) & 0xF) + 8),
        per_v=float(_signed(memory[59] >> 8, 8)) / 2.0 ** ((scale >> 8) & 0xF),
        gradient=float(_signed(memory[60], 8)) / 32.0,
        interleaved=(
            float(_signed(pattern, 6)) / 16.0,
            float(_signed(pattern >> 6, 5)) / 2.0,
            float(_signed(pattern >> 11, 5)) / 8.0,
        ),
    )


def _ranges(memory: IntArray) -> RangeConstants:
    """Steps 11.1.8 to 11.1.10: sensitivity slopes and corner temperatures."""
    word = int(memory[63])
    step = ((word & 0x3000) >> 12) * 10.0
    third = ((word & 0x00F0) >> 4) * step
    fourth = third + ((word & 0x0F00) >> 8) * step
    fields = [memory[61], memory[61] >> 8, memory[62], memory[62] >> 8]
    slopes = [float(_signed(field, 8)) / 2.0 ** ((word & 0xF) + 8) for field in fields]
    return RangeConstants(
        corner_k=(-40.0 + ZERO_C_K, ZERO_C_K, third + ZERO_C_K, fourth + ZERO_C_K),
        slope_per_k=(slopes[0], slopes[1], slopes[2], slopes[3]),
        ambient_slope_per_k=float(_signed(memory[60] >> 8, 8)) / 8192.0,
    )


def _refuse_zero_divisors(constants: ThermopileConstants) -> None:
    divisors = {
        "gain (0x2430)": constants.gain_word,
        "supply counts a volt (0x2433)": constants.supply.counts_per_v,
        "thermometer counts a kelvin (0x2432)": constants.ambient.counts_per_k,
    }
    for name, value in divisors.items():
        if value == 0:
            raise RecordingError(
                f"calibration memory: {name} is zero, and every pixel divides by it. "
                "Read the memory again; a sensor that stores this cannot be converted."
            )
    good = ~constants.pixels.broken
    if np.any(constants.pixels.alpha[good] <= 0.0):
        row, col = np.argwhere(good & (constants.pixels.alpha <= 0.0))[0]
        raise RecordingError(
            f"calibration memory: the sensitivity of pixel row {row}, col {col} is not positive. "
            "Read the memory again."
        )
