"""What an error budget is made of: cases, places, terms."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from trivet.arrays import FloatArray
from trivet.physics.radiation.measurement import LineOfSight, sighted_apparent_k
from trivet.physics.statistics.errordraws import FIELDS
from trivet.records.prediction import PanView
from trivet.stages.predict.views import Eye

Field = Literal[
    "offset_k",
    "gain",
    "emissivity",
    "reflected_k",
    "transmittance",
    "window_k",
    "source_frac",
    "around_k",
    "step_k",
    "column_frac",
    "mirrored_frac",
]
Shape = Literal["rectangular", "normal"]


@dataclass(frozen=True, eq=False)
class Term:
    """One term for every case: deviation of an input from what the product believes.

    ``low`` and ``high`` (case,) are the ends of a rectangular deviation, or minus
    and plus one standard deviation of a normal one; NaN where the card is silent.
    A term that is not ``needed`` may be unknown: it is named and left out of the
    sum; an unknown needed one leaves no figure at all.
    """

    name: str
    field: Field
    low: FloatArray
    high: FloatArray
    distribution: Shape
    source: str
    needed: bool = True

    @property
    def standard_uncertainty(self) -> FloatArray:
        """Standard deviation of the input. (case,)"""
        half = (self.high - self.low) / 2
        return half / math.sqrt(3.0) if self.distribution == "rectangular" else half

    @property
    def known(self) -> bool:
        """Whether its size is known in every case."""
        return not bool(np.isnan(self.low).any() or np.isnan(self.high).any())


@dataclass(frozen=True)
class Pair:
    """Two terms that err together, and why."""

    first: str
    second: str
    coefficient: float
    why: str


@dataclass(frozen=True, eq=False)
class Cases:
    """What one head sees, case by case: temperatures and what the product believes. (case,)

    ``step_k`` is the believed drop from the pan to the film's surface.
    """

    eye: Eye
    temperature_k: FloatArray
    sight: LineOfSight
    step_k: FloatArray
    terms: tuple[Term, ...]
    pairs: tuple[Pair, ...] = ()

    @property
    def apparent_k(self) -> FloatArray:
        """What the sensor states when nothing errs. (case,)"""
        return sighted_apparent_k(
            self.temperature_k - self.step_k, sight=self.sight, band=self.eye.band
        )

    @property
    def nominal(self) -> FloatArray:
        """What the product believes, (case, field) in the order of the fused equation."""
        columns = [
            self.step_k if name == "step_k" else np.asarray(getattr(self.sight, name), float)
            for name in FIELDS
        ]
        count = self.temperature_k.size
        return np.stack([np.broadcast_to(column, (count,)) for column in columns], axis=1)

    @property
    def range_k(self) -> tuple[float, float]:
        """Ends of the sensor's range; infinite where the card is silent."""
        low, high = self.eye.card.range_low_k, self.eye.card.range_high_k
        return (
            -math.inf if low is None else float(low),
            math.inf if high is None else float(high),
        )


@dataclass(frozen=True)
class Place:
    """One case before its terms are known: a view, a temperature, a surface."""

    view: PanView
    temperature_k: float
    pan_diameter_m: float
    film_m: float
    """Thickness of a film read as the pan; 0 where there is none."""
    emissivity: tuple[float, float, float]
    """Believed value, low and high."""
    emissivity_source: str
    blur_loss: tuple[float, float]
    """Least and most share of the signal that blur takes from beside the pan."""
    film_share_frac: float = 1.0
    """Share of the glow that comes from the film itself and not from the pan below."""
    burner_m: tuple[float, float] = (0.0, 0.0)
    """Where the pan stands."""
    base: str = ""
    """Base contents."""
