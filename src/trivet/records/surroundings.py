"""The kitchen around the hob: air, what the pans mirror, and steam."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from trivet.records.figures import (
    Broken,
    Concentration,
    Difference,
    Fraction,
    HeatTransfer,
    Length,
    LengthOrZero,
    Part,
    PositiveFraction,
    PositiveLength,
    Power,
    Temperature,
    figure,
)


class Mirrored(Part):
    """One thing that the pans mirror: hood, lamp, a neighbour's flame."""

    name: str
    """Its name."""
    shape: Literal["rectangle", "disc", "upright", "share"]
    """Level rectangle or disc overhead, upright rectangle beside the pan, or its share alone."""
    temperature_k: Temperature
    """Its radiative temperature; the range is carried."""
    emissivity_frac: PositiveFraction = figure("1", "fraction")
    """Share of a black body's radiation that it gives; a flame has about 0.1."""
    x_m: Length = figure("0 m", "length")
    """Middle, to the right of the hob's middle."""
    y_m: Length = figure("0 m", "length")
    """Middle, away from the cook."""
    height_m: LengthOrZero = figure("0.7 m", "length")
    """Height over the cooktop plane; of an upright thing its own height."""
    width_m: LengthOrZero = figure("0 m", "length")
    """Along x; of a disc its diameter."""
    depth_m: LengthOrZero = figure("0 m", "length")
    """Along y."""
    view_frac: Fraction | None = None
    """Share of what a pan mirrors, where no shape is given."""
    follows: str = ""
    """What it warms with: `hood`, `lamp` or a burner, whose flame it is; steady when empty."""

    def broken(self) -> Iterator[Broken]:
        """Yield a thing without the sizes that its shape needs."""
        if self.shape == "share" and self.view_frac is None:
            yield "", "a share without view", "view = '0.2'"
        if self.shape != "share" and self.width_m <= 0.0:
            yield "", f"a {self.shape} without width", "width = '0.5 m'"
        if self.shape == "rectangle" and self.depth_m <= 0.0:
            yield "", "a rectangle without depth", "depth = '0.5 m'"


class Steam(Part):
    """Fog of droplets between pan and window, which the product does not correct."""

    droplet_diameter_m: PositiveLength = figure("10 um", "length")
    """Diameter of the droplets."""
    water_kg_m3: Concentration
    """Liquid water in the air of the column, with its range."""
    path_m: PositiveLength = figure("0.30 m", "length")
    """Length of the line of sight in the fog."""
    temperature_k: Temperature = figure("60 degC", "temperature")
    """Temperature of the droplets."""
    bases: tuple[str, ...] = ()
    """Base contents over which it stands; all when empty."""


class Surroundings(Part):
    """The kitchen around the hob."""

    altitude_m: Length = figure("0 m", "length")
    """Height over the sea; sets the boiling point."""
    ambient_k: Temperature = figure("22 degC", "temperature")
    """Air of the room."""
    reflected_k: Temperature = figure("30 degC", "temperature")
    """Radiative temperature of what the pans mirror, as the product believes it."""
    mirrored: tuple[Mirrored, ...] = ()
    """Things that the pans mirror in truth, the room at ambient the rest; sets the range."""
    steam: Steam | None = None
    """Fog over the pans; not in the budgets when left out."""
    housing_rise_delta_k: Difference = figure("10 K", "difference")
    """Rise of the sensor's housing over ambient while cooking."""
    housing_power_w: Power = figure("2.5 kW", "power")
    """Power of all burners at which the air in the hood has that rise; others by plume theory."""
    flame_emissivity_frac: Fraction = figure("0.02", "fraction")
    """Emissivity in the band of the gas flames that show beside a pan at full level."""
    flame_k: Temperature = figure("600 degC", "temperature")
    """Radiative temperature of those flames."""
    flame_reach_m: LengthOrZero = figure("15 mm", "length")
    """How far they show beyond the base of a pan."""
    humidity_frac: Fraction = figure("45 %", "fraction")
    """Relative humidity of the room; with the steam it sets the dew point at the window."""
    convection_w_m2k: HeatTransfer = figure("12 W/m^2/K", "heat_transfer")
    """Convection from a pan's upper face at 150 K over the air; other faces and rises follow."""
    beside_cold_k: Temperature = figure("25 degC", "temperature")
    """Coldest thing beside a pan, for the size-of-source error: bare hob, wet cloth."""
    beside_hot_k: Temperature = figure("450 degC", "temperature")
    """Hottest thing beside a pan: a glowing ring, a grate in the flame."""
    beside_pan_k: Temperature = figure("180 degC", "temperature")
    """Pan temperature at which those errors are stated."""

    def broken(self) -> Iterator[Broken]:
        """Yield shares of view that are more than the whole."""
        total = sum(float(thing.view_frac or 0.0) for thing in self.mirrored)
        if total > 1.0:
            yield "mirrored", f"shares of view sum to {total:.2f}", "at most 1 together"
