"""The sheet of a recorded cook: what was told and cooked, its probes, what serves calibration."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from trivet.records.design import Contents
from trivet.records.figures import (
    Broken,
    DifferenceOrZero,
    Duration,
    Figure,
    Fraction,
    Length,
    LengthOrZero,
    Part,
    PositiveFraction,
    PositiveLength,
    Quantity,
    SignedDuration,
    Temperature,
    Volume,
    figure,
    twice,
)
from trivet.records.requirement import Of, Purpose


class SheetMark(Part):
    """A point of the cooktop that was pointed at in a picture of a head."""

    head: str = ""
    """The head whose picture it is; the only one when left out."""
    row: float
    """Where it is seen, counted from 0 in the middle of the first row."""
    col: float
    """The same across."""
    x_m: Length
    """Where it lies on the cooktop, to the right of its middle."""
    y_m: Length
    """The same, away from the cook."""
    height_m: LengthOrZero = figure("0 mm", "length")
    """Over the cooktop."""
    u_px: float = Field(default=0.5, gt=0.0)
    """Standard uncertainty of the pointing, in pixels."""


class SheetTarget(Part):
    """A bare element or a warm disc of known place, to find out where a head looks."""

    burner: str | None = None
    """The burner whose middle it lies on."""
    x_m: Length = figure("0 mm", "length")
    """Its middle: off the burner's, or off the cooktop's middle where no burner is given."""
    y_m: Length = figure("0 mm", "length")
    """The same, away from the cook."""
    height_m: LengthOrZero = figure("0 mm", "length")
    """Of its face over the cooktop."""
    diameter_m: PositiveLength
    """Across."""
    u_m: PositiveLength = figure("1 mm", "length")
    """Standard uncertainty of its place in each direction."""


class SheetPatch(Part):
    """A patch of low emissivity and known temperature, which shows what the pans mirror."""

    x_m: Length
    """Its middle on the cooktop, to the right of the cooktop's middle."""
    y_m: Length
    """The same, away from the cook."""
    diameter_m: PositiveLength
    """Across."""
    emissivity_frac: Annotated[Figure, Quantity("fraction", ge=0, lt=0.5)]
    """Its emissivity, with its range; under 0.5, since a patch of more shows itself."""
    probe: str
    """Column of the probe that touches it; ``housing`` where it is part of the sensor's housing."""


class SheetFlat(Part):
    """A time in which one surface of even, known temperature filled the head's whole view."""

    head: str = ""
    """The head; the only one when left out."""
    from_s: Duration
    """Its begin, on the frames' clock."""
    to_s: Duration
    """Its end."""
    temperature_k: Temperature
    """Of the surface, with its range."""
    emissivity_frac: PositiveFraction = figure("0.97", "fraction")
    """Of the surface."""


class SheetShared(Part):
    """A moment that frames and probe log both show without heat: a lid clapped shut, a plug."""

    frames_s: Duration
    """On the frames' clock."""
    log_s: Duration
    """On the probe log's clock."""


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

    def broken(self) -> Iterator[Broken]:
        """Yield columns that two probes have."""
        yield from twice("probes[{}].column", [probe.column for probe in self.probes])
