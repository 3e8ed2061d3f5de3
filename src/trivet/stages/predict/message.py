"""The radio message to the byte, and what it costs."""

from __future__ import annotations

from trivet.constants import DAY_S
from trivet.errors import InputError
from trivet.physics.economics.payload import BitField, airtime_s, payload_bytes
from trivet.records.business_result import Message
from trivet.records.design import Design
from trivet.records.energy import Radio


def bit_fields(design: Design, *, radio: Radio) -> tuple[BitField, ...]:
    """Return the fields of one message in the order of sending, burner by burner.

    Parameters
    ----------
    design : Design
        Burners.
    radio : Radio
        What a message says.

    Returns
    -------
    tuple of BitField
        Fields of the whole message first, then those of each burner.
    """
    whole = [one for one in radio.fields if not one.each_burner]
    each = [one for one in radio.fields if one.each_burner]
    rows = [(one, one.name) for one in whole]
    rows += [(one, f"{one.name} of {burner.name}") for burner in design.burners for one in each]
    return tuple(
        BitField(name, one.bits, float(one.low), float(one.high), float(one.step))
        for one, name in rows
    )


def sized_message(design: Design, *, running_s: float) -> Message | None:
    """Return the size, airtime and energy of a message; None without a radio table.

    Parameters
    ----------
    design : Design
        Radio, burners, time between messages.
    running_s : float
        Time a day in which messages are sent. [s]

    Returns
    -------
    Message or None
        Exact bytes; energy by airtime and joining, whatever the battery table says.
    """
    radio = design.radio
    if radio is None:
        return None
    fields = bit_fields(design, radio=radio)
    size = payload_bytes(fields, header_bytes=radio.header_bytes)
    on_air = airtime_s(
        size,
        bit_rate_bps=float(radio.bit_rate_bps),
        overhead_bytes=radio.overhead_bytes,
        repeats=radio.repeats,
    )
    energy = on_air * float(radio.send_w) + float(radio.connect_s) * float(radio.connect_draw_w)
    every = float(design.battery.message_every_s)
    sent = min(running_s, DAY_S) / every if every > 0.0 else 0.0
    return Message(
        payload_bytes=size,
        air_bytes=(size + radio.overhead_bytes) * radio.repeats,
        airtime_s=on_air,
        energy_j=energy,
        j_per_day=energy * sent,
        fits=size <= radio.most_bytes,
        fields=tuple((one.name, one.bits) for one in fields),
    )


def message_j(design: Design) -> float:
    """Return the energy of one message: that of the battery table, else by airtime. [J]"""
    stated = design.battery.message_j
    if stated is not None:
        return float(stated)
    message = sized_message(design, running_s=0.0)
    if message is None:
        raise InputError(
            "battery: neither 'message' nor a [radio] table says what a message costs; give one"
        )
    return message.energy_j
