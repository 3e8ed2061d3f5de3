"""The pose search: which parameters of which heads are free, and what a pose must reach."""

from __future__ import annotations

from pydantic import Field

from trivet.records.figures import (
    Angle,
    AngleOrZero,
    Length,
    LengthOrZero,
    NumberOrZero,
    Part,
    PositiveLength,
    figure,
)


class Move(Part):
    """How one head may be moved.

    A parameter is free when its figure has a range; one left out keeps the mount's value.
    """

    head: str = ""
    """Head that may move; the first when empty."""
    x_m: Length | None = None
    """Range of the lens, to the right of the middle."""
    y_m: Length | None = None
    """Range of the lens, away from the cook."""
    height_m: PositiveLength | None = None
    """Range of the height of the lens over the cooktop plane."""
    tilt_rad: Angle | None = None
    """Range of the tilt from straight down towards the back."""
    pan_rad: Angle | None = None
    """Range of the turn about the vertical, counter-clockwise seen from above."""
    roll_rad: Angle | None = None
    """Range of the turn about the optical axis."""


class Search(Move):
    """Which parameters of the heads' poses may be changed, and what a pose must reach."""

    others: tuple[Move, ...] = Field(default=(), max_length=3)
    """Heads that move at the same time, each with its own free parameters."""
    sensors: tuple[str, ...] = ()
    """Sensor cards to try in all moving heads, each with its lens; their own when empty."""
    pans: tuple[str, ...] = ()
    """Pans whose rim must lie in the field; all when empty."""
    margin_m: LengthOrZero = figure("10 mm", "length", origin="standard", note="as for coverage")
    """Ring around the rim that must be seen too."""
    min_pixels_across: NumberOrZero = figure("0", "number")
    """Fewest pixels across any of those pans."""
    max_angle_rad: AngleOrZero = figure("55 deg", "angle", note="water holds to about 65 deg")
    """Steepest view of a pan's centre, from the vertical."""
