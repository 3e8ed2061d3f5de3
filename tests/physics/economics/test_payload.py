"""Messages to the byte: sizes by counting, values by hand, everything else refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from trivet.errors import InputError, OutOfRangeError
from trivet.physics.economics.payload import BitField, airtime_s, packed, payload_bytes, unpacked

BURNER = [
    BitField("temperature", 16, -100.0, 500.0, 0.1),
    BitField("half_width", 8, 0.0, 51.0, 0.2),
    BitField("state", 8, 0.0, 255.0),
    BitField("flags", 8, 0.0, 255.0),
]


def test_four_burners_take_24_bytes():
    # By counting: 4 x (16 + 8 + 8 + 8) bits = 160 bits = 20 bytes, and 4 of header.
    fields = [
        BitField(f"{one.name} {n}", one.bits, one.low, one.high, one.step)
        for n in range(4)
        for one in BURNER
    ]
    assert payload_bytes(fields, header_bytes=4) == 24


def test_a_whole_picture_takes_1536_bytes():
    # By counting: 32 x 24 pixels of 16 bits.
    pixels = [BitField(f"p{n}", 16, 0.0, 65535.0) for n in range(768)]
    assert payload_bytes(pixels) == 1536


def test_odd_bits_fill_up_to_whole_bytes():
    assert [payload_bytes([BitField("x", bits, 0, 1)]) for bits in (1, 8, 9, 16, 17)] == [
        1, 1, 2, 2, 3,
    ]  # fmt: skip
    assert payload_bytes([]) == 0


def test_bits_by_hand():
    # 3 bits of 5 = 101, then 5 bits of (2.5 - 0) / 0.5 = 5 = 00101: 1010 0101 = 0xA5.
    fields = [BitField("a", 3, 0, 7), BitField("b", 5, 0, 15.5, 0.5)]
    assert packed({"a": 5, "b": 2.5}, fields=fields) == b"\xa5"
    # 9 bits of 256 = 1 0000 0000, filled with zeros: 0x80 0x00.
    assert packed({"a": 256}, fields=[BitField("a", 9, 0, 511)]) == b"\x80\x00"


@given(st.floats(-100.0, 500.0), st.floats(0.0, 51.0), st.integers(0, 255), st.integers(0, 255))
def test_there_and_back_within_half_a_step(temperature, half, state, flags):
    values = {"temperature": temperature, "half_width": half, "state": state, "flags": flags}
    read = unpacked(packed(values, fields=BURNER), fields=BURNER)
    for one in BURNER:
        assert abs(read[one.name] - values[one.name]) <= one.step / 2 * (1 + 1e-6)


@pytest.mark.parametrize("value", [-100.06, 500.06, 1e9, float("nan"), float("inf")])
def test_a_value_out_of_range_is_refused_never_clipped(value):
    values = {"temperature": value, "half_width": 1.0, "state": 0, "flags": 0}
    with pytest.raises(OutOfRangeError, match="temperature"):
        packed(values, fields=BURNER)


def test_a_range_that_does_not_fit_its_bits_is_refused():
    # -100 to 500 in 0.1: 6,001 codes; 12 bits hold 4,096, 13 hold 8,192.
    with pytest.raises(OutOfRangeError, match=r"6001 codes; 12 bits hold 4096"):
        payload_bytes([BitField("t", 12, -100.0, 500.0, 0.1)])
    assert payload_bytes([BitField("t", 13, -100.0, 500.0, 0.1)]) == 2
    assert payload_bytes([BitField("t", 8, 0, 255)]) == 1
    with pytest.raises(OutOfRangeError):
        payload_bytes([BitField("t", 8, 0, 256)])


def test_bad_fields_and_data_are_refused():
    with pytest.raises(OutOfRangeError, match="low 1"):
        payload_bytes([BitField("t", 8, 1, 0)])
    with pytest.raises(OutOfRangeError, match="step"):
        payload_bytes([BitField("t", 8, 0, 1, 0.0)])
    with pytest.raises(InputError, match="twice"):
        payload_bytes([BitField("t", 8, 0, 1), BitField("t", 8, 0, 1)])
    with pytest.raises(InputError, match=r"no value for state, flags.*no field for other"):
        packed({"temperature": 0, "half_width": 0, "other": 1}, fields=BURNER)
    with pytest.raises(InputError, match="5"):
        unpacked(b"\x00" * 4, fields=BURNER)
    with pytest.raises(InputError, match="filling"):
        unpacked(b"\x01", fields=[BitField("a", 3, 0, 7)])


def test_airtime_is_bits_over_rate():
    # By hand: (24 + 16) x 8 x 3 / 1e6 = 0.96 ms.
    assert airtime_s(24, bit_rate_bps=1e6, overhead_bytes=16, repeats=3) == pytest.approx(0.96e-3)
    with pytest.raises(OutOfRangeError):
        airtime_s(24, bit_rate_bps=0.0)
