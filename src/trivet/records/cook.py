"""The plan of a simulated cook, and what may go wrong or move in it, declared beforehand."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from trivet.records.benchsheet import (
    SheetProbe,
)
from trivet.records.figures import (
    Angle,
    Difference,
    Duration,
    Fraction,
    Length,
    Mass,
    Number,
    NumberOrZero,
    Part,
    PositiveFraction,
    PositiveLength,
    SignedDuration,
    Temperature,
    figure,
)
from trivet.records.requirement import Purpose


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


def cook_name(plan: CookPlan, repeat: int) -> str:
    """Return the name of one repeat of a planned cook, unique in the project."""
    return plan.name if plan.repeats == 1 else f"{plan.name}-r{repeat}"
