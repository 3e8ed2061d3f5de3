"""What the design says of readings: when one counts, and which one number stands for a pan."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from trivet.records.figures import (
    DifferenceOrZero,
    Duration,
    Fraction,
    NumberOrZero,
    Temperature,
    figure,
)
from trivet.records.part import Part

Reporter = Literal["area-mean", "trimmed-mean", "upper-half-mode", "p95", "ring", "centre"]
"""Ways to make one number of a pan: its area's mean by physics, the mean or the 95th
percentile of the pixels inside the trimmed rim, the mode of their hotter half, the ring half-way
out, or the middle."""


class Estimation(Part):
    """When a reading counts as one."""

    u95_bound_delta_k: DifferenceOrZero = figure("25 K", "difference")
    """Widest 95 % half-width that is still reported."""
    min_emissivity_frac: Fraction = figure("0.30", "fraction")
    """Below this emissivity a surface is not measurable."""
    min_pixels: int = Field(default=10, ge=1)
    """Fewest pixels that make a reading."""
    awake_s: Duration | None = None
    """Time since wake at which error budgets are stated; the card's settling time if left out."""
    stale_after_s: Duration = figure("3 s", "time")
    """A frame older than this is no reading."""
    heated_above_k: Temperature = figure("50 degC", "temperature")
    """A burner counts as heated above this temperature."""
    carry_hidden_pan: bool = False
    """Whether a pan under food is reported from a model of it learnt from the cook so far; a trial:
    in simulated cooks with food such numbers are still wrong by over 15 K too often."""
    reporter: Reporter | Literal["ranked"] = "area-mean"
    """Which one number stands for a pan; `ranked`: the one that calibration cooks favour."""
    bias_weight: NumberOrZero = figure("1", "number")
    """What 1 K of a cook's bias costs when reporters are ranked."""
    noise_weight: NumberOrZero = figure("1", "number")
    """What 1 K of noise from second to second costs."""
    lag_weight: NumberOrZero = figure("0.5", "number")
    """What 1 s of lag costs."""
    hot_side_weight: NumberOrZero = figure("0.1", "number")
    """What each kelvin costs by which the hottest part is hotter than the number."""
