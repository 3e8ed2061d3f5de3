"""What the design says of the firmware: its reporter, its budget and its processor."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from trivet.records.figures import Figure, Power, Quantity
from trivet.records.part import Part

Count = Annotated[Figure, Quantity("number", gt=0)]


class Firmware(Part):
    """What the firmware may take, and what it runs on."""

    reporter: Literal["mean", "trimmed", "upper-half"] = "mean"
    """What it makes of a pan's pixels: the mean, that of the middle 80 %, or that of the upper
    half."""
    flash_bytes: int | None = Field(default=None, ge=1)
    """Bytes of code and constants that it may take; not checked when left out."""
    ram_bytes: int | None = Field(default=None, ge=1)
    """Bytes of memory that it may take; not checked when left out."""
    most_instructions: int | None = Field(default=None, ge=1)
    """Instructions that one frame may take; not checked when left out."""
    frame_instructions: Count | None = None
    """Instructions for one frame of all heads, as the hand-off counts them or as measured."""
    instructions_per_s: Count | None = None
    """Instructions that the processor runs in a second."""
    computing_w: Power | None = None
    """What the processor draws more while it computes than while it waits for the sensor."""
