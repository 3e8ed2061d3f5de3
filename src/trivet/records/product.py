"""What the design says of the product's own working: readings, alerts, firmware, many units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field

from trivet.records.figures import (
    Amount,
    AngleOrZero,
    Broken,
    DifferenceOrZero,
    Duration,
    Figure,
    Fraction,
    LengthOrZero,
    NumberOrZero,
    Part,
    Power,
    Quantity,
    Temperature,
    figure,
    twice,
)
from trivet.records.requirement import Of


class PresenceChannel(Part):
    """How the product knows that somebody is in the kitchen: a sensor with errors of its own."""

    name: str
    """What it is."""
    period_s: Annotated[Figure, Quantity("time", gt=0)] = figure("2 s", "time")
    """Time between two answers."""
    miss_frac: Fraction = figure("5 %", "fraction")
    """Share of answers that miss somebody who is there."""
    false_frac: Fraction = figure("1 %", "fraction")
    """Share of answers that see somebody where nobody is."""
    hold_s: Duration = figure("20 s", "time")
    """An answer counts for this long."""


class Alerting(Part):
    """What all alerts share."""

    smoke_quantile_frac: Fraction = figure("5 %", "fraction")
    """Place in the distribution of an oil's smoke or ignition point at which a limit is set."""
    untold_uses: int = Field(default=0, ge=0)
    """Uses of the oil before, where the cook does not tell them."""
    announce_within_s: Duration = figure("20 s", "time")
    """Within this time of a fault the product says that it cannot watch."""
    even_frame_delta_k: DifferenceOrZero = figure("4 K", "difference")
    """A frame with less between its coldest and hottest pixel shows no kitchen: a covered lens."""
    hand_counts_s: Duration = figure("60 s", "time")
    """A hand seen over the hob counts as somebody there for this long."""
    handled_s: Duration = figure("10 s", "time")
    """For this long after a hand was seen, a pot that reads cooler was filled up, not dry."""
    chatter_s: Duration = figure("60 s", "time")
    """An alert that goes on again within this time of going off chatters."""
    presence: PresenceChannel | None = None
    """Who is there, as the product knows it; only hands over the hob when left out."""


Reporter = Literal["area-mean", "trimmed-mean", "upper-half-mode", "p95", "ring", "centre"]
"""Ways to make one number of a pan: its area's mean by physics, the mean or the 95th
percentile of the pixels inside the trimmed rim, the mode of their hotter half, the ring half-way
out, or the middle."""


class Estimation(Part):
    """When a reading counts as one."""

    u95_bound_delta_k: DifferenceOrZero = figure("25 K", "difference")
    """Widest 95 % half-width that is still reported."""
    min_emissivity_frac: Fraction = figure("0.30", "fraction")
    """Below this emissivity a surface is not measurable."""
    min_pixels: int = Field(default=10, ge=1)
    """Fewest pixels that make a reading."""
    awake_s: Duration | None = None
    """Time since wake at which error budgets are stated; the card's settling time if left out."""
    stale_after_s: Duration = figure("3 s", "time")
    """A frame older than this is no reading."""
    heated_above_k: Temperature = figure("50 degC", "temperature")
    """A burner counts as heated above this temperature."""
    carry_hidden_pan: bool = False
    """Whether a pan under food is reported from a model of it learnt from the cook so far; a trial:
    in simulated cooks with food such numbers are still wrong by over 15 K too often."""
    reporter: Reporter | Literal["ranked"] = "area-mean"
    """Which one number stands for a pan; `ranked`: the one that calibration cooks favour."""
    bias_weight: NumberOrZero = figure("1", "number")
    """What 1 K of a cook's bias costs when reporters are ranked."""
    noise_weight: NumberOrZero = figure("1", "number")
    """What 1 K of noise from second to second costs."""
    lag_weight: NumberOrZero = figure("0.5", "number")
    """What 1 s of lag costs."""
    hot_side_weight: NumberOrZero = figure("0.1", "number")
    """What each kelvin costs by which the hottest part is hotter than the number."""


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

    def broken(self) -> Iterator[Broken]:
        """Yield a point that is given twice, and a limit that good units would fail."""
        yield from twice("points[{}]", [point.text for point in self.points_k])
        limit, fixture = self.reject_limit_delta_k, self.fixture_u95_delta_k
        if limit < fixture:
            allowed = f"at least {fixture.text}: a good unit would fail by chance"
            yield "reject_limit", f"{limit.text} under fixture_u95", allowed


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


TERM_NAMES = (
    "sensor offset",
    "sensor gain",
    "noise of one pixel",
    "drift with housing",
    "drift after wake",
    "self-heating",
    "output step",
    "stored constants",
    "firmware's words",
    "emissivity",
    "reflected temperature",
    "window transmittance",
    "window temperature",
    "window reflectance",
    "grease on the window",
    "condensation",
    "steam column",
    "size of source",
    "registration and edge",
    "temperature around the pan",
    "drop through the film",
    "end-of-line fixture",
)
"""Names of the terms of an error budget, as files may refer to them."""


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

    def broken(self) -> Iterator[Broken]:
        """Yield a term that is said to err together with itself."""
        if self.first == self.second:
            yield "", "a term with itself", "two terms"


class DesignOption(Part):
    """A change that the team could make: what would it help?"""

    name: str
    """Its name."""
    set: dict[str, Any] = Field(min_length=1)
    """Keys of this file, joined by dots, and their values; entries of lists by name or place."""
    note: str = ""
    """A remark."""
