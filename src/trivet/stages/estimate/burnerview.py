"""What stands fixed of one burner: its pixels, what may be on it, and where from it is seen."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.physics.heat.carriedpan import CarryRule
from trivet.physics.image.panfinder import BurnerRegion
from trivet.physics.radiation.seensurface import Hypothesis
from trivet.records.estimation import Reporter
from trivet.stages.estimate.view import HeadView


@dataclass(frozen=True)
class BurnerView:
    """What one burner's reading needs from around it."""

    name: str
    head: HeadView
    region: BurnerRegion
    hypotheses: tuple[Hypothesis, ...]
    radii_m: tuple[float, float]
    """Smallest and largest radius of a rim, as projected onto the cooktop plane."""
    eye_m: tuple[float, float]
    """Foot of the head on the cooktop, from the burner's centre."""
    rise_frac: float
    """Height of the rim over the height of the head."""
    base_radius_m: float | None
    """Radius of the base, where the cook told which pan it is."""
    boiling_k: float
    carry: CarryRule
    reporter: Reporter = "area-mean"

    @property
    def expects_water(self) -> bool:
        """Whether water is at least as likely as all else."""
        water = sum(one.prior for one in self.hypotheses if one.is_water)
        return water >= 0.5 * sum(one.prior for one in self.hypotheses)
