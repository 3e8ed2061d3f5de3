"""How soon the sensors of a design see, how long they settle, what computing frames draws."""

from __future__ import annotations

import math

from trivet.records.design import Design


def frame_s(design: Design) -> float:
    """Return the time from the first order to the first whole frame of the slowest head. [s]

    A card with half frames refreshes every pixel once a whole frame, so that one
    frame at the card's rate is enough.
    """
    stated = design.wake.first_frame_s
    if stated is not None:
        return float(stated)
    return max(1.0 / float(design.card(head).frame_rate_hz) for head in design.heads)


def settling_of(design: Design) -> tuple[float, float]:
    """Return settling time [s] and offset after waking [K] of the worst head.

    Time 0 where no card states one; the offset is the larger end of its range, NaN
    where a card settles by an unknown amount.
    """
    cards = [design.card(head) for head in design.heads]
    settling = [card for card in cards if card.settle_s is not None and float(card.settle_s) > 0.0]
    if not settling:
        return 0.0, 0.0
    slowest = max(settling, key=lambda card: float(card.settle_s or 0.0))
    offset = slowest.settle_delta_k
    if offset is None:
        return float(slowest.settle_s or 0.0), math.nan
    most = max(abs(float(offset)), abs(offset.low or 0.0), abs(offset.high or 0.0))
    return float(slowest.settle_s or 0.0), most


def frames_w(design: Design) -> float:
    """Return the mean power of computing frames; 0 where the firmware table leaves it open."""
    one = design.firmware
    if one.frame_instructions is None or one.instructions_per_s is None or one.computing_w is None:
        return 0.0
    rate = max(float(design.card(head).frame_rate_hz) for head in design.heads)
    busy = rate * float(one.frame_instructions) / float(one.instructions_per_s)
    return float(one.computing_w) * busy
