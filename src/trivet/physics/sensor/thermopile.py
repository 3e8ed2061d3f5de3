"""Raw half frames of a 32 x 24 thermopile array, turned into temperatures.

Each half frame is 832 words from address 0x0400: 768 pixels and, after them, the on-chip
thermometer, the gain, two blind pixels and the supply voltage. The chain is: supply, ambient, gain;
offset; drift with supply and ambient; read pattern; blind pixel; emissivity; sensitivity; the
fourth root; and once more with the sensitivity of the range the result falls in.

Steps follow the MLX90640 datasheet, revision 12 (December 2019), section 11.2 (temperature
calculation); the numbers of its subsections are from memory. When words count
as stuck or renewed is an own estimate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import BoolArray, FloatArray, IntArray
from trivet.constants import ZERO_C_K
from trivet.errors import OutOfRangeError, RecordingError
from trivet.physics.sensor.halfframes import PATTERNS, ReadPattern, subpage_mask
from trivet.physics.sensor.thermopile_memory import (
    COLS,
    RAM_START,
    ROWS,
    WORDS,
    ThermopileConstants,
    sixteen_bit_words,
)

CALIBRATED_V, CALIBRATED_K = 3.3, 25.0 + ZERO_C_K  # where the constants hold: datasheet
VBE, GAIN, PTAT, SUPPLY = 768, 778, 800, 810  # 0x0700, 0x070A, 0x0720, 0x072A
BLIND_WORD = (776, 808)  # 0x0708 and 0x0728
AMBIENT_LESS_REFLECTED_K = 8.0  # the datasheet's default: surroundings 8 K under the chip


@dataclass(frozen=True)
class Readout:
    """How the array was set to read: its pattern and its converter's resolution code (0 to 3)."""

    pattern: ReadPattern = "chess"
    resolution: int = 2

    def __post_init__(self) -> None:
        """Refuse settings that the control register cannot hold."""
        if self.pattern not in PATTERNS:
            raise RecordingError(f"read pattern {self.pattern!r}; allowed: chess, interleaved")
        if self.resolution not in (0, 1, 2, 3):
            raise RecordingError(
                f"resolution code {self.resolution!r}; allowed: 0 (16 bit) to 3 (19 bit)"
            )


def readout_of_register(control: int) -> Readout:
    """Return the readout settings in the array's control register (0x800D).

    control : the register's word. Bit 12 is the pattern, bits 10 and 11 the resolution.
    Returns : pattern and resolution code
    Notes : The register's value at power-on, 0x1901, is chess and 18 bit.
    Source : MLX90640 datasheet, revision 12 (2019), section 10.3.2 (control register 1)
    """
    return Readout(
        pattern="chess" if int(control) & 0x1000 else "interleaved",
        resolution=(int(control) >> 10) & 0x3,
    )


@dataclass(frozen=True)
class ArrayState:
    """What a half frame says of the array itself.

    words : (832,) signed words, -32768 to 32767
    supply_v : supply voltage [V]
    chip_k : temperature of the chip [K]
    gain : factor that undoes the amplifier's drift since calibration: stored gain over the frame's
    """

    words: FloatArray
    supply_v: float
    chip_k: float
    gain: float


def array_state(
    ram: ArrayLike, *, constants: ThermopileConstants, resolution: int = 2
) -> ArrayState:
    """Return supply, chip temperature and gain of the array in a half frame.

    ram : (832,) raw half frame, two's complement or already signed
    constants : what the array's calibration memory says
    resolution : converter setting of the half frame, 0 to 3
    Raises : RecordingError if the words are not 832 integers of 16 bits, the thermometer's words
        are zero, so that no temperature follows, or the gain word (0x070A) is zero
    Notes : 3.0 to 3.6 V is the part's range. An error of 0.1 V costs about 0.5 K of ambient and,
        through each pixel's supply drift, several kelvin of object. The chip is some 5 to 10 K
        warmer than the air around it; one kelvin of error here moves an object at 230 C by about
        0.3 K. The gain is within a few percent of 1 in a healthy sensor.
    Source : MLX90640 datasheet, revision 12 (2019), sections 11.2.2.1 to 11.2.2.4
    """
    raw = sixteen_bit_words(ram, what="half frame", start=RAM_START)
    words = np.where(raw > 32767, raw - 65536, raw).astype(np.float64)
    supply, ambient = constants.supply, constants.ambient
    counts = 2.0 ** (supply.resolution - resolution) * words[SUPPLY] - supply.counts_at_reference
    voltage = float(counts / supply.counts_per_v + CALIBRATED_V)
    share = words[PTAT] * ambient.alpha + words[VBE]
    if words[PTAT] == 0 or share == 0.0:
        raise RecordingError(
            "half frame: the thermometer words 0x0720 and 0x0700 are zero; the sensor did not "
            "answer. Discard this half frame."
        )
    counts = words[PTAT] / share * 2.0**18
    counts /= 1.0 + ambient.per_v * (voltage - CALIBRATED_V)
    rise = (counts - ambient.counts_at_reference) / ambient.counts_per_k
    if words[GAIN] == 0:
        raise RecordingError(
            "half frame: the gain word 0x070A is 0 and every pixel is divided by it; "
            "the block was not read whole. Discard this half frame."
        )
    gain = float(constants.gain_word / words[GAIN])
    return ArrayState(words, voltage, float(rise + CALIBRATED_K), gain)


def compensated_signal(
    state: ArrayState, *, constants: ThermopileConstants, subpage: int, pattern: ReadPattern
) -> FloatArray:
    """Return each pixel's signal after gain, offset, drifts, read pattern and blind pixel.

    state : of the half frame
    constants : what the array's calibration memory says
    subpage : 0 or 1: which blind pixel belongs to this half frame
    pattern : in which the half frame was read
    Returns : (24, 32) signal of every pixel [counts], also of those the subpage did not read
    Notes : The maker calibrates in the chess pattern; interleaved frames of such a sensor get three
        stored corrections (IL_CHESS C1 to C3) of some counts, about 0.1 to 0.5 K.
    Source : MLX90640 datasheet, revision 12 (2019), sections 11.2.2.5 to 11.2.2.7
    """
    warm, extra = state.chip_k - CALIBRATED_K, state.supply_v - CALIBRATED_V
    pixels, blind = constants.pixels, constants.compensation
    raw = state.words[: ROWS * COLS].reshape(ROWS, COLS) * state.gain
    signal = raw - pixels.offset * (1.0 + pixels.per_k * warm) * (1.0 + pixels.per_v * extra)
    offset = blind.offset[subpage]
    if pattern != constants.calibrated_pattern:
        signal = signal + _pattern_correction(constants)
        offset += blind.interleaved[0] if subpage == 1 else 0.0
    blind_raw = state.words[BLIND_WORD[subpage]] * state.gain
    blind_signal = blind_raw - offset * (1.0 + blind.per_k * warm) * (1.0 + blind.per_v * extra)
    return np.asarray(signal - blind.gradient * blind_signal, dtype=np.float64)


def compensated_alpha(
    state: ArrayState, *, constants: ThermopileConstants, subpage: int
) -> FloatArray:
    """Return each pixel's sensitivity at the chip's temperature.

    state : of the half frame
    constants : what the array's calibration memory says
    subpage : 0 or 1: whose blind pixel is taken off
    Returns : (24, 32) sensitivity [counts/K4]
    Notes : Some 1e-7 counts/K4 at the centre, a third less at the corners; it falls by 0.2 % a
        kelvin of chip temperature.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.8
    """
    blind, warm = constants.compensation, state.chip_k - CALIBRATED_K
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
    constants : of the array; its ranges are used
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
    constants : what the array's calibration memory says
    subpage : 0 or 1, as in the status register when the half frame was read
    emissivity : emissivity to assume, 0 < eps <= 1; 1 gives apparent temperature
    reflected_k : reflected temperature; the datasheet's default is the chip's less
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
    state = array_state(ram, constants=constants, resolution=setting.resolution)
    chip_k = state.chip_k
    reflected = chip_k - AMBIENT_LESS_REFLECTED_K if reflected_k is None else reflected_k
    signal = compensated_signal(
        state, constants=constants, subpage=subpage, pattern=setting.pattern
    )
    alpha = compensated_alpha(state, constants=constants, subpage=subpage)
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


def saturated_pixels(ram: ArrayLike) -> BoolArray:
    """Return the pixels whose word stands at an end of the converter.

    ram : (832,) raw half frame
    Returns : (24, 32) true at 0x7FFF and 0x8000: at least this hot, or at most this cold
    Notes : A clipped word still converts to a finite temperature; this mask says that it is a
        bound.
    """
    words = sixteen_bit_words(ram, what="half frame", start=RAM_START)
    pixels = words[: ROWS * COLS].reshape(ROWS, COLS)
    return np.asarray((pixels == 0x7FFF) | (pixels == 0x8000), dtype=np.bool_)


def stuck_pixels(rams: ArrayLike, *, at_least: int = 8) -> BoolArray:
    """Return the pixels whose word never changes while the array's others do.

    rams : (time, 832) raw half frames of one recording
    at_least : fewest half frames that such a judgement needs
    Returns : (24, 32) true at stuck pixels; none in a shorter recording, and none where
        over a tenth of the array stands still: that is a replay or a frozen block
    Notes : Noise is 2 to 5 counts, so that a healthy pixel keeps one word through 8 reads with a
        chance under 1e-4. Each subpage is refreshed in every second half frame, hence twice
        ``at_least`` half frames are asked for.
    """
    words = np.asarray(rams)[:, : ROWS * COLS]
    if words.shape[0] < 2 * at_least:
        return np.zeros((ROWS, COLS), dtype=np.bool_)
    still = np.asarray(np.all(words == words[0], axis=0), dtype=np.bool_)
    if np.mean(still) > 0.1:  # the block is replayed or frozen: no fault of single pixels
        return np.zeros((ROWS, COLS), dtype=np.bool_)
    return still.reshape(ROWS, COLS)


def updated_subpage(
    ram: ArrayLike, *, previous: ArrayLike, pattern: ReadPattern = "chess"
) -> int | None:
    """Return which subpage a half frame renewed, judged by the words that changed.

    ram, previous : (832,) a half frame and the one read before it
    pattern : "chess" or "interleaved": how the array was set to read
    Returns : 0 or 1; None when the changes do not tell (no change at all, or both halves changed
        because a read was missed)
    Notes : A half counts as renewed when over 30 % of its words changed and as kept when under 1 %
        did; noise of 2 to 5 counts changes 80 to 90 %.
    """
    changed = (np.asarray(ram) != np.asarray(previous))[: ROWS * COLS].reshape(ROWS, COLS)
    share = [
        float(np.mean(changed[subpage_mask(ROWS, cols=COLS, pattern=pattern, subpage=half)]))
        for half in (0, 1)
    ]
    if share[0] > 0.3 and share[1] < 0.01:
        return 0
    if share[1] > 0.3 and share[0] < 0.01:
        return 1
    return None


def confirm_subpage(
    ram: ArrayLike, *, previous: ArrayLike, stated: int, pattern: ReadPattern = "chess"
) -> None:
    """Refuse a half frame whose stated subpage contradicts the words that changed.

    ram, previous : (832,) a half frame and the one read before it
    stated : the subpage in the status word stored with the half frame
    pattern : "chess" or "interleaved": how the array was set to read
    Returns : nothing, where the words agree or do not tell
    Raises : RecordingError if the other half of the pixels was renewed
    Notes : A wrong subpage converts stale pixels with the wrong blind pixel and calls them fresh;
        with the maker's typical constants that is 0.1 to 1 K and one turn of delay.
    """
    renewed = updated_subpage(ram, previous=previous, pattern=pattern)
    if renewed is not None and renewed != stated:
        raise RecordingError(
            f"half frame: its status says subpage {stated}, but the pixels of subpage {renewed} "
            f"changed ({pattern} pattern). Status and words were read at different turns, or "
            "the read pattern is not the one stated; read both in one go."
        )
