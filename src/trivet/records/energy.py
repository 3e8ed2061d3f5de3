"""What the design says of energy: cells, states, waking, radio, cooking diary."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from trivet.records.figures import (
    BitRate,
    Broken,
    DifferenceOrZero,
    Duration,
    Energy,
    Figure,
    Fraction,
    Number,
    NumberOrZero,
    Part,
    PositiveDuration,
    PositiveFraction,
    Power,
    Quantity,
    Temperature,
    YearlyFraction,
    figure,
    twice,
)

Chemistry = Literal[
    "lithium-iron-disulfide",
    "alkaline",
    "lithium-ion",
    "nickel-metal-hydride",
    "lithium-manganese-dioxide",
    "lithium-thionyl-chloride",
]


class Battery(Part):
    """Cells, and what each state of the product draws."""

    chemistry: Chemistry = "lithium-iron-disulfide"
    """Kind of the cells; gives their capacity against temperature."""
    energy_j: Energy
    """Usable energy of all cells, fresh, at room temperature."""
    temperature_limit_k: Temperature = figure("60 degC", "temperature")
    """The cells' rated limit: a hard stop."""
    cut_off_frac: Fraction = figure("0 %", "fraction")
    """Share of the energy that is left when the converter cuts off."""
    converter_efficiency_frac: PositiveFraction = figure("85 %", "fraction")
    """Share of the cells' energy that reaches the load."""
    self_discharge_per_s: YearlyFraction = figure("1 %/year", "fraction_per_year")
    """Share lost on the shelf."""
    self_discharge_law: Literal["linear", "exponential"] = "linear"
    """Linear: of the fresh charge; exponential: of what is left."""
    sleep_w: Power
    """Power between cooks."""
    measure_w: Power
    """Sensor and processor while frames are read."""
    compute_w: Power = figure("0 W", "power")
    """Mean extra power of computing while measuring, for one burner that is watched."""
    message_j: Energy | None = None
    """Energy of one radio message; that of the radio table when left out."""
    message_every_s: Duration
    """Time between messages while measuring."""
    sound_j: Energy = figure("0 J", "energy")
    """Energy of sounding alerts in a day."""
    poll_j: Energy = figure("0 J", "energy")
    """Energy of one look from sleep for a warming hob."""
    poll_every_s: Duration = figure("10 s", "time")
    """Time between two looks; 0 where the unit does not poll."""
    duty_frac: PositiveFraction = figure("100 %", "fraction")
    """Share of the cooking time in which the sensor runs."""
    duty_cycle_s: PositiveDuration = figure("60 s", "time")
    """Period of on and off where the sensor runs for a share of the time only."""
    charge_w: Power | None = None
    """What the charger puts into the cells."""
    respond_s: Duration = figure("7 day", "time")
    """Time within which 95 % of users charge or change the cells once reminded."""
    service_s: Duration = figure("3 year", "time")
    """Life of the product over which rechargeable cells age."""
    claim_s: Duration | None = None
    """How long the product claims that a charge lasts."""


class Wake(Part):
    """What wakes the unit when a hob begins to warm, and how long it takes to see."""

    kind: Literal["polling", "motion", "thermal-trip"] = "polling"
    """Looks at intervals, a motion detector, or a comparator that is always on."""
    trip_delta_k: DifferenceOrZero = figure("3 K", "difference")
    """Rise of what the waking sensor reads at which the unit wakes."""
    seen_rise: Annotated[Figure, Quantity("number", gt=0)] = figure("0.3", "number")
    """Rise that the waking sensor reads for one kelvin of the warming pan or flame."""
    lag_s: Duration = figure("3 s", "time")
    """Time constant of the waking sensor."""
    standby_w: Power = figure("0 W", "power")
    """Power of a motion detector or comparator, asleep, all day."""
    catch_frac: Fraction = figure("90 %", "fraction")
    """Share of starts that a motion detector catches; the others wait for the next look."""
    false_per_day: NumberOrZero = figure("0", "number")
    """Times a day that it wakes for nothing."""
    false_awake_s: Duration = figure("30 s", "time")
    """How long it stays awake each time."""
    boot_s: Duration = figure("0.3 s", "time")
    """From waking to the first order to the sensor."""
    first_frame_s: Duration | None = None
    """From that order to the first whole frame; from the card's frame rate when left out."""
    boot_draw_w: Power | None = None
    """Power while booting; that of measuring when left out."""
    awake_after_s: Duration = figure("0 s", "time")
    """How long it stays awake after the last burner went off, until the hob is cold."""


class PayloadField(Part):
    """One number in a message, as whole steps from its lower end."""

    name: str
    """Its name."""
    bits: int = Field(ge=1, le=64)
    """How many bits it takes."""
    low: Number = figure("0", "number")
    """Least value, in the field's own unit."""
    high: Number
    """Largest value."""
    step: Annotated[Figure, Quantity("number", gt=0)] = figure("1", "number")
    """What one step is worth."""
    each_burner: bool = False
    """Whether the message has one for every burner."""


class Radio(Part):
    """How a message is sent, and what is in it."""

    kind: Literal["short-range", "wi-fi"] = "short-range"
    """Short-range advertisements or a wireless network that must be joined first."""
    bit_rate_bps: BitRate = figure("1 Mbit/s", "bit_rate")
    """Bits a second on the air."""
    send_w: Power
    """Power while sending."""
    repeats: int = Field(default=1, ge=1, le=16)
    """How often a message goes out, e.g. once on each of three channels."""
    overhead_bytes: int = Field(default=16, ge=0, le=512)
    """Preamble, address and check of one message."""
    most_bytes: int = Field(default=31, ge=1)
    """Most payload that one message holds."""
    connect_s: Duration = figure("0 s", "time")
    """Time to join the network before each message."""
    connect_draw_w: Power = figure("0 W", "power")
    """Power while joining."""
    header_bytes: int = Field(default=4, ge=0, le=64)
    """Bytes before the fields: version, unit, sequence number."""
    fields: tuple[PayloadField, ...] = ()
    """What a message says."""

    def broken(self) -> Iterator[Broken]:
        """Yield fields of one name."""
        yield from twice("fields[{}].name", [one.name for one in self.fields])


class Diary(Part):
    """How much is cooked: hours a day, or cooks a day and the time of each."""

    cooking_per_day_s: Duration | None = None
    """Hours a day with at least one burner on; its range is drawn as a distribution."""
    cooks_per_day: NumberOrZero | None = None
    """Cooks a day; its range is drawn as a distribution."""
    cook_s: Duration | None = None
    """Time with a burner on in one cook."""
    burners: Annotated[Figure, Quantity("number", gt=0)] = figure("1", "number")
    """Burners watched at once while cooking; computing scales with it."""

    def broken(self) -> Iterator[Broken]:
        """Yield a diary that says twice, or never, how much is cooked."""
        hours = self.cooking_per_day_s is not None
        cooks = self.cooks_per_day is not None and self.cook_s is not None
        if hours and cooks:
            found = "hours a day beside cooks a day and the time of each"
            yield "cooking_per_day", found, "one of the two"
        if not hours and not cooks:
            allowed = "cooking_per_day, or cooks_per_day and cook"
            yield "", "nothing says how much is cooked", allowed
