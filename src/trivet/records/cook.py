"""The plan of a simulated cook, and what may go wrong or move in it, declared beforehand."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field

from trivet.errors import nearest
from trivet.records.benchsheet import (
    SheetProbe,
)
from trivet.records.figures import (
    Angle,
    Broken,
    Difference,
    Duration,
    Figure,
    Fraction,
    Length,
    Number,
    NumberOrZero,
    Part,
    PositiveDuration,
    PositiveFraction,
    PositiveLength,
    Quantity,
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

    dropped_frac: Annotated[Figure, Quantity("fraction", ge=0, le=0.9)] = figure("0 %", "fraction")
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

    def broken(self) -> Iterator[Broken]:
        """Yield an end that does not come after the beginning."""
        if self.until_s is not None and self.until_s <= self.at_s:
            found = f"{self.until_s.text} does not come after {self.at_s.text}"
            yield "until", found, "after the moment it begins"


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
    mass_kg: Annotated[Figure, Quantity("mass", gt=0)]
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

    def broken(self) -> Iterator[Broken]:
        """Yield moments that do not follow one another."""
        for (_, one), (key, two) in pairwise(self.moments):
            if two <= one:
                found = f"{two.text} does not come after {one.text}"
                yield key, found, "in before turn before out"

    @property
    def moments(self) -> list[tuple[str, Figure]]:
        """Key and moment of all that is done with it."""
        moments = (("in", self.in_s), ("turn", self.turn_s), ("out", self.out_s))
        return [(key, moment) for key, moment in moments if moment is not None]


class LidSpan(Part):
    """A time in which the pan's lid is on."""

    on_s: Duration
    """When it is put on."""
    off_s: Duration | None = None
    """When it is taken off; to the end when left out."""

    def broken(self) -> Iterator[Broken]:
        """Yield a lid that is taken off before it is put on."""
        if self.off_s is not None and self.off_s <= self.on_s:
            yield "off", self.off_s.text, f"after {self.on_s.text}"


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

    def broken(self) -> Iterator[Broken]:
        """Yield steps of the knob and lids that do not follow one another."""
        for at, (one, two) in enumerate(pairwise(self.schedule), 1):
            if two.at_s <= one.at_s:
                found = f"{two.at_s.text} does not come after {one.at_s.text}"
                yield f"schedule[{at}].at", found, "moments that rise"
        for at, (first, second) in enumerate(pairwise(self.lid), 1):
            if first.off_s is None or second.on_s < first.off_s:
                yield f"lid[{at}].on", second.on_s.text, "after the lid was taken off"

    @property
    def moments(self) -> Iterator[tuple[str, Figure]]:
        """Key and moment of all that is done on the burner."""
        for at, step in enumerate(self.schedule):
            yield f"schedule[{at}].at", step.at_s
        for at, span in enumerate(self.lid):
            yield f"lid[{at}].on", span.on_s
        foods = [
            ("food", self.food),
            *((f"more_food[{k}]", f) for k, f in enumerate(self.more_food)),
        ]
        for place, food in foods:
            for key, moment in food.moments if food is not None else ():
                yield f"{place}.{key}", moment

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
    duration_s: PositiveDuration
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

    def broken(self) -> Iterator[Broken]:
        """Yield moments beyond the cook's end, and burners and probes that it does not have."""
        for key, moment in self._moments():
            if moment > self.duration_s:
                found = f"{moment.text} lies beyond the cook's end"
                yield key, found, f"at most the duration, {self.duration_s.text}"
        used = [one.burner for one in self.burners]
        probes = [probe.column for probe in self.probes]  # none: the simulator names its own
        links = [(f"faces[{at}].burner", one.burner, used) for at, one in enumerate(self.faces)]
        links += [(f"moves[{at}].burner", one.burner, used) for at, one in enumerate(self.moves)]
        for at, fault in enumerate(self.probe_faults if probes else ()):
            links.append((f"probe_faults[{at}].probe", fault.probe, probes))
        for key, name, known in links:
            if name and name not in known:
                yield key, f"{name!r} is not defined", nearest(name, known)

    def _moments(self) -> Iterator[tuple[str, Figure]]:
        """Yield key and moment of all that happens in the cook."""
        for at, moment in enumerate(self.hands_at_s):
            yield f"hands_at[{at}]", moment
        for at, burner in enumerate(self.burners):
            yield from ((f"burners[{at}].{key}", moment) for key, moment in burner.moments)
        lists: dict[str, Sequence[Face | PanMove | ProbeFault | Stretch]] = {
            "faces": self.faces,
            "moves": self.moves,
            "probe_faults": self.probe_faults,
            "faults.gaps": self.faults.gaps,
            "faults.stuck": self.faults.stuck,
        }
        for name, things in lists.items():
            yield from ((f"{name}[{at}].at", thing.at_s) for at, thing in enumerate(things))


def cook_name(plan: CookPlan, repeat: int) -> str:
    """Return the name of one repeat of a planned cook, unique in the project."""
    return plan.name if plan.repeats == 1 else f"{plan.name}-r{repeat}"
