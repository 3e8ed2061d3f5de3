"""What is shown to people, as data: sections of sentences, tables and charts.

``present`` makes each section once; terminal, page and JSON draw it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trivet.arrays import FloatArray, Int8Array
from trivet.records.benchsheet import Told
from trivet.records.verdict import Decision, ProofCook

CircleKind = Literal["burner", "pan", "head", "spot"]
Grade = Literal["", "simulated", "bench", "predicted"]
"""What a picture or table rests on; empty where it rests on no evidence."""


@dataclass(frozen=True)
class ShownCook:
    """A proof cook with all that its picture needs."""

    cook: ProofCook
    told: Told
    """What the user told the product."""


@dataclass(frozen=True)
class ChartLine:
    """One line or band of a chart; y in SI, NaN where there is none."""

    label: str
    x: FloatArray
    y: FloatArray
    low: FloatArray | None = None
    high: FloatArray | None = None
    style: Literal[
        "reading",
        "hottest",
        "apparent",
        "truth",
        "reference",
        "limit",
        "band",
        "needed",
        "trip",
    ] = "reading"


@dataclass(frozen=True)
class Mark:
    """A labelled moment or place on a chart."""

    x: float
    label: str


@dataclass(frozen=True)
class Span:
    """A labelled stretch of a chart: a gap with its reason, or an alert that is on."""

    start: float
    end: float
    label: str
    kind: Literal["gap", "alert"]


@dataclass(frozen=True)
class Circle:
    """A circle of a plan view. [m]"""

    x_m: float
    y_m: float
    diameter_m: float
    label: str
    kind: CircleKind


@dataclass(frozen=True)
class FrameView:
    """A part of a frame beside what its pixels saw and what the product made of them."""

    temperature_k: FloatArray
    """(row, col) apparent. [K]"""
    so: Int8Array
    """(row, col) index in LABELS of what was so."""
    said: Int8Array
    """(row, col) the product's."""
    outline_px: FloatArray
    """(n, 2) row and column of the outline of the pan's base, as found."""


@dataclass(frozen=True)
class PlanView:
    """The cooktop from above, with the field of view. [m]"""

    width_m: float
    depth_m: float
    circles: tuple[Circle, ...]
    fields: tuple[tuple[str, FloatArray], ...]
    """Head and outline (n, 2) of its field on the cooktop plane. [m]"""
    hidden: tuple[tuple[str, FloatArray], ...] = ()
    """Pan and outline (n, 2) of the part of its base that its wall hides. [m]"""
    bases: tuple[tuple[str, FloatArray], ...] = ()
    """Pan and outline (n, 2) of the part of its base that is seen over its wall. [m]"""
    footprints: tuple[tuple[str, FloatArray], ...] = ()
    """Head and outline (n, 2) of one pixel's footprint. [m]"""


@dataclass(frozen=True)
class Chart:
    """Content of a picture."""

    kind: Literal[
        "trace",
        "budget",
        "plan",
        "battery",
        "cash",
        "error",
        "widths",
        "timeline",
        "days",
        "tornado",
        "scatter",
        "coverage",
        "front",
        "labels",
        "profile",
        "confusion",
    ]
    title: str
    caption: str
    x_label: str = ""
    y_label: str = ""
    lines: tuple[ChartLine, ...] = ()
    marks: tuple[Mark, ...] = ()
    bars: tuple[tuple[str, float, str], ...] = ()
    """Label, value, group."""
    totals: tuple[tuple[str, float, str], ...] = ()
    """Sums of the bars, drawn apart: label, value, group."""
    spans: tuple[Span, ...] = ()
    plan: PlanView | None = None
    frame: FrameView | None = None
    evidence: Grade = ""


@dataclass(frozen=True)
class Table:
    """A table of texts."""

    title: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    evidence: Grade = ""
    brief_rows: int = 0
    """Rows in the short form on the terminal; 0 leaves the table out of it."""


@dataclass(frozen=True)
class Section:
    """Sentences, tables and charts about one subject."""

    title: str
    paragraphs: tuple[str, ...] = ()
    tables: tuple[Table, ...] = ()
    charts: tuple[Chart, ...] = ()


@dataclass(frozen=True)
class Claim:
    """The line of a requirement, or of a goal, on the first page."""

    id: str
    text: str
    decision: Decision | Literal["too few"]
    reason: str
    limit: str = ""
    evidence: str = ""
    """The grades of evidence at hand and the grade asked for."""


@dataclass(frozen=True)
class Dossier:
    """The review, verdict first."""

    title: str
    subtitle: str
    invented: bool
    summary: str
    claims: tuple[Claim, ...]
    sections: tuple[Section, ...]
    cautions: tuple[str, ...]
    hashes: tuple[tuple[str, str], ...]
