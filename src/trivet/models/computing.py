"""What computing draws, from the firmware table of a design."""

from __future__ import annotations

from trivet.records.design import Design


def frames_w(design: Design) -> float:
    """Return the mean power of computing frames; 0 where the firmware table leaves it open."""
    one = design.firmware
    if one.frame_instructions is None or one.instructions_per_s is None or one.computing_w is None:
        return 0.0
    rate = max(float(design.card(head).frame_rate_hz) for head in design.heads)
    busy = rate * float(one.frame_instructions) / float(one.instructions_per_s)
    return float(one.computing_w) * busy
