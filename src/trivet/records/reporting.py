"""Which one number stands for a pan, and the trial that says so."""

from __future__ import annotations

from dataclasses import dataclass

from trivet.records.estimation import Reporter
from trivet.records.requirement import Evidence


@dataclass(frozen=True)
class ReporterTrial:
    """One reporter on one calibration cook, against the probes on the same surface."""

    reporter: Reporter
    cook: str
    plan: str
    """Repeats of one plan share it; they are left out together."""
    moments: int
    bias_k: float
    noise_k: float
    """From second to second. [K]"""
    lag_s: float
    """NaN where the cook does not tell. [s]"""
    hot_side_k: float
    """By how much the hottest probe is hotter than the number, on average. [K]"""
    loss: float


@dataclass(frozen=True)
class ReporterScore:
    """One reporter over all cooks of the trial."""

    reporter: Reporter
    cooks: int
    bias_k: float
    bias_spread_k: float
    """Standard deviation from cook to cook. [K]"""
    noise_k: float
    lag_s: float
    hot_side_k: float
    loss: float
    """Mean of the cooks' losses."""


@dataclass(frozen=True)
class ReporterFold:
    """What the other cooks would have chosen, and what that costs on the one left out."""

    left_out: str
    chosen: Reporter
    loss: float


@dataclass(frozen=True)
class ReporterChoice:
    """The reporter that calibration cooks of one grade favour, with the evidence."""

    evidence: Evidence
    chosen: Reporter
    reason: str
    weights: dict[str, float]
    """What 1 K of bias, 1 K of noise, 1 s of lag and 1 K on the hot side cost."""
    scores: tuple[ReporterScore, ...]
    """Best first."""
    folds: tuple[ReporterFold, ...]
    left_out_loss: float
    """Mean loss of the choice on plans that it did not see; NaN where there is no choice."""
    trials: tuple[ReporterTrial, ...]
