"""A campaign: the cooks that a matrix expands to, and what so many cooks can show."""

from __future__ import annotations

from dataclasses import dataclass, field

from trivet.records.cook import CookPlan, CookPlans, Purpose
from trivet.records.requirement import Evidence


@dataclass(frozen=True)
class MatrixCook:
    """One cook of a matrix and where it stands in it."""

    plan: CookPlan
    levels: dict[str, str]
    """Level of each factor."""
    combination: str
    """Name without the seed: cooks of one combination count as one independent cook."""
    seed: str = ""
    """Name of its seed, empty without one."""
    worst: str = ""
    """Name of the worst case that it is, empty otherwise."""


@dataclass(frozen=True)
class MatrixPlan:
    """One matrix, expanded."""

    name: str
    purpose: Purpose
    prove: bool
    factors: dict[str, tuple[str, ...]]
    """Levels of each factor."""
    full: int
    """Combinations of the full factorial."""
    excluded: int
    """Combinations that a rule leaves out."""
    runs: int
    """Combinations that are run, worst cases aside."""
    pairs_possible: int
    """Pairs of levels of two factors that the rules allow."""
    pairs_covered: int
    """Of these, how many some run holds."""
    pair_fewest: int
    """Runs that hold the rarest of them."""
    cooks: tuple[MatrixCook, ...]


@dataclass(frozen=True)
class CookSet:
    """All planned cooks of a project: written one by one, and made by its matrices."""

    plans: CookPlans
    matrices: tuple[MatrixPlan, ...] = ()

    @property
    def combinations(self) -> dict[str, str]:
        """Name of the combination that each plan of a matrix repeats."""
        return {
            cook.plan.name: cook.combination for matrix in self.matrices for cook in matrix.cooks
        }

    @property
    def chained(self) -> tuple[CookPlan, ...]:
        """Plans that the chain runs: written ones, and matrices to calibrate on or prove by."""
        made = [
            cook.plan
            for matrix in self.matrices
            if matrix.prove or matrix.purpose == "calibration"
            for cook in matrix.cooks
        ]
        return (*self.plans.cooks, *made)


@dataclass(frozen=True)
class PlannedMatrix:
    """What one matrix, or the cooks written one by one, add to a campaign."""

    name: str
    purpose: Purpose
    factors: dict[str, tuple[str, ...]]
    full: int
    excluded: int
    runs: int
    worst: int
    pairs_possible: int
    pairs_covered: int
    pair_fewest: int
    cooks: int
    """Independent cooks: plans."""
    simulations: int
    """Cooks times repeats."""
    miss_bound_frac: float
    """Largest rate of misses that stays possible when none of the cooks misses, at 95 %."""
    bias_sd: float
    """Smallest bias found with a chance of 80 %, in spreads of the cooks; NaN for one cook."""


@dataclass(frozen=True)
class CampaignPlan:
    """How many cooks are planned, and what so many can show."""

    parts: tuple[PlannedMatrix, ...]
    total: PlannedMatrix
    """All proof cooks together."""
    names: tuple[str, ...] = field(default=())
    """Every proof cook, in the order in which a sweep runs them."""


@dataclass(frozen=True)
class SweepCook:
    """One simulation of a campaign: a plan, which repeat, and where it stands in its matrix."""

    plan: CookPlan
    repeat: int
    combination: str
    matrix: str = ""
    levels: dict[str, str] = field(default_factory=dict)
    seed: str = ""
    worst: str = ""


@dataclass(frozen=True)
class Rate:
    """How often something happened, with its exact bounds."""

    name: str
    of: str
    """What the denominator is."""
    failures: int
    cooks: int
    """Independent cooks that say anything; one is as bad as its worst repeat or seed."""
    value_frac: float
    low_frac: float
    high_frac: float
    """Exact two-sided 95 % bounds."""


@dataclass(frozen=True)
class Spread:
    """A figure over the cooks of a campaign."""

    name: str
    unit: str
    cooks: int
    median: float
    p95: float
    worst: float


@dataclass(frozen=True)
class FailedCook:
    """A cook that gave nothing, and why."""

    cook: str
    error: str


@dataclass(frozen=True)
class Sweep:
    """What a campaign gave so far."""

    table: str
    """File name of the table."""
    evidence: Evidence
    planned: int
    """Simulations of the whole campaign."""
    done: int
    rows: int
    failed: int
    first_failed: tuple[FailedCook, ...]
    """The first of them."""
    rates: tuple[Rate, ...]
    spreads: tuple[Spread, ...]
