"""What the design says of many units: how they differ, and what calibration does about it."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import Field

from trivet.records.figures import (
    Amount,
    AngleOrZero,
    DifferenceOrZero,
    Duration,
    Figure,
    Fraction,
    LengthOrZero,
    NumberOrZero,
    Quantity,
    Temperature,
    figure,
)
from trivet.records.part import Part
from trivet.records.requirement import Of

Coefficient = Annotated[Figure, Quantity("number", ge=-1, le=1)]


class Population(Part):
    """How units differ from one another, in half-widths; left out: as card and mount say."""

    offset_delta_k: DifferenceOrZero | None = None
    """Half-width of the sensor's offset from unit to unit; the card's accuracy if left out."""
    gain_frac: Fraction | None = None
    """Half-width of the sensor's gain error from unit to unit; the card's if left out."""
    blur_px: NumberOrZero | None = None
    """Half-width of the blur about the card's value; the card's range if left out."""
    transmittance_frac: Fraction | None = None
    """Half-width of the window's transmittance from lot to lot; its range if left out."""
    position_tolerance_m: LengthOrZero | None = None
    """Half-width of each coordinate of the mount; the mount's own if left out."""
    angle_tolerance_rad: AngleOrZero | None = None
    """Half-width of each angle of the mount; the mount's own if left out."""


class EndOfLine(Part):
    """A calibration of every unit before a black body at the end of the line."""

    points_k: tuple[Temperature, ...] = Field(min_length=1, max_length=8)
    """Temperatures of the black body; one takes out an offset, two and more a slope too."""
    fixture_u95_delta_k: DifferenceOrZero = figure("1 K", "difference")
    """Half-width at 95 % of the black body's own temperature, anew for each unit and point."""
    time_s: Duration
    """Time for one unit."""
    cost: Amount
    """Cost of calibrating one unit."""
    reject_limit_delta_k: DifferenceOrZero = figure("10 K", "difference")
    """A unit that errs by more than this at any point as found is thrown away."""
    remaining_frac: Fraction = figure("25 %", "fraction")
    """Share of the offset that one housing temperature does not show and that comes back."""
    through_window: bool = True
    """Whether the unit looks at the black body through its own window."""


class FieldRecalibration(Part):
    """A reading that the product takes against something known in the kitchen."""

    point_k: Temperature
    """Temperature of what is known, e.g. boiling water."""
    of: Of = "liquid"
    """What the temperature is of."""
    u95_delta_k: DifferenceOrZero = figure("2 K", "difference")
    """Half-width at 95 % of how well it is known, steam and film included."""
    every_s: Duration = figure("30 day", "time")
    """Time between two such readings."""


class DeclaredCorrelation(Part):
    """Two terms of the error budget that err together."""

    first: str
    """Name of a term, as the budget prints it."""
    second: str
    """Name of the other term."""
    coefficient: Coefficient
    """Correlation coefficient."""
    note: str = ""
    """Why."""


class Option(Part):
    """A change that the team could make: what would it help?"""

    name: str
    """Its name."""
    set: dict[str, Any] = Field(min_length=1)
    """Keys of this file, joined by dots, and their values; entries of lists by name or place."""
    note: str = ""
    """A remark."""
