"""A verdict: requirement by requirement, met, not met or not proven, with its evidence.

``stages/verify`` makes one::

    verify(design: Design, *, prediction: Prediction, cooks: Sequence[ProofCook]) -> Verdict
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from trivet.records.alertlog import AlertLog
from trivet.records.estimate import Estimate
from trivet.records.recording import LabelMaps, Recording, Reference, SceneTruth, Truth
from trivet.records.requirement import Evidence

Decision = Literal["met", "not met", "not proven"]
OutcomeState = Literal["ok", "conditional", "fail"]


@dataclass(frozen=True)
class SeenCook:
    """What the pixels of a simulated cook saw, and what the product made of them."""

    truth: SceneTruth
    labels: tuple[LabelMaps, ...]
    """The product's, at the same moments."""
    less: dict[str, Estimate] = field(default_factory=dict)
    """Estimates by the evidence that they rest on, where that is not all."""


@dataclass(frozen=True)
class ProofCook:
    """One cook kept for proof, with what the product said and what was so."""

    name: str
    plan: str
    """The cook plan or bench folder; repeats of one plan are one independent cook."""
    evidence: Evidence
    estimate: Estimate
    alerts: AlertLog
    reference: Reference
    truth: Truth | None
    unit: str = ""
    """Sensor unit."""
    labels: dict[str, str] = field(default_factory=dict)
    """What the plan varies: window, lamp, mismatch."""
    seen: SeenCook | None = None
    """None where nobody looked at pixels, and of a recorded cook."""

    @classmethod
    def of(
        cls,
        recording: Recording,
        *,
        plan: str,
        estimate: Estimate,
        alerts: AlertLog | None = None,
        truth: Truth | None = None,
        labels: dict[str, str] | None = None,
        seen: SeenCook | None = None,
    ) -> ProofCook:
        """Return a recording's cook with what was said of it."""
        return cls(
            name=recording.name,
            plan=plan,
            evidence=recording.evidence,
            estimate=estimate,
            alerts=alerts or AlertLog(()),
            reference=recording.reference,
            truth=truth,
            unit=recording.unit,
            labels=labels or {},
            seen=seen,
        )


@dataclass(frozen=True)
class CookOutcome:
    """One cook's value and state under one requirement, or why the cook says nothing."""

    state: OutcomeState | None
    """Conditional within the guard band; None: the cook counts neither for nor against."""
    value: float = math.nan
    """In the unit of the metric; where the limit is a share of cooks, 1 is a failure."""
    note: str = ""
    """What is missing, or what a reader should know."""


@dataclass(frozen=True)
class EvidenceLine:
    """What one grade of evidence says of one requirement."""

    evidence: Evidence
    value: float
    """The metric, in SI; NaN when there is none."""
    bound: float
    """The end of the confidence interval that the decision uses; equals value if exact."""
    cooks: int
    failures: int
    text: str
    """The figure with its bound, as a sentence."""
    decision: Decision
    sources: tuple[str, ...]
    """Names of the cooks or of the prediction's parts."""


@dataclass(frozen=True)
class RequirementVerdict:
    """The decision about one requirement."""

    id: str
    text: str
    metric: str
    limit: str
    safety: bool
    decision: Decision
    reason: str
    lines: tuple[EvidenceLine, ...]


@dataclass(frozen=True)
class Stratum:
    """Agreement in one stratum: like compared with like, one grade of evidence."""

    evidence: Evidence
    of: str
    contents: str
    cooks: int
    moments: int
    """Heated moments in the stratum."""
    valid_frac: float
    bias_k: float
    low_loa_k: float
    high_loa_k: float
    """95 % limits of agreement. [K]"""
    p95_error_k: float
    covered: int
    drawn: int
    """Of the cooks with one drawn moment, how many intervals cover."""


@dataclass(frozen=True)
class Verdict:
    """All decisions."""

    requirements: tuple[RequirementVerdict, ...]
    strata: tuple[Stratum, ...]

    @property
    def passes(self) -> bool:
        """Whether every requirement is met."""
        return all(one.decision == "met" for one in self.requirements)
