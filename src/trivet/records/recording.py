"""A recording: what a head saw, what the references said, and, apart, the truth.

``stages/simulate`` makes one::

    simulate(design: Design, *, plan: CookPlan, repeat: int = 0) -> SimulatedCook

and ``trivet.files.benchcook`` reads one. The :class:`ProductInput` is all that ``estimate``
is given; references, events and the sheet are in :class:`Reference`, which it is
not; the truth is in :class:`Truth`, which only ``verify`` is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from trivet.arrays import BoolArray, Float32Array, FloatArray, Int8Array
from trivet.records.benchsheet import (
    SheetBurner,
    SheetFlat,
    SheetMark,
    SheetPatch,
    SheetProbe,
    SheetTarget,
    Told,
)
from trivet.records.requirement import Evidence, Purpose


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


Label = Literal["hob", "pan", "liquid", "food", "wall", "lid", "hand", "steam"]
LABELS: tuple[Label, ...] = ("hob", "pan", "liquid", "food", "wall", "lid", "hand", "steam")
"""Liquid: water, or oil and fat of 0.1 mm and more.  Hand: a hand or a face before the scene.
Steam: droplets take 5 % and more of what comes from below.  Hob: all that is none of these."""
STEAM_LOSS_FRAC = 0.05
"""Share of the radiance from below that droplets take where a pixel counts as steam."""


@dataclass(frozen=True)
class LabelMaps:
    """What the pixels of one head see at some moments."""

    head: str
    time_s: FloatArray
    """(moment,) [s]"""
    label: Int8Array
    """(moment, row, col) index in LABELS of what most of the pixel shows."""
    owner: Int8Array
    """(moment, row, col) index in ``burners`` of the rim that it lies in; -1 none."""
    burners: tuple[str, ...]
    area_px: FloatArray
    """(moment, burner, label) area inside the rim, in pixels, parts of pixels counted."""
    area_u_px: FloatArray
    """(moment, burner, label) its standard uncertainty; 0 of the truth."""


@dataclass(frozen=True)
class PanPlace:
    """Where a pan of a simulated cook stood and how uneven it was, arrays (moment, ...)."""

    burner: str
    diameter_m: float
    """Inner diameter of the base."""
    bare_emissivity: float
    """Of its finish, under whatever lies on it."""
    x_m: FloatArray
    """Pan centre from the burner's centre. [m]"""
    y_m: FloatArray
    pan_k: FloatArray
    """Area mean of the metal. [K]"""
    hob_k: FloatArray
    """The hob beside it. [K]"""
    spread_k: FloatArray
    """P95 - P5 of the metal over the pan's area. [K]"""
    ring_k: FloatArray
    """(moment, ring) mean of five rings of equal width. [K]"""
    sector_delta_k: FloatArray
    """(moment, sector) mean of the outer half of each eighth, from the mean of all eight; from +x
    counter-clockwise. [K]"""
    hot_x_m: FloatArray
    """Middle of the hottest 5 cm2, from the burner's centre. [m]"""
    hot_y_m: FloatArray
    hot_reach_m: FloatArray
    """How far the hottest 5 cm2 lie apart, root mean square about their middle. [m]"""
    hot_kps: FloatArray
    """Rate of the hottest 5 cm2. [K/s]"""


@dataclass(frozen=True)
class SceneTruth:
    """What really was before the heads at some moments of a simulated cook."""

    heads: tuple[LabelMaps, ...]
    pans: tuple[PanPlace, ...]
    hands_s: tuple[float, ...]
    """Moments at which a hand begins to reach over the first pan, and is there 2 s. [s]"""
