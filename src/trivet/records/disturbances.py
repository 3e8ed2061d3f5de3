"""What may go wrong or move in a simulated cook, declared beforehand: faults, moves, mismatch."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from trivet.records.figures import (
    Angle,
    Difference,
    Duration,
    Fraction,
    Length,
    Number,
    NumberOrZero,
    SignedDuration,
    figure,
)
from trivet.records.part import Part


class PanMove(Part):
    """A pan is pushed to another place on the hob."""

    burner: str
    """Burner on which the pan was put."""
    at_s: Duration
    """When it is pushed."""
    x_m: Length = figure("0 mm", "length")
    """How far, to the right."""
    y_m: Length = figure("0 mm", "length")
    """How far, away from the cook."""


class Stretch(Part):
    """A stretch of time."""

    at_s: Duration
    """Its beginning."""
    for_s: Duration
    """How long it lasts."""


class DeadPixel(Part):
    """A pixel that never has a value."""

    row: int = Field(ge=0)
    """Its row, counted from 0."""
    col: int = Field(ge=0)
    """Its column, counted from 0."""
    sensor_head: str = ""
    """The head that has it; every head when empty."""


class SensorFaults(Part):
    """Faults of the sensor and its reader that a cook is to have; none by default."""

    dropped_frac: Fraction = figure("0 %", "fraction")
    """Share of frames that are lost, at random."""
    gaps: tuple[Stretch, ...] = ()
    """Stretches in which every frame is lost."""
    stuck: tuple[Stretch, ...] = ()
    """Stretches in which the last frame is repeated pixel for pixel."""
    dead_pixels: tuple[DeadPixel, ...] = ()
    """Pixels without a value."""
    clock_jitter_s: Duration = figure("0 s", "time")
    """Standard deviation of a frame's stamped moment."""
    clock_drift_frac: Number = figure("0", "number")
    """What the sensor's clock gains over true time, as a share."""


class ProbeFault(Part):
    """A fault of one reference probe."""

    probe: str
    """Its column in the log."""
    kind: Literal["open", "swapped", "displaced", "loose", "clock"]
    """Open circuit; poles swapped; moved to another place; lifted off; a clock that is wrong."""
    at_s: Duration = figure("0 s", "time")
    """From this moment on; a clock is wrong from the start."""
    until_s: Duration | None = None
    """Until then; to the end when left out."""
    x_m: Length = figure("0 mm", "length")
    """Of a displaced probe: how far it moves, along x."""
    y_m: Length = figure("0 mm", "length")
    """Of a displaced probe: how far it moves, along y."""
    clock_s: SignedDuration = figure("0 s", "time")
    """Of a wrong clock: what it is fast."""
    clock_drift_frac: Number = figure("0", "number")
    """Of a wrong clock: what it gains, as a share of time."""


class Mismatch(Part):
    """Physics that differs from the nominal beyond its spread, in ways that are declared.

    With it a claim can be repeated under a simulator that is wrong; every change is
    written into the recording's notes.
    """

    film_thickness_scale: NumberOrZero = figure("1", "number")
    """Factor on the thickness of oil films, for the radiation only."""
    film_absorption_scale: NumberOrZero = figure("1", "number")
    """Factor on the absorption index of oil films."""
    emissivity_scale: NumberOrZero = figure("1", "number")
    """Factor on the emissivity of all that lies in a pan; the result stays below 1."""
    blur_scale: NumberOrZero = figure("1", "number")
    """Factor on the blur."""
    halo_frac: Fraction = figure("0 %", "fraction")
    """Share of every pixel's signal that comes from a wide surround."""
    halo_px: NumberOrZero = figure("4", "number")
    """Standard deviation of that surround, in pixels."""
    contact_scale: NumberOrZero = figure("1", "number")
    """Factor on the contact between pan and food."""
    plume_scale: NumberOrZero = figure("1", "number")
    """Factor on the water in the steam."""
    gain_frac: Number = figure("0", "number")
    """Added to the unit's gain error."""
    offset_delta_k: Difference = figure("0 K", "difference")
    """Added to the unit's offset error."""
    shift_x_m: Length = figure("0 mm", "length")
    """The head hangs this much farther to the right than its unit was mounted."""
    shift_y_m: Length = figure("0 mm", "length")
    """The same, away from the cook."""
    turn_rad: Angle = figure("0 deg", "angle")
    """The head is tilted this much more."""

    def changes(self) -> dict[str, str]:
        """Return what differs from the nominal: key and value as written."""
        nominal = Mismatch()
        return {
            name: getattr(self, name).text
            for name in type(self).model_fields
            if float(getattr(self, name)) != float(getattr(nominal, name))
        }


class Face(Part):
    """The cook's face leans over a burner: it hides the pan and is mirrored in it."""

    at_s: Duration
    """When it comes."""
    for_s: Duration = figure("3 s", "time")
    """How long it stays."""
    burner: str = ""
    """Over which burner; the first of the cook when empty."""
