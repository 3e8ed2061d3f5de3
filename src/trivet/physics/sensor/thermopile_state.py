"""The state of a thermopile array in a half frame: supply, chip temperature, gain, readout.

Steps follow the MLX90640 datasheet, revision 12 (December 2019), section 11.2 (temperature
calculation); the numbers of its subsections are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trivet.arrays import FloatArray
from trivet.constants import ZERO_C_K
from trivet.errors import RecordingError
from trivet.physics.sensor.halfframes import PATTERNS, ReadPattern
from trivet.physics.sensor.thermopile_memory import ThermopileConstants, sixteen_bit_words

RAM_START = 0x0400
REFERENCE_V = 3.3
REFERENCE_K = 25.0 + ZERO_C_K
VBE, GAIN, PTAT, SUPPLY = 768, 778, 800, 810  # 0x0700, 0x070A, 0x0720, 0x072A


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


def supply_voltage_v(
    ram: ArrayLike, *, constants: ThermopileConstants, resolution: int = 2
) -> float:
    """Return the sensor's supply voltage.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    resolution : converter setting of the half frame, 0 to 3
    Returns : supply voltage [V]
    Notes : 3.0 to 3.6 V is the part's range. An error of 0.1 V costs about 0.5 K of ambient and,
        through each pixel's supply drift, several kelvin of object.
    Source : MLX90640 datasheet, revision 12 (2019), sections 11.2.2.1 and 11.2.2.2
    """
    words = signed_ram(ram)
    correction = 2.0 ** (constants.supply.resolution - resolution)
    counts = correction * words[SUPPLY] - constants.supply.counts_at_reference
    return float(counts / constants.supply.counts_per_v + REFERENCE_V)


def ambient_temperature_k(
    ram: ArrayLike, *, constants: ThermopileConstants, resolution: int = 2
) -> float:
    """Return the temperature of the sensor's own chip.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    resolution : converter setting of the half frame, 0 to 3
    Returns : chip temperature [K]
    Raises : RecordingError if the thermometer's words are zero, so that no temperature follows
    Notes : The chip is some 5 to 10 K warmer than the air around it. One kelvin of error here moves
        an object at 230 C by about 0.3 K.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.3
    """
    words = signed_ram(ram)
    voltage = supply_voltage_v(ram, constants=constants, resolution=resolution)
    share = words[PTAT] * constants.ambient.alpha + words[VBE]
    if words[PTAT] == 0 or share == 0.0:
        raise RecordingError(
            "half frame: the thermometer words 0x0720 and 0x0700 are zero; the sensor did not "
            "answer. Discard this half frame."
        )
    counts = words[PTAT] / share * 2.0**18
    counts /= 1.0 + constants.ambient.per_v * (voltage - REFERENCE_V)
    rise = (counts - constants.ambient.counts_at_reference) / constants.ambient.counts_per_k
    return float(rise + REFERENCE_K)


def gain_factor(ram: ArrayLike, *, constants: ThermopileConstants) -> float:
    """Return the factor that undoes the amplifier's drift since calibration.

    ram : (832,) raw half frame
    constants : from :func:`calibration_memory`
    Returns : stored gain word over the half frame's
    Raises : RecordingError if the half frame's gain word (0x070A) is zero
    Notes : Within a few percent of 1 in a healthy sensor.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2.2.4
    """
    word = signed_ram(ram)[GAIN]
    if word == 0:
        raise RecordingError(
            "half frame: the gain word 0x070A is 0 and every pixel is divided by it; "
            "the block was not read whole. Discard this half frame."
        )
    return float(constants.gain_word / word)


def signed_ram(ram: ArrayLike) -> FloatArray:
    """Return a half frame's 832 words as signed values.

    ram : (832,) raw half frame, two's complement or already signed
    Returns : (832,) signed words, -32768 to 32767
    Raises : RecordingError if the words are not 832 integers of 16 bits
    Notes : Every word of a half frame is two's complement, the gain's too.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2
    """
    words = sixteen_bit_words(ram, what="half frame", start=RAM_START)
    return np.where(words > 32767, words - 65536, words).astype(np.float64)


def drift_inputs(
    ram: ArrayLike, *, constants: ThermopileConstants, resolution: int
) -> tuple[float, float]:
    """Return how far chip and supply stand from where the constants hold.

    ram : (832,) raw half frame
    constants : from the calibration memory
    resolution : converter setting of the half frame, 0 to 3
    Returns : (float, float) chip temperature above 25 C [K] and supply above 3.3 V [V]
    Notes : Some 5 to 40 K and under 0.3 V in a healthy head.
    Source : MLX90640 datasheet, revision 12 (2019), section 11.2
    """
    chip_k = ambient_temperature_k(ram, constants=constants, resolution=resolution)
    voltage = supply_voltage_v(ram, constants=constants, resolution=resolution)
    return chip_k - REFERENCE_K, voltage - REFERENCE_V
