"""Cooks: the plan of a simulated one, and the sheet of a recorded one."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from trivet.records.benchsheet import (
    SheetFlat,
    SheetMark,
    SheetPatch,
    SheetShared,
    SheetTarget,
)
from trivet.records.design import Contents
from trivet.records.disturbances import Face, Mismatch, PanMove, ProbeFault, SensorFaults, Stretch
from trivet.records.figures import (
    DifferenceOrZero,
    Duration,
    Fraction,
    Length,
    LengthOrZero,
    Mass,
    NumberOrZero,
    PositiveFraction,
    PositiveLength,
    SignedDuration,
    Temperature,
    Volume,
    figure,
)
from trivet.records.matrix import Matrix
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

    kind: Literal["patty", "steak", "egg", "vegetables", "dough"] = "patty"
    """Name in the food library."""
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
    start_k: Temperature = figure("5 degC", "temperature")
    """Its temperature when it goes in."""
    x_m: Length = figure("0 mm", "length")
    """Its middle, off the pan's centre, along x."""
    y_m: Length = figure("0 mm", "length")
    """The same along y."""


class LidSpan(Part):
    """A time in which the pan's lid is on."""

    on_s: Duration
    """When it is put on."""
    off_s: Duration | None = None
    """When it is taken off; to the end when left out."""


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
    band: str | None = None
    """Name of the target band that the cook wants."""
    food: FoodPlan | None = None
    """A piece of food."""
    more_food: tuple[FoodPlan, ...] = ()
    """Further pieces, beside the first or after it."""
    lid: tuple[LidSpan, ...] = ()
    """When the pan's lid is on; only for a pan that has one."""
    offset_x_m: Length = figure("0 mm", "length")
    """Pan centre off the burner's centre, along x."""
    offset_y_m: Length = figure("0 mm", "length")
    """Pan centre off the burner's centre."""
    thermostat_k: Temperature | None = None
    """Mean temperature of the pan that the burner holds by switching; free when left out."""

    @property
    def foods(self) -> tuple[FoodPlan, ...]:
        """All pieces of food."""
        return (() if self.food is None else (self.food,)) + self.more_food


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
    lag_s: Duration | None = None
    """Time constant as attached, from a step of its own; it is taken out."""
    conduction_frac: Fraction | None = None
    """Share of (surface - air) by which it reads low through its wires; it is taken out."""


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
    style: Literal["", "searing", "wok", "preheating", "frying", "simmering", "boiling"] = ""
    """What kind of ordinary cooking it is: nuisance alerts are counted over such cooks."""
    away: tuple[Stretch, ...] = ()
    """Times in which nobody is in the kitchen."""
    probes: tuple[SheetProbe, ...] = ()
    """Reference probes in or on the pans; the simulator's usual ones when left out."""
    window_age_weeks: NumberOrZero = figure("0", "number")
    """Weeks since the window was cleaned: grease grows at the rate that the design states."""
    lamp_on: bool = True
    """Whether the lamp of the hood is on."""
    faces: tuple[Face, ...] = ()
    """Moments at which the cook's face leans over a burner."""
    moves: tuple[PanMove, ...] = ()
    """Pans that are pushed while they cook; what the burner gives them stays as it was."""
    faults: SensorFaults = SensorFaults()
    """Faults that sensor and reader are to have."""
    probe_faults: tuple[ProbeFault, ...] = ()
    """Faults that reference probes are to have."""
    mismatch: Mismatch = Mismatch()
    """Physics that differs from the nominal in declared ways."""


class CookPlans(Part):
    """The matrix of cooks to simulate."""

    format: Literal[1]
    """Version of the file format."""
    cooks: tuple[CookPlan, ...] = ()
    """The cooks, written one by one."""
    matrix: tuple[Matrix, ...] = ()
    """Cooks made of factors."""


class ToldEntry(Part):
    """What the cook told the product about one burner."""

    base_contents: Contents | None = None
    """What lies in the pan."""
    pan: str | None = None
    """Which pan it is."""
    target_band: str | None = None
    """Which target band is wanted."""
    oil: str | None = None
    """Which oil it is, by its name in the oil library."""
    uses: int | None = Field(default=None, ge=0)
    """How often the oil was heated before."""


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
            oil=own.oil or self.every.oil,
            uses=self.every.uses if own.uses is None else own.uses,
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
    clock_u_s: Duration = figure("0.5 s", "time")
    """Standard uncertainty of the clock offset; of one shared moment where those are given."""
    shared: tuple[SheetShared, ...] = ()
    """Moments that both clocks saw: they set the clock's offset, three or more its drift too."""
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
    marks: tuple[SheetMark, ...] = ()
    """Points of the cooktop that were pointed at in a picture."""
    targets: tuple[SheetTarget, ...] = ()
    """Bare elements or warm discs of known place."""
    patches: tuple[SheetPatch, ...] = ()
    """Patches of low emissivity."""
    flats: tuple[SheetFlat, ...] = ()
    """Times in which an even surface filled the view."""


def cook_name(plan: CookPlan, repeat: int) -> str:
    """Return the name of one repeat of a planned cook, unique in the project."""
    return plan.name if plan.repeats == 1 else f"{plan.name}-r{repeat}"
