"""How far simulated cooks agree with recorded ones: per quantity, one verdict.

``stages/credibility`` makes them::

    bench_twin(recording: Recording, *, design: Design) -> Twin
    answers(recording: Recording, *, design: Design, questions) -> (question,)
    credibility(design: Design, *, pairs, planned, left_out) -> Credibility

Bench values and simulated bands stand side by side in every row and are never pooled.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from trivet.arrays import FloatArray
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.requirement import Evidence

CONTENT_FRAC = 0.95
"""Share of simulated cooks that a band holds."""
WANTED_FRAC = 0.90
"""Share of the bench cooks that has to lie inside it."""
MIN_DRAWS = 39
"""With fewer, not even the least and the greatest enclose 95 %."""
MIN_COOKS = 5
"""With fewer bench cooks nothing is decided."""

Agreement = Literal["inside", "outside", "undecided", "too few"]


@dataclass(frozen=True)
class Condition:
    """One factor of a cook and its level."""

    factor: str
    level: str


@dataclass(frozen=True)
class Twin:
    """The plan of a simulated cook under the conditions of a recorded one."""

    cook: str
    design: Design
    """The project's design, at the altitude and with the contents of the sheet."""
    plan: CookPlan | None
    """None where the sheet and the events do not say enough."""
    until_s: float
    """The recording is compared up to here."""
    notes: tuple[str, ...]
    """What was missing, what was assumed, why it ends early."""
    conditions: tuple[Condition, ...]


@dataclass(frozen=True)
class TwinQuestion:
    """One quantity of one burner, asked of a recorded cook and of its twins alike."""

    topic: str
    """Name of the quantity, as ``scoring`` registers it."""
    burner: str
    of: str
    """What the probes touch: pan, oil or liquid."""
    low_k: float
    """Level where it begins; NaN where none is needed. [K]"""
    high_k: float
    """Level where it ends or is taken. [K]"""
    from_s: float
    until_s: float
    """Only this part of the recording counts. [s]"""


@dataclass(frozen=True)
class TwinPair:
    """A recorded cook's values and those of its simulated twins."""

    cook: str
    evidence: Evidence
    """Of the recorded cook: ``simulated`` for a folder that was made, not measured."""
    questions: tuple[TwinQuestion, ...]
    bench: FloatArray
    """(question,)"""
    simulated: FloatArray
    """(draw, question); inf where a level is never reached."""
    notes: tuple[str, ...]
    conditions: tuple[Condition, ...]


@dataclass(frozen=True)
class TwinRow:
    """One value of the bench beside the band of its twins."""

    cook: str
    question: TwinQuestion
    bench: float
    low: float
    middle: float
    high: float
    inside: bool


@dataclass(frozen=True)
class TopicVerdict:
    """What all recorded cooks say of one quantity."""

    topic: str
    """Name of the quantity, as ``scoring`` registers it."""
    cooks: int
    """Recorded cooks with this quantity; burners and probes of one cook count once."""
    inside: int
    """Those whose every value lies inside its band."""
    low_frac: float
    """Exact one-sided 95 % lower bound of the share inside."""
    high_frac: float
    """Exact one-sided 95 % upper bound."""
    bias: float
    """Mean of simulated median minus bench; NaN without values."""
    half_band: float
    """Mean half-width of the bands: what a value had room to miss by; inf where one is open."""
    agreement: Agreement
    text: str


@dataclass(frozen=True)
class Gap:
    """A level of a factor that one side has and the other has not."""

    factor: str
    level: str
    only: Literal["bench", "simulated"]


@dataclass(frozen=True)
class Credibility:
    """How far this project's simulator can be believed, from this project's bench."""

    project: str
    bench_evidence: Evidence
    """``bench``, or ``simulated`` where every folder is marked as made."""
    simulated_evidence: Evidence
    draws: int
    """Simulated twins of each recorded cook."""
    cooks: tuple[str, ...]
    verdicts: tuple[TopicVerdict, ...]
    rows: tuple[TwinRow, ...]
    gaps: tuple[Gap, ...]
    left_out: tuple[str, ...]
    """Recorded cooks that could not be paired, and why."""
    notes: tuple[str, ...]
    caution: str

    @property
    def believed(self) -> bool:
        """Whether every quantity that was compared lies inside."""
        return all(one.agreement == "inside" for one in self.verdicts)
