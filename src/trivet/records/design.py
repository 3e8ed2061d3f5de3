"""The design: one file that says what is built, for which hob, and what must hold."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from trivet.records.business import Alternative, Battery, Costs, Diary, Radio, Wake
from trivet.records.figures import (
    AngleOrZero,
    Broken,
    DifferenceOrZero,
    Figure,
    Fraction,
    HeatingRate,
    Length,
    Part,
    PositiveFraction,
    PositiveLength,
    Power,
    Quantity,
    Temperature,
    Volume,
    figure,
)
from trivet.records.product import (
    Alerting,
    DeclaredCorrelation,
    DesignOption,
    EndOfLine,
    Estimation,
    FieldRecalibration,
    Firmware,
    Population,
)
from trivet.records.requirement import Alert, Of, Requirement
from trivet.records.search import Search
from trivet.records.sensorcard import Head, SensorCard
from trivet.records.surroundings import Surroundings
from trivet.records.trade import Trade
from trivet.units import show_length

Contents = Literal["dry", "oil", "butter", "water"]
HOT_SPOT_RATIO = Figure(
    1.3,
    low=1.1,
    high=1.9,
    text="1.3",
    note="rings heat unevenly: 1.1 for thick aluminium, up to 1.9 for thin steel",
)
CONTENTS: tuple[Contents, ...] = ("dry", "oil", "butter", "water")


class Project(Part):
    """Who and what; an invented scenario says so."""

    name: str
    """Name of the product or project."""
    team: str = ""
    """Who answers for it."""
    invented: bool = False
    """True for a made-up scenario."""
    seed: int = Field(default=1, ge=0)
    """Seed of every random draw of the project."""
    note: str = ""
    """A remark."""


class Display(Part):
    """How numbers are shown."""

    temperature: Literal["degC", "degF"] = "degC"
    """Unit in which temperatures are shown."""
    length: Literal["mm", "in"] = "mm"
    """Unit in which lengths are shown."""
    readout_step_delta_k: DifferenceOrZero = figure("1 K", "difference")
    """Step of the number that the product shows; 0 shows it as it is."""
    readout_hysteresis_delta_k: DifferenceOrZero = figure("0.5 K", "difference")
    """How far beyond the edge of its step a reading must lie before the number changes."""

    @model_validator(mode="after")
    def _hysteresis_within_a_step(self) -> Display:
        step, held = self.readout_step_delta_k, self.readout_hysteresis_delta_k
        if 0.0 < float(step) < float(held):
            raise PydanticCustomError(
                "readout",
                "{found}",
                {
                    "found": f"readout_hysteresis {held.text} over a step of {step.text}",
                    "allowed": "at most the step",
                },
            )
        return self

    @property
    def readout_error_k(self) -> float:
        """The most by which the number shown differs from the reading. [K]"""
        step = float(self.readout_step_delta_k)
        return step / 2.0 + float(self.readout_hysteresis_delta_k) if step > 0.0 else 0.0


class Cooktop(Part):
    """The hob's outline, centred on the origin."""

    width_m: PositiveLength
    """Along x."""
    depth_m: PositiveLength
    """Along y."""
    surface: str = "glass-ceramic"
    """Name in the surface library."""


class Burner(Part):
    """One burner, its place and its heat."""

    name: str
    """Its name, by which cooks and events refer to it."""
    kind: Literal["gas", "coil", "radiant", "induction"]
    """How it heats."""
    x_m: Length
    """Centre, to the right of the middle."""
    y_m: Length
    """Centre, away from the cook."""
    power_w: Power
    """Power at full level, before losses."""
    efficiency_frac: PositiveFraction
    """Share of the power that enters pan and hob, or heats a load, as `efficiency_of` says."""
    efficiency_of: Literal["pan-and-hob", "load"] = "pan-and-hob"
    """What `efficiency` was measured on; `load` for published figures, losses already taken off."""
    ring_diameter_m: PositiveLength
    """Mean diameter of the flame ring or heated zone."""
    side_frac: Fraction | None = None
    """Share of the heat that flames bring to the pan's wall; 8 % for gas if left out."""
    glass_thickness_m: PositiveLength = figure("4 mm", "length")
    """Thickness of the glass over a radiant or induction zone."""
    glass_limit_k: Temperature = figure("560 degC", "temperature")
    """Temperature of the glass at which the limiter of a radiant zone cuts the heat."""
    steady_from_frac: Fraction = figure("0.3", "fraction")
    """Level below which an induction zone pulses instead of running steadily."""


class PanLayer(Part):
    """One layer of a clad base."""

    material: str
    """Name in the material library."""
    thickness_m: PositiveLength
    """Its thickness."""


class Pan(Part):
    """One pan of the set that the product must work with."""

    name: str
    """Its name, by which cooks and requirements refer to it."""
    material: str
    """Name in the material library."""
    finish: str
    """Name in the surface library; gives the range of the bare emissivity."""
    diameter_m: PositiveLength
    """Inner diameter of the base."""
    depth_m: PositiveLength
    """Height of the wall, inside."""
    thickness_m: PositiveLength
    """Thickness of the base."""
    layers: tuple[PanLayer, ...] = ()
    """Layers of a clad base, from the heated face up; of one material when empty."""
    wall_thickness_m: PositiveLength | None = None
    """Thickness of the side wall; the base's when left out."""
    bow_m: Annotated[Figure, Quantity("length", ge=-0.02, le=0.02)] = figure("0 mm", "length")
    """How far the middle of the base stands higher than its rim; negative where it sags."""
    emissivity_frac: PositiveFraction | None = None
    """Measured emissivity of this pan's face; replaces the library's range."""
    flare_rad: AngleOrZero = figure("0 deg", "angle", origin="standard", note="upright wall")
    """Angle by which the wall leans outwards from the vertical."""
    lid: bool = False
    """Whether cooks put a lid on it: then nothing of the contents is seen."""
    lid_surface: Literal["glass-lid", "stainless-lid"] = "glass-lid"
    """What its lid is made of."""
    hot_spot_ratio: Annotated[Figure, Quantity("number", ge=1)] = HOT_SPOT_RATIO
    """Rise of the hottest 5 cm2 over that of the mean while the pan heats up."""

    def broken(self) -> Iterator[Broken]:
        """Yield a base that is thicker than the pan is deep, and layers that do not fill it."""
        thickness, depth = self.thickness_m, self.depth_m
        if thickness >= depth:
            found = f"{thickness.text} is no less than the depth {depth.text}"
            yield "thickness", found, "thinner than the pan is deep"
        layers = sum(float(layer.thickness_m) for layer in self.layers)
        if self.layers and abs(layers - thickness) > 0.02 * thickness:
            found = f"layers of {show_length(layers)} in a thickness of {thickness.text}"
            yield "layers", found, "layers that make up the thickness"


class Base(Part):
    """What lies in the pan under the food."""

    name: str
    """Its name."""
    contents: Contents
    """What it is."""
    volume_m3: Volume = figure("0 mL", "volume")
    """How much; 0 for a dry pan."""
    oil: str = ""
    """Which oil, in the oil library; a common vegetable oil, or whole butter, when left out."""
    uses: int = Field(default=0, ge=0)
    """How often the oil was heated before: its smoke point falls."""
    note: str = ""
    """A remark."""

    def broken(self) -> Iterator[Broken]:
        """Yield contents without volume, a volume without contents, and oil in what is none."""
        if self.contents == "dry" and self.volume_m3 > 0:
            found = f"{self.volume_m3.text} in a dry pan"
            yield "volume", found, "no volume, or other contents"
        if self.contents != "dry" and self.volume_m3 <= 0:
            yield "volume", f"no volume of {self.contents}", "a volume above 0, e.g. '5 mL'"
        if self.oil and self.contents not in ("oil", "butter"):
            found = f"{self.oil!r} in a base of {self.contents}"
            yield "oil", found, 'contents = "oil" or "butter"'


class TargetBand(Part):
    """A range that a cook wants to hold."""

    name: str
    """Its name."""
    of: Of
    """What the temperature is of."""
    low_k: Temperature
    """Lower end."""
    high_k: Temperature
    """Upper end."""
    bases: tuple[str, ...] = ()
    """Base contents for which it holds; all when empty."""
    note: str = ""
    """A remark, and where the band comes from."""

    def broken(self) -> Iterator[Broken]:
        """Yield a band that does not rise."""
        if self.low_k >= self.high_k:
            found = f"{self.low_k.text} is not below high = {self.high_k.text}"
            yield "low", found, "a band that rises"


class Limit(Part):
    """A temperature that must not be passed unnoticed."""

    name: str
    """Its name."""
    of: Of
    """What the temperature is of."""
    value_k: Annotated[Figure, Quantity("temperature", le=1273.15)]
    """With its range where sources differ, as smoke points do."""
    oil_point: Literal["smoke", "autoignition"] | None = None
    """Alerts take the told oil's own point instead, from the library and lowered by its uses."""


class ToldChannels(Part):
    """Which things the cook tells the product; nothing by default."""

    channels: tuple[Literal["base_contents", "pan", "target_band", "oil"], ...] = ()
    """What the cook tells; `oil` is which oil, and how often it was heated before."""


class Design(Part):
    """Everything that the team decides, in SI."""

    format: Literal[1]
    """Version of the file format."""
    project: Project
    """Who and what."""
    display: Display = Display()
    """How numbers are shown."""
    surroundings: Surroundings = Surroundings()
    """The kitchen around the hob."""
    cooktop: Cooktop
    """The hob's outline."""
    burners: tuple[Burner, ...] = Field(min_length=1, max_length=12)
    """1 to 12 burners."""
    heads: tuple[Head, ...] = Field(min_length=1, max_length=4)
    """1 to 4 sensor heads."""
    sensors: tuple[SensorCard, ...] = ()
    """Cards used by the heads: written here, or added from the library on loading."""
    pans: tuple[Pan, ...] = Field(min_length=1)
    """The pans that the product must work with."""
    bases: tuple[Base, ...] = Field(min_length=1)
    """What may lie in them under the food."""
    bands: tuple[TargetBand, ...] = ()
    """Ranges that a cook wants to hold."""
    limits: tuple[Limit, ...] = ()
    """Temperatures that must not be passed unnoticed."""
    alerts: tuple[Alert, ...] = ()
    """The alerts, rationalised."""
    alerting: Alerting = Alerting()
    """What all alerts share."""
    requirements: tuple[Requirement, ...] = Field(min_length=1)
    """What must be shown."""
    told: ToldChannels = ToldChannels()
    """What the cook tells the product."""
    estimation: Estimation = Estimation()
    """When a reading counts as one."""
    search: Search | None = None
    """Free parameters of a pose search; none is made when left out."""
    heating_rates_kps: tuple[HeatingRate, ...] = tuple(
        figure(text, "heating_rate") for text in ("1 K/s", "2 K/s", "3 K/s", "4.4 K/s")
    )
    """Heating rates at which alert margins are stated."""
    battery: Battery
    """Cells, and what each state draws."""
    diary: Diary
    """How much is cooked."""
    costs: Costs
    """Money."""
    population: Population = Population()
    """How units differ."""
    end_of_line: EndOfLine | None = None
    """Calibration of every unit; none when left out."""
    field_recalibration: FieldRecalibration | None = None
    """Calibration in the kitchen; none when left out."""
    correlations: tuple[DeclaredCorrelation, ...] = ()
    """Terms of the error budget that err together, beyond those that the program knows."""
    options: tuple[DesignOption, ...] = ()
    """Changes to be tried against requirements that fail."""
    wake: Wake = Wake()
    """What wakes the unit, and how long until it sees."""
    radio: Radio | None = None
    """How a message is sent, and what is in it."""
    alternatives: tuple[Alternative, ...] = ()
    """Other ways to watch a hob, to compare the cost with."""
    trade: Trade = Trade()
    """Options against weighted criteria."""
    firmware: Firmware = Firmware()
    """What the firmware may take, and what it runs on."""

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
