"""The surfaces that a cook can tell the firmware, and the range in which each emits."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.facts.thresholds import threshold
from trivet.models.contents import fits, seen_of
from trivet.models.emissivity_prior import emissivity_prior_range
from trivet.physics.radiation.planck import Band
from trivet.records.benchsheet import ToldEntry
from trivet.records.calibration import Calibration
from trivet.records.design import CONTENTS, Contents, Design
from trivet.records.requirement import OF_WORDS

MIN_SHARE = threshold("device_min_emissivity_frac")


@dataclass(frozen=True)
class ToldSurface:
    """What may be told of one burner; None: not told."""

    pan: str | None
    contents: Contents | None

    @property
    def name(self) -> str:
        """Its name in the firmware's list."""
        return f"{self.contents or 'any contents'} in {self.pan or 'any pan'}"


@dataclass(frozen=True)
class SurfaceRange:
    """What is seen under one word of the cook, on one burner."""

    low: float
    high: float
    of: int
    """Index in OF_WORDS."""
    alike: bool
    """Whether all that it can be is of the same thing."""
    liquid: bool
    known: bool
    """Whether anything of the design fits it."""


def told_surfaces(design: Design) -> tuple[ToldSurface, ...]:
    """Return all that can be told, nothing told first."""
    used = {base.contents for base in design.bases}
    contents: list[Contents | None] = [None, *(one for one in CONTENTS if one in used)]
    pans: list[str | None] = [None, *(pan.name for pan in design.pans)]
    return tuple(ToldSurface(pan, one) for pan in pans for one in contents)


def told_place(told: ToldEntry, *, surfaces: tuple[ToldSurface, ...]) -> int:
    """Return the place of what a cook told; a pan or contents not in the design count as untold."""
    pans = {one.pan for one in surfaces}
    contents = {one.contents for one in surfaces}
    wanted = ToldSurface(
        told.pan if told.pan in pans else None,
        told.base_contents if told.base_contents in contents else None,
    )
    return surfaces.index(wanted)


def surface_range(
    told: ToldSurface, *, design: Design, calibration: Calibration, band: Band, angle_rad: float
) -> SurfaceRange:
    """Return the emissivities from the lowest to the highest of all that the word leaves open.

    Fitted surfaces count with twice their standard uncertainty within their physical
    range; the others, and bare pans, with their range in the library. No weights: the
    firmware does not reason about which of them is there.
    """
    every = [
        (pan, base)
        for pan in design.pans
        for base in design.bases
        if told.pan in (None, pan.name)
        and told.contents in (None, base.contents)
        and fits(base, pan=pan)
    ]
    if not every:
        return SurfaceRange(1.0, 1.0, 0, alike=False, liquid=False, known=False)
    ends = [
        emissivity_prior_range(pan, base, calibration=calibration, band=band, angle_rad=angle_rad)
        for pan, base in every
    ]
    of = ["oil" if b.contents == "oil" else seen_of(b, pan=p) for p, b in every]
    return SurfaceRange(
        low=max(min(low for low, _ in ends), MIN_SHARE),
        high=min(max(high for _, high in ends), 1.0),
        of=OF_WORDS.index(of[0]),
        alike=len(set(of)) == 1,
        liquid=all(base.contents == "water" for _, base in every),
        known=True,
    )
