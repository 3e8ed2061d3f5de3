"""What a bench sheet says for the calibration: marks, targets, patches, even scenes, clocks."""

from __future__ import annotations

from pydantic import Field

from trivet.records.figures import (
    Duration,
    Fraction,
    Length,
    LengthOrZero,
    PositiveFraction,
    PositiveLength,
    Temperature,
    figure,
)
from trivet.records.part import Part


class SheetMark(Part):
    """A point of the cooktop that was pointed at in a picture of a head."""

    head: str = ""
    """The head whose picture it is; the only one when left out."""
    row: float
    """Where it is seen, counted from 0 in the middle of the first row."""
    col: float
    """The same across."""
    x_m: Length
    """Where it lies on the cooktop, to the right of its middle."""
    y_m: Length
    """The same, away from the cook."""
    height_m: LengthOrZero = figure("0 mm", "length")
    """Over the cooktop."""
    u_px: float = Field(default=0.5, gt=0.0)
    """Standard uncertainty of the pointing, in pixels."""


class SheetTarget(Part):
    """A bare element or a warm disc of known place, to find out where a head looks."""

    burner: str | None = None
    """The burner whose middle it lies on."""
    x_m: Length = figure("0 mm", "length")
    """Its middle: off the burner's, or off the cooktop's middle where no burner is given."""
    y_m: Length = figure("0 mm", "length")
    """The same, away from the cook."""
    height_m: LengthOrZero = figure("0 mm", "length")
    """Of its face over the cooktop."""
    diameter_m: PositiveLength
    """Across."""
    u_m: PositiveLength = figure("1 mm", "length")
    """Standard uncertainty of its place in each direction."""


class SheetPatch(Part):
    """A patch of low emissivity and known temperature, which shows what the pans mirror."""

    x_m: Length
    """Its middle on the cooktop, to the right of the cooktop's middle."""
    y_m: Length
    """The same, away from the cook."""
    diameter_m: PositiveLength
    """Across."""
    emissivity_frac: Fraction
    """Its emissivity, with its range; under 0.5."""
    probe: str
    """Column of the probe that touches it; ``housing`` where it is part of the sensor's housing."""


class SheetFlat(Part):
    """A time in which one surface of even, known temperature filled the head's whole view."""

    head: str = ""
    """The head; the only one when left out."""
    from_s: Duration
    """Its begin, on the frames' clock."""
    to_s: Duration
    """Its end."""
    temperature_k: Temperature
    """Of the surface, with its range."""
    emissivity_frac: PositiveFraction = figure("0.97", "fraction")
    """Of the surface."""


class SheetShared(Part):
    """A moment that frames and probe log both show without heat: a lid clapped shut, a plug."""

    frames_s: Duration
    """On the frames' clock."""
    log_s: Duration
    """On the probe log's clock."""
