"""A recording: what a head saw, what the references said, and, apart, the truth.

``stages/simulate.py`` makes one::

    simulate(design: Design, *, plan: CookPlan, repeat: int = 0) -> SimulatedCook

and ``files/benchcook.py`` reads one. The :class:`ProductInput` is all that ``estimate``
is given; references, events and the sheet are in :class:`Reference`, which it is
not; the truth is in :class:`Truth`, which only ``verify`` is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trivet.arrays import BoolArray, Float32Array, FloatArray, Int8Array
from trivet.records.benchsheet import SheetFlat, SheetMark, SheetPatch, SheetTarget
from trivet.records.cook import Purpose, SheetBurner, SheetProbe, Told
from trivet.records.requirement import Evidence


@dataclass(frozen=True)
class HeadFrames:
    """The frames of one head and the state of its sensor.

    ``apparent_k`` is what a black body would have to be to give each pixel's
    signal, window and reflections included; NaN for a pixel without a value,
    ``+inf`` for one at or above the sensor's range, ``-inf`` below it.
    """

    head: str
    time_s: FloatArray
    """(time,) from the start of the recording; strictly rising. [s]"""
    apparent_k: Float32Array
    """(time, row, col). [K]"""
    sensor_k: FloatArray
    """(time,) temperature of the sensor housing. [K]"""
    awake_s: FloatArray
    """(time,) since the sensor woke. [s]"""

    def part(self, which: slice | BoolArray) -> HeadFrames:
        """Return some of the frames, by a slice or a mask (time,)."""
        return HeadFrames(
            self.head,
            self.time_s[which],
            self.apparent_k[which],
            self.sensor_k[which],
            self.awake_s[which],
        )


@dataclass(frozen=True)
class PresenceSeries:
    """What the product's presence channel answered."""

    time_s: tuple[float, ...]
    """On the frames' clock, rising. [s]"""
    present: tuple[bool, ...]
    """Whether it saw somebody."""


@dataclass(frozen=True)
class ProductInput:
    """All that the product itself has: frames, sensor state, presence and what it was told."""

    heads: tuple[HeadFrames, ...]
    told: Told
    presence: PresenceSeries | None = None
    """None without such a channel."""

    def frames_of(self, head: str) -> HeadFrames | None:
        """Return the frames of a head by its name, or None where there are none."""
        return next((one for one in self.heads if one.head == head), None)


@dataclass(frozen=True)
class ProbeSeries:
    """One reference probe's corrected readings."""

    probe: SheetProbe
    time_s: FloatArray
    """(time,) on the frames' clock. [s]"""
    temperature_k: FloatArray
    """(time,) NaN in a gap or an open circuit. [K]"""
    u_k: FloatArray
    """(time,) standard uncertainty. [K]"""


@dataclass(frozen=True)
class Event:
    """Something that was done at a moment."""

    time_s: float
    burner: str
    event: str
    value: str = ""
    note: str = ""


EVENTS: tuple[str, ...] = (
    "on",
    "off",
    "level",
    "pan_on",
    "pan_off",
    "food_in",
    "turn",
    "food_out",
    "lid_on",
    "lid_off",
    "person_in",
    "person_out",
    "shutter",
    "boil",
    "smoke",
    "ignition",
    "move",
    "sensor_fault",
    "probe_fault",
)


@dataclass(frozen=True)
class Note:
    """A finding of the import: a flag that says what, where and what to do."""

    what: str
    where: str
    advice: str


@dataclass(frozen=True)
class Reference:
    """What the product must never see: probes, events, the bench sheet."""

    probes: tuple[ProbeSeries, ...]
    events: tuple[Event, ...]
    sheet: tuple[SheetBurner, ...]
    marks: tuple[SheetMark, ...] = ()
    targets: tuple[SheetTarget, ...] = ()
    patches: tuple[SheetPatch, ...] = ()
    flats: tuple[SheetFlat, ...] = ()


@dataclass(frozen=True)
class Recording:
    """One cook, recorded or simulated."""

    name: str
    """Unique in the project; repeats end in ``-r0``, ``-r1``, ..."""
    purpose: Purpose
    evidence: Evidence
    """``simulated`` or ``bench``."""
    unit: str
    """The sensor unit, drawn or by serial number."""
    altitude_m: float
    inputs: ProductInput
    reference: Reference
    notes: tuple[Note, ...] = ()


@dataclass(frozen=True)
class BurnerTruth:
    """What was really so on one burner of a simulated cook."""

    burner: str
    pan: str
    base: str
    time_s: FloatArray
    """(time,) [s]"""
    seen_of: Int8Array
    """(time,) index in OF_WORDS of the surface that most of the visible base shows; -1 no pan."""
    seen_k: FloatArray
    """(time,) area mean over that surface where visible. [K]"""
    pan_k: FloatArray
    """(time,) area mean of the pan surface. [K]"""
    hottest_k: FloatArray
    """(time,) mean of the hottest 5 cm2 of the pan surface. [K]"""
    pan_p5_k: FloatArray
    """(time,) 5th percentile over the pan's area. [K]"""
    pan_p95_k: FloatArray
    """(time,) 95th percentile over the pan's area. [K]"""
    contents_k: FloatArray
    """(time,) mean surface temperature of oil or liquid; NaN where none is left. [K]"""
    food_k: FloatArray
    """(time,) mean temperature of the food's top; NaN where none. [K]"""
    core_k: FloatArray
    """(time,) coldest layer of the food; NaN where none. [K]"""
    contents_kg: FloatArray
    """(time,) mass of the contents left. [kg]"""
    emissivity: FloatArray
    """(time,) band emissivity of the seen surface, area mean. [-]"""
    heat_w: FloatArray
    """(time,) heat entering the pan. [W]"""
    oily_frac: FloatArray | None = None
    """(time,) share of the visible base that lies under 0.1 mm of oil or more. [-]"""
    rim_in_view_frac: float = math.nan
    """Share of the area inside the rim that lies in the field of the head that sees it best. [-]"""


@dataclass(frozen=True)
class Truth:
    """The truth of a simulated cook, in a group of its own."""

    recording: str
    burners: tuple[BurnerTruth, ...]
    stopped: str = ""
    """Why the simulation ended early; empty when it ran to its end."""


@dataclass(frozen=True)
class SimulatedCook:
    """A simulated recording with its truth beside it."""

    recording: Recording
    truth: Truth


Grade = Literal["simulated", "bench"]
