"""Messages to the byte: fields as whole steps in bits, packed without gaps."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from trivet.errors import InputError, OutOfRangeError

ROUNDING = 1e-9  # own estimate: of a step; far above the rounding of a double


@dataclass(frozen=True)
class BitField:
    """One number of a message: ``low + step x code``, the code in ``bits`` bits.

    ``high`` is the largest value that may be sent; ``name`` may end in a number
    where a message has one for every burner.
    """

    name: str
    bits: int
    low: float
    high: float
    step: float = 1.0

    @property
    def most_code(self) -> int:
        """The code of the largest value."""
        return math.floor((self.high - self.low) / self.step + 0.5 - ROUNDING)


def _checked(fields: Sequence[BitField]) -> None:
    names = [one.name for one in fields]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"payload: field {twice[0]!r} stands twice; give each a name of its own")
    for one in fields:
        if not (1 <= one.bits <= 64 and one.step > 0.0):
            raise OutOfRangeError(
                f"payload field {one.name}: {one.bits} bits in steps of {one.step}; "
                "allowed 1 to 64 bits and a step above 0"
            )
        if not one.low <= one.high:
            raise OutOfRangeError(
                f"payload field {one.name}: low {one.low} is above high {one.high}"
            )
        if one.most_code >= 2**one.bits:
            raise OutOfRangeError(
                f"payload field {one.name}: {one.low} to {one.high} in steps of {one.step} needs "
                f"{one.most_code + 1} codes; {one.bits} bits hold {2**one.bits}"
            )


def payload_bytes(fields: Sequence[BitField], *, header_bytes: int = 0) -> int:
    """Return the size of a message: header and fields, filled up to whole bytes.

    Parameters
    ----------
    fields : sequence of BitField
        In the order of sending.
    header_bytes : int
        Bytes before the fields. [byte]

    Returns
    -------
    int
        Size. [byte]

    Raises
    ------
    OutOfRangeError
        If a field's range does not fit its bits, or the header is negative.
    InputError
        If two fields have one name.

    Notes
    -----
    Exact. Four burners of 16 + 8 + 8 + 8 bits and 4 bytes of header are 24 bytes;
    a whole 32 x 24 picture of 16 bits is 1,536.
    """
    _checked(fields)
    if header_bytes < 0:
        raise OutOfRangeError(f"header_bytes is {header_bytes}: allowed 0 or more")
    return header_bytes + (sum(one.bits for one in fields) + 7) // 8


def packed(values: Mapping[str, float], *, fields: Sequence[BitField]) -> bytes:
    """Return the bytes of one message's fields, most significant bit first.

    Parameters
    ----------
    values : mapping of str to float
        One value for each field, in its own unit.
    fields : sequence of BitField
        In the order of sending.

    Returns
    -------
    bytes
        Without the header; the last byte is filled with zeros.

    Raises
    ------
    OutOfRangeError
        If a value lies outside its field's range: nothing is clipped.
    InputError
        If a value is missing or has no field.

    Notes
    -----
    Rounded to the nearest step, halves up: off by half a step at most.

    References
    ----------
    Fixed-width fields, common practice.
    """
    _checked(fields)
    unknown = sorted(set(values) - {one.name for one in fields})
    missing = [one.name for one in fields if one.name not in values]
    if unknown or missing:
        raise InputError(
            f"payload: no value for {', '.join(missing) or 'nothing'}; "
            f"no field for {', '.join(unknown) or 'nothing'}"
        )
    word = 0
    for one in fields:
        value = float(values[one.name])
        slack = ROUNDING * one.step
        if not one.low - slack <= value <= one.high + slack:
            raise OutOfRangeError(
                f"payload field {one.name}: {value} is outside {one.low} to {one.high}"
            )
        code = min(math.floor((value - one.low) / one.step + 0.5 + ROUNDING), one.most_code)
        word = word << one.bits | max(code, 0)
    bits = sum(one.bits for one in fields)
    size = (bits + 7) // 8
    return (word << (8 * size - bits)).to_bytes(size, "big")


def unpacked(data: bytes, *, fields: Sequence[BitField]) -> dict[str, float]:
    """Return the values of one message's fields.

    Parameters
    ----------
    data : bytes
        Without the header.
    fields : sequence of BitField
        In the order of sending.

    Returns
    -------
    dict of str to float
        Values in the fields' own units.

    Raises
    ------
    InputError
        If the data are not as long as the fields say, or the filling is not zero.

    Notes
    -----
    Gives back what was packed to half a step.

    References
    ----------
    Inverse of :func:`packed`.
    """
    size = payload_bytes(fields)
    if len(data) != size:
        raise InputError(f"payload: {len(data)} bytes; the fields take {size}")
    spare = 8 * size - sum(one.bits for one in fields)
    word = int.from_bytes(data, "big")
    if word & ((1 << spare) - 1):
        raise InputError("payload: the filling bits at the end are not zero")
    word >>= spare
    values: dict[str, float] = {}
    for one in reversed(fields):
        values[one.name] = one.low + one.step * (word & ((1 << one.bits) - 1))
        word >>= one.bits
    return {one.name: values[one.name] for one in fields}


def airtime_s(
    payload: int, *, bit_rate_bps: float, overhead_bytes: int = 0, repeats: int = 1
) -> float:
    """Return how long a message is on the air.

    Parameters
    ----------
    payload : int
        Payload. [byte]
    bit_rate_bps : float
        Bits a second on the air, above 0. [bit/s]
    overhead_bytes : int
        Preamble, address and check. [byte]
    repeats : int
        How often it goes out. [-]

    Returns
    -------
    float
        Time with the sender on. [s]

    Raises
    ------
    OutOfRangeError
        If the bit rate is not positive or a count is negative.

    Notes
    -----
    24 bytes and 16 of overhead on three channels at 1 Mbit/s: 0.96 ms.
    """
    if not bit_rate_bps > 0.0 or min(payload, overhead_bytes, repeats) < 0:
        raise OutOfRangeError(
            f"bit rate {bit_rate_bps} bit/s, {payload} and {overhead_bytes} bytes, {repeats} "
            "times: allowed a rate above 0 and counts of 0 or more"
        )
    return 8.0 * (payload + overhead_bytes) * repeats / bit_rate_bps
