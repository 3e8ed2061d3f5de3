"""Cooks: the plan of a simulated one, and the sheet of a recorded one."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from trivet.records.design import Contents
from trivet.records.figures import (
    DifferenceOrZero,
    Duration,
    Fraction,
    Length,
    LengthOrZero,
    Mass,
    PositiveFraction,
    PositiveLength,
    SignedDuration,
    Temperature,
    Volume,
    figure,
)
from trivet.records.part import Part
from trivet.records.requirement import Of

Purpose = Literal["calibration", "proof"]


class ScheduleStep(Part):
    """From a moment on, a burner's knob stands at a level."""

    at_s: Duration
    """From this moment on."""
    level_frac: Fraction
    """Share of the burner's full power."""


class FoodPlan(Part):
    """A piece of food: when it goes in, is turned and comes out."""

    kind: Literal["patty", "vegetables", "egg"] = "patty"
    """Name of a simple food model."""
    mass_kg: Mass
    """Its mass."""
    diameter_m: PositiveLength
    """Its diameter, lying flat."""
    in_s: Duration
    """When it goes in."""
    turn_s: Duration | None = None
    """When it is turned."""
    out_s: Duration | None = None
    """When it comes out; to the end when left out."""


class CookBurner(Part):
    """What happens on one burner of a simulated cook."""

    burner: str
    """Name of the burner."""
    pan: str
    """Name of the pan on it."""
    base: str
    """Name of the base contents in it."""
    schedule: tuple[ScheduleStep, ...] = Field(min_length=1)
    """The knob over time; off before the first step."""
    food: FoodPlan | None = None
    """A piece of food."""
    offset_x_m: Length = figure("0 mm", "length")
    """Pan centre off the burner's centre, along x."""
    offset_y_m: Length = figure("0 mm", "length")
    """Pan centre off the burner's centre."""


class CookPlan(Part):
    """One cook to simulate, or several repeats that differ by their random draws."""

    name: str = Field(pattern=r"^[a-z0-9][a-z0-9-]*$")
    """Its name: small letters, digits and hyphens."""
    purpose: Purpose
    """Fitted on, or kept for proof; never both."""
    duration_s: Duration
    """How long it runs."""
    repeats: int = Field(default=1, ge=1)
    """How often it is simulated, with other draws."""
    burners: tuple[CookBurner, ...] = Field(min_length=1)
    """What happens on each burner that is used."""
    unit: str = "unit-1"
    """Sensor unit as made and mounted: cooks with the same unit share its errors and its pose."""
    ambient_k: Temperature | None = None
    """Air of the room; the design's when left out."""
    window_transmittance_frac: PositiveFraction | None = None
    """True transmittance of the window, where it has aged; the design's otherwise."""
    hands_at_s: tuple[Duration, ...] = ()
    """Moments at which a hand reaches over the first burner for two seconds."""
    stop_at_k: Temperature = figure("400 degC", "temperature")
    """The simulation stops where a pan's hottest 5 cm2 reach this."""
    tells: bool = True
    """Whether the cook uses the design's told channels."""


class CookPlans(Part):
    """The matrix of cooks to simulate."""

    format: Literal[1]
    """Version of the file format."""
    cooks: tuple[CookPlan, ...] = Field(min_length=1)
    """The cooks."""


class ToldEntry(Part):
    """What the cook told the product about one burner."""

    base_contents: Contents | None = None
    """What lies in the pan."""
    pan: str | None = None
    """Which pan it is."""
    target_band: str | None = None
    """Which target band is wanted."""


class Told(Part):
    """What the cook told the product: for every burner, or burner by burner."""

    every: ToldEntry = ToldEntry()
    burners: dict[str, ToldEntry] = Field(default_factory=dict)

    @model_validator(mode="before")
    @classmethod
    def _from_table(cls, raw: Any) -> Any:
        if not isinstance(raw, dict) or "every" in raw or "burners" in raw:
            return raw
        plain = {key: value for key, value in raw.items() if not isinstance(value, dict)}
        tables = {key: value for key, value in raw.items() if isinstance(value, dict)}
        return {"every": plain, "burners": tables}

    def about(self, burner: str) -> ToldEntry:
        """Return what was told about a burner."""
        own = self.burners.get(burner, ToldEntry())
        return ToldEntry(
            base_contents=own.base_contents or self.every.base_contents,
            pan=own.pan or self.every.pan,
            target_band=own.target_band or self.every.target_band,
        )


class SheetBurner(Part):
    """What stood on a burner, as the bench sheet says; hidden from the estimate."""

    burner: str
    """Name of the burner."""
    material: str = ""
    """The pan's material."""
    finish: str = ""
    """The pan's finish."""
    diameter_m: PositiveLength
    """Inner diameter of the base."""
    depth_m: LengthOrZero = figure("50 mm", "length")
    """Height of the wall, inside."""
    contents: Contents = "dry"
    """What lay in it."""
    volume_m3: Volume = figure("0 mL", "volume")
    """How much of it."""
    food: str = ""
    """What was cooked."""
    offset_x_m: Length = figure("0 mm", "length")
    """Pan centre off the burner's centre, along x."""
    offset_y_m: Length = figure("0 mm", "length")
    """The same along y."""


class SheetProbe(Part):
    """A reference probe: its column in the log and what it touches."""

    column: str
    """Its column in the log."""
    kind: Literal["K", "T", "J", "N"] = "K"
    """Thermocouple type."""
    tolerance_class: str = Field(default="iec-1", alias="class")
    """Its tolerance class."""
    attachment: Literal[
        "welded", "peened", "cement", "spring", "tape", "immersed", "air", "inserted"
    ] = "spring"
    """How it is held."""
    burner: str | None = None
    """The burner whose pan it touches."""
    touches: Of | Literal["room"] = "pan"
    """What its reading is of."""
    x_m: Length = figure("0 mm", "length")
    """Place on the pan, from its centre, along x."""
    y_m: Length = figure("0 mm", "length")
    """Place on the pan, from its centre."""
    u_delta_k: DifferenceOrZero | None = None
    """Standard uncertainty, where it is known better than class and attachment say."""


class CookSheet(Part):
    """The bench sheet of a recorded cook."""

    format: Literal[1]
    """Version of the file format."""
    purpose: Purpose
    """Fitted on, or kept for proof; never both."""
    sensor_head: str | tuple[str, ...] | None = None
    """The head or heads that recorded it; the design's only head when left out."""
    altitude_m: Length | None = None
    """Height over the sea; the design's when left out."""
    clock_offset_s: SignedDuration = figure("0 s", "time")
    """To be added to the probe log's time to get the frames' time."""
    synthetic: bool = False
    """True for a folder that was made, not measured: its evidence counts as simulated."""
    unit: str = ""
    """Serial number of the sensor unit."""
    note: str = ""
    """A remark."""
    told: Told = Told()
    """What the cook told the product."""
    burners: tuple[SheetBurner, ...] = ()
    """What stood on the burners."""
    probes: tuple[SheetProbe, ...] = ()
    """The reference probes."""


def cook_name(plan: CookPlan, repeat: int) -> str:
    """Return the name of one repeat of a planned cook, unique in the project."""
    return plan.name if plan.repeats == 1 else f"{plan.name}-r{repeat}"
