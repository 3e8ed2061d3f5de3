"""Scores: what one burner of one cook says for or against a design, by the verdict's rules."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LimitScore:
    """One limit on one burner."""

    limit: str
    reached_s: float
    """When it was first reached; infinite if never, NaN where nothing tells. [s]"""


@dataclass(frozen=True)
class AlertScore:
    """One alert on one burner."""

    alert: str
    first_s: float
    """When it first came on; infinite if never. [s]"""
    lead_s: float
    """From the alert to its limit; -inf without the alert, NaN where no limit was reached. [s]"""
    missed: bool | None
    """Whether the limit was reached without it; None where it was not reached."""
    nuisance: bool | None
    """Whether it came without its cause; None where nothing tells."""


@dataclass(frozen=True)
class BurnerScore:
    """One burner of one cook."""

    burner: str
    pan: str
    """Of a simulated cook; empty on the bench."""
    base: str
    """The same."""
    max_pan_k: float
    """Hottest 5 cm2 of the pan, or hottest probe of it; NaN where nothing tells. [K]"""
    heated: int
    """Moments at which the pan is heated."""
    valid_frac: float
    """Share of these with a reading; NaN without one."""
    readings: int
    """Readings that truth or references can judge."""
    covered_frac: float
    """Share of these whose 95 % interval holds; NaN without one."""
    drawn_covered: bool | None
    """Whether that of the drawn one holds, the one that counts; None without one."""
    wrong: bool | None
    """Whether any reading is wrong by over 15 K and outside its interval."""
    bias_k: float
    """Mean error. [K]"""
    p95_error_k: float
    """95th percentile of the absolute error. [K]"""
    max_error_k: float
    """Largest absolute error. [K]"""
    limits: tuple[LimitScore, ...]
    alerts: tuple[AlertScore, ...]
