"""What the pixels of a simulated cook saw, beside the labels, places and hands that were said."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.quality import Quality
from trivet.records.cook import CookPlan
from trivet.records.estimate import BurnerEstimate, Estimate, PanShape
from trivet.records.recording import LABELS, LabelMaps, PanPlace, SceneTruth
from trivet.records.verdict import SeenCook
from trivet.scoring.strata import SHINY_BELOW

EVENLY = 12
"""Moments of a cook at which pixels are looked at; own estimate: one in 10 to 20 s."""
FIRST_S = 1.0
"""The first of them; own estimate: the first frames are there. [s]"""
HAND_MIDDLE_S = 1.0
"""A simulated hand is there for 2 s: at its middle it lies farthest in. [s]"""
WARM_DELTA_K = 15.0
"""A pan less than this over the hob counts as cold; own estimate: its outline is too faint.
[K]"""
PATCH_SHARE = 0.1
"""Liquid and bare metal both of this share and more: a film in patches; own estimate."""
OFF_BURNER_M = 0.02
"""From this far off the burner's middle on a pan stands off its burner; own estimate. [m]"""
NOTICED_S = 2.0
"""Time within which a hand is to be noticed; own estimate: as long as it stays. [s]"""


def label_moments(plan: CookPlan, *, from_s: float, until_s: float) -> FloatArray:
    """Return the moments of a planned cook at which pixels are looked at, (moment,) in s.

    Twelve evenly from the first second on, and the middle of each hand's stay.  From the plan
    alone, so no label can choose when it is looked at.
    """
    evenly = np.linspace(min(max(FIRST_S, from_s), until_s), until_s, EVENLY)
    hands = [float(at) + HAND_MIDDLE_S for at in plan.hands_at_s]
    found = np.unique(np.concatenate([evenly, hands]))
    return np.asarray(found[(found >= from_s) & (found <= until_s)])


@dataclass(frozen=True)
class LabelledThing:
    """What carries one label inside one rim at one moment, as it was and as it was said."""

    word: str
    state: str
    """What else makes labels hard here, by what was so; empty for nothing."""
    so: BoolArray
    """(row, col)"""
    said: BoolArray
    """(row, col)"""
    area_px: float
    said_area_px: float
    said_area_u_px: float

    @property
    def size(self) -> int:
        """Pixels that mostly saw it."""
        return int(self.so.sum())

    @property
    def overlap_frac(self) -> float:
        """Pixels in both over pixels in either (Jaccard index)."""
        return float((self.so & self.said).sum() / (self.so | self.said).sum())


def labelled_things(truth: SceneTruth, said: tuple[LabelMaps, ...]) -> Iterator[LabelledThing]:
    """Yield every label inside every rim, head by head and moment by moment.

    A burner that the product does not read on a head is left out there.
    """
    for so in truth.heads:
        own = next((one for one in said if one.head == so.head), None)
        if own is None:
            continue
        for k, burner in enumerate(so.burners):
            if burner not in own.burners:
                continue
            pan = next(one for one in truth.pans if one.burner == burner)
            for m in range(min(so.time_s.size, own.time_s.size)):
                yield from _things(so, own, m, places=(k, own.burners.index(burner)), pan=pan)


def _things(
    so: LabelMaps, own: LabelMaps, m: int, *, places: tuple[int, int], pan: PanPlace
) -> Iterator[LabelledThing]:
    k, mine = places
    state = _state(so, m, k, pan)
    for index, word in enumerate(LABELS[1:], 1):
        yield LabelledThing(
            word,
            state,
            (so.label[m] == index) & (so.owner[m] == k),
            (own.label[m] == index) & (own.owner[m] == mine),
            float(so.area_px[m, k, index]),
            float(own.area_px[m, mine, index]),
            float(own.area_u_px[m, mine, index]),
        )


def _state(so: LabelMaps, m: int, k: int, pan: PanPlace) -> str:
    metal, liquid = (so.area_px[m, k, LABELS.index(one)] for one in ("pan", "liquid"))
    if pan.pan_k[m] - pan.hob_k[m] < WARM_DELTA_K:
        return ", cold pan"
    if pan.bare_emissivity < SHINY_BELOW and liquid < 1.0:
        return ", bare shiny pan"
    if min(metal, liquid) > PATCH_SHARE * max(metal + liquid, 1.0):
        return ", film in patches"
    return ""


@dataclass(frozen=True)
class PanMoment:
    """One pan at one moment that was looked at, as it was and as it was said."""

    pan: PanPlace
    m: int
    """Which moment of the truth."""
    said: BurnerEstimate
    shape: PanShape
    k: int
    """Which moment of the estimate: the last one before."""
    part: str
    """Rim whole or cut, off its burner or not."""
    area_px: FloatArray | None
    """(label,) pixels inside the rim on the head that sees most of it; None without one."""

    @property
    def over_k(self) -> float:
        """How far the pan is over the hob. [K]"""
        return float(self.pan.pan_k[self.m] - self.pan.hob_k[self.m])

    @property
    def bare(self) -> bool:
        """Whether no liquid of 0.1 mm and more hides the metal."""
        return self.area_px is not None and bool(self.area_px[LABELS.index("liquid")] < 1.0)


@dataclass(frozen=True)
class HandStay:
    """One hand over the first pan, and whether the product noticed it in time."""

    warm: bool
    noticed: bool


@dataclass(frozen=True)
class Looked:
    """All that the pixels of one simulated cook say for or against the product."""

    things: tuple[LabelledThing, ...]
    pans: tuple[PanMoment, ...]
    hands: tuple[HandStay, ...]


def looked_at(seen: SeenCook, said: Estimate, *, rims: Mapping[str, str]) -> Looked:
    """Return what pixels saw beside what was said; rims by burner are ``whole`` or ``cut``."""
    return Looked(
        tuple(labelled_things(seen.truth, seen.labels)),
        tuple(_pan_moments(seen.truth, said, rims)),
        tuple(_hand_stays(seen.truth, said)),
    )


def _pan_moments(truth: SceneTruth, said: Estimate, rims: Mapping[str, str]) -> Iterator[PanMoment]:
    by_name = {one.burner: one for one in said.burners}
    for pan in truth.pans:
        one = by_name.get(pan.burner)
        if one is None or one.shape is None:
            continue
        off = float(np.hypot(pan.x_m, pan.y_m).max()) >= OFF_BURNER_M
        part = f"rim {rims.get(pan.burner, 'unknown')}" + (", off its burner" if off else "")
        for m, at in enumerate(truth.heads[0].time_s):
            k = int(np.searchsorted(said.time_s, at, side="right")) - 1
            if k >= 0:
                area = _areas(truth.heads, pan.burner, m)
                yield PanMoment(pan, m, one, one.shape, k, part, area)


def _areas(heads: tuple[LabelMaps, ...], burner: str, m: int) -> FloatArray | None:
    seen = [one.area_px[m, one.burners.index(burner)] for one in heads if m < one.time_s.size]
    return max(seen, key=lambda area: float(area.sum())) if seen else None


def _hand_stays(truth: SceneTruth, said: Estimate) -> Iterator[HandStay]:
    """Yield the hands over the first pan; one that comes while another is there is left out."""
    if not truth.pans:
        return
    pan = truth.pans[0]
    one = next((one for one in said.burners if one.burner == pan.burner), None)
    times = truth.heads[0].time_s
    for at in truth.hands_s:
        if one is None or at + NOTICED_S > said.time_s[-1] or not times.size:
            continue
        m = int(np.argmin(np.abs(times - at)))
        after = (said.time_s >= at) & (said.time_s <= at + NOTICED_S)
        seen = after & ((one.flags & np.uint32(int(Quality.HAND))) != 0)
        yield HandStay(bool(pan.pan_k[m] - pan.hob_k[m] >= WARM_DELTA_K), bool(seen.any()))
