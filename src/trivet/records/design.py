"""The design: one file that says what is built, for which hob, and what must hold."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from trivet.records.business import Battery, Costs, Diary
from trivet.records.figures import (
    Angle,
    AngleOrZero,
    Difference,
    DifferenceOrZero,
    Duration,
    Fraction,
    HeatingRate,
    HeatTransfer,
    Length,
    LengthOrZero,
    PositiveFraction,
    PositiveLength,
    Power,
    Temperature,
    Volume,
    figure,
)
from trivet.records.part import Part
from trivet.records.requirement import Alert, Of, Requirement
from trivet.records.sensorcard import SensorCard

Contents = Literal["dry", "oil", "butter", "water"]
CONTENTS: tuple[Contents, ...] = ("dry", "oil", "butter", "water")


class Project(Part):
    """Who and what; an invented scenario says so."""

    name: str
    team: str = ""
    invented: bool = False
    """True for a made-up scenario."""
    seed: int = Field(default=1, ge=0)
    note: str = ""


class Display(Part):
    """How numbers are shown."""

    temperature: Literal["degC", "degF"] = "degC"
    length: Literal["mm", "in"] = "mm"
    readout_step_delta_k: DifferenceOrZero = figure("1 K", "difference")
    """Step of the number that the product shows."""


class Surroundings(Part):
    """The kitchen around the hob."""

    altitude_m: Length = figure("0 m", "length")
    ambient_k: Temperature = figure("22 degC", "temperature")
    reflected_k: Temperature = figure("30 degC", "temperature")
    """Radiative temperature of what the pans mirror: hood, wall, sensor."""
    housing_rise_delta_k: Difference = figure("10 K", "difference")
    """Rise of the sensor's housing over ambient while cooking."""
    convection_w_m2k: HeatTransfer = figure("12 W/m^2/K", "heat_transfer")


class Cooktop(Part):
    """The hob's outline, centred on the origin."""

    width_m: PositiveLength
    depth_m: PositiveLength
    surface: str = "glass-ceramic"
    """Name in the surface library."""


class Burner(Part):
    """One burner, its place and its heat."""

    name: str
    kind: Literal["gas", "coil", "radiant", "induction"]
    x_m: Length
    y_m: Length
    power_w: Power
    efficiency_frac: PositiveFraction
    """Share of the power that enters the pan."""
    ring_diameter_m: PositiveLength
    """Mean diameter of the flame ring or heated zone."""


class Mount(Part):
    """Place and direction of a head; angles as in docs/conventions.md."""

    x_m: Length = figure("0 m", "length")
    y_m: Length = figure("0 m", "length")
    height_m: PositiveLength
    """Height of the lens over the cooktop plane."""
    tilt_rad: Angle = figure("0 deg", "angle")
    pan_rad: Angle = figure("0 deg", "angle")
    roll_rad: Angle = figure("0 deg", "angle")
    position_tolerance_m: LengthOrZero = figure("5 mm", "length")
    """Half-width of the error of each coordinate as mounted."""
    angle_tolerance_rad: AngleOrZero = figure("1 deg", "angle")


class Window(Part):
    """The optical window in front of the lens."""

    material: str = "polyethylene"
    transmittance_frac: PositiveFraction
    rise_delta_k: Difference = figure("0 K", "difference")
    """Temperature of the window over the sensor housing."""


class Head(Part):
    """One sensor head: sensor, mount, window."""

    name: str
    sensor: str
    """Name of a sensor card, of the library or of this file."""
    mount: Mount
    window: Window


class Pan(Part):
    """One pan of the set that the product must work with."""

    name: str
    material: str
    """Name in the material library."""
    finish: str
    """Name in the surface library; gives the range of the bare emissivity."""
    diameter_m: PositiveLength
    """Inner diameter of the base."""
    depth_m: PositiveLength
    thickness_m: PositiveLength
    emissivity_frac: PositiveFraction | None = None
    """Measured emissivity of this pan's face; replaces the library's range."""


class Base(Part):
    """What lies in the pan under the food."""

    name: str
    contents: Contents
    volume_m3: Volume = figure("0 mL", "volume")
    note: str = ""


class TargetBand(Part):
    """A range that a cook wants to hold."""

    name: str
    of: Of
    low_k: Temperature
    high_k: Temperature
    bases: tuple[str, ...] = ()
    note: str = ""


class Limit(Part):
    """A temperature that must not be passed unnoticed."""

    name: str
    of: Of
    value_k: Temperature
    """With its range where sources differ, as smoke points do."""


class ToldChannels(Part):
    """Which things the cook tells the product; nothing by default."""

    channels: tuple[Literal["base_contents", "pan", "target_band"], ...] = ()


class Estimation(Part):
    """When a reading counts as one."""

    u95_bound_delta_k: DifferenceOrZero = figure("25 K", "difference")
    """Widest 95 % half-width that is still reported."""
    min_emissivity_frac: Fraction = figure("0.30", "fraction")
    """Below this emissivity a surface is not measurable."""
    min_pixels: int = Field(default=10, ge=1)
    stale_after_s: Duration = figure("3 s", "time")
    heated_above_k: Temperature = figure("50 degC", "temperature")
    """A burner counts as heated above this temperature."""


class Design(Part):
    """Everything that the team decides, in SI."""

    format: Literal[1]
    project: Project
    display: Display = Display()
    surroundings: Surroundings = Surroundings()
    cooktop: Cooktop
    burners: tuple[Burner, ...] = Field(min_length=1, max_length=12)
    heads: tuple[Head, ...] = Field(min_length=1, max_length=4)
    sensors: tuple[SensorCard, ...] = ()
    """Cards used by the heads: written here, or added from the library on loading."""
    pans: tuple[Pan, ...] = Field(min_length=1)
    bases: tuple[Base, ...] = Field(min_length=1)
    bands: tuple[TargetBand, ...] = ()
    limits: tuple[Limit, ...] = ()
    alerts: tuple[Alert, ...] = ()
    requirements: tuple[Requirement, ...] = Field(min_length=1)
    told: ToldChannels = ToldChannels()
    estimation: Estimation = Estimation()
    heating_rates_kps: tuple[HeatingRate, ...] = tuple(
        figure(text, "heating_rate") for text in ("1 K/s", "2 K/s", "3 K/s", "4.4 K/s")
    )
    """Heating rates at which alert margins are stated."""
    battery: Battery
    diary: Diary
    costs: Costs

    def card(self, head: Head) -> SensorCard:
        """Return the sensor card of a head."""
        return next(card for card in self.sensors if card.name == head.sensor)

    def burner(self, name: str) -> Burner:
        """Return a burner by name."""
        return next(burner for burner in self.burners if burner.name == name)

    def pan(self, name: str) -> Pan:
        """Return a pan by name."""
        return next(pan for pan in self.pans if pan.name == name)

    def base(self, name: str) -> Base:
        """Return base contents by name."""
        return next(base for base in self.bases if base.name == name)

    def limit(self, name: str) -> Limit:
        """Return a limit by name."""
        return next(limit for limit in self.limits if limit.name == name)
