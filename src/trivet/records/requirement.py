"""Requirements and alerts."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from trivet.records.figures import (
    Broken,
    DifferenceOrZero,
    Duration,
    Figure,
    Fraction,
    Part,
    Quantity,
    Temperature,
    figure,
)

Evidence = Literal["predicted", "simulated", "bench"]
EVIDENCE_ORDER: tuple[Evidence, ...] = ("predicted", "simulated", "bench")
COOK_GRADES: tuple[Evidence, ...] = ("simulated", "bench")
"""Grades of cooks; they are never pooled."""

Purpose = Literal["calibration", "proof"]
"""Fitted on, or kept for proof; never both."""

Of = Literal["pan", "oil", "liquid", "food", "lid", "hidden_pan"]
OF_WORDS: tuple[Of, ...] = ("pan", "oil", "liquid", "food", "lid", "hidden_pan")


class Requirement(Part):
    """What must hold, of what, with which coverage, confidence and evidence."""

    id: str
    """Its short name."""
    text: str
    """What must hold, as a sentence."""
    metric: str
    """What is measured; see docs/metrics.md."""
    limit: str
    """The limit with its unit, read by the metric's kind."""
    of: Of | None = None
    """What the temperature is of; like is compared with like."""
    pans: tuple[str, ...] = ()
    """Pans that the requirement covers; all when empty."""
    bases: tuple[str, ...] = ()
    """Base contents that the requirement covers; all when empty."""
    alert: str | None = None
    """Name of the alert that it is about."""
    band: str | None = None
    """Name of the target band that it is about."""
    above_k: Temperature | None = None
    """Only moments whose reference or truth is above this temperature count."""
    coverage_frac: Fraction = figure("95 %", "fraction")
    """Share that must lie within the limit."""
    confidence_frac: Fraction = figure("95 %", "fraction")
    """Confidence of the bound that the decision uses."""
    evidence: Evidence = "simulated"
    """The least grade of evidence that can show it met."""
    safety: bool = False
    """A safety requirement is never met by simulation alone."""
    guard_band: bool = True
    """Whether the uncertainty of the result must fit inside the limit too."""

    def broken(self) -> Iterator[Broken]:
        """Yield a metric of an alert that names none."""
        if self.metric in ("lead_time", "missed_alerts") and self.alert is None:
            yield "", f"{self.metric} names no alert", "alert = NAME of an alert of this file"


AlertKind = Literal[
    "level",
    "time_to_limit",
    "loss_of_sight",
    "boil_dry",
    "ready",
    "below_band",
    "uneven",
    "unattended",
    "left_on",
    "window_dirty",
    "battery_low",
    "link_lost",
    "housing_hot",
]
LIMITED: frozenset[AlertKind] = frozenset({"level", "time_to_limit"})
"""Kinds that guard a limit."""
DEVICE_KINDS: frozenset[AlertKind] = frozenset(
    {"window_dirty", "battery_low", "link_lost", "housing_hot"}
)
"""Kinds that are about the device itself, not about a burner."""


class Alert(Part):
    """One alert, rationalised: no alert without an action and the time for it."""

    name: str
    """Its name."""
    kind: AlertKind
    """What it is about: `docs/alerts.md` explains each."""
    limit: str | None = None
    """Name of the limit that it guards: of `level` and `time_to_limit`."""
    set_point_k: Temperature | None = None
    """Where a level alert trips; the limit itself when left out. Of `housing_hot`: the housing."""
    lead_s: Duration = figure("60 s", "time")
    """Time before the limit at which a predicted alert trips."""
    deadband_delta_k: DifferenceOrZero = figure("5 K", "difference")
    """It goes off this far below where it came on; the width of a boiling pot's plateau."""
    on_delay_s: Duration = figure("1 s", "time")
    """The condition must hold this long before it goes on."""
    off_delay_s: Duration = figure("5 s", "time")
    """The condition must be gone this long before it goes off."""
    gate_k: Temperature = figure("150 degC", "temperature")
    """Predicted alerts act only above this temperature, and above a told band's upper end."""
    slope_window_s: Annotated[Figure, Quantity("time", ge=5)] = figure("10 s", "time")
    """Span over which the heating rate is taken."""
    change_delta_k: DifferenceOrZero = figure("15 K", "difference")
    """Of `boil_dry`: how far the apparent temperature leaves the plateau of a pot that is dry."""
    plateau_s: Annotated[Figure, Quantity("time", ge=5, le=120)] = figure("20 s", "time")
    """Of `boil_dry`: how long a plateau must last before the alert is armed."""
    within_s: Duration = figure("30 s", "time")
    """Of `boil_dry`: a fall off the plateau that takes longer is a burner turned down."""
    spread_delta_k: DifferenceOrZero = figure("60 K", "difference")
    """Of `uneven`: P95 - P5 over the pan at which it trips."""
    given_up_delta_k: DifferenceOrZero = figure("60 K", "difference")
    """Of `below_band`: this far under the band the cook has given it up."""
    loss_frac: Fraction = figure("10 %", "fraction")
    """Of `window_dirty`: share of the clean window's transmittance that is lost."""
    charge_frac: Fraction = figure("10 %", "fraction")
    """Of `battery_low`: share of the charge that is left."""
    bases: tuple[str, ...] = ()
    """Told base contents for which it acts; all, told or not, when empty."""
    cause: str = Field(min_length=1)
    """What brings it about."""
    consequence: str = Field(min_length=1)
    """What happens if nobody acts."""
    action: str = Field(min_length=1)
    """What the cook should do."""
    time_available_s: Duration
    """Time that the cook has to act."""
    priority: Literal["high", "medium", "low"]
    """How urgent it is."""
    escalation: str = ""
    """What the product does when nobody acts, and how it ends."""
    escalate_after_s: Duration = figure("0 s", "time")
    """On for so long, it escalates, once; never when 0 s."""

    @model_validator(mode="before")
    @classmethod
    def _can_be_acted_on(cls, raw: Any) -> Any:
        if not isinstance(raw, dict):
            return raw
        wants = {"action": "what the cook should do", "time_available": "a time, as '60 s'"}
        for key, allowed in wants.items():
            given = raw.get(key, raw.get(f"{key}_s"))
            if given is None or (isinstance(given, str) and not given.strip()):
                raise PydanticCustomError(
                    "alert",
                    "{found}",
                    {
                        "found": f"alert {raw.get('name', '?')!r} has no {key}:"
                        " an alert that nobody can act on is none",
                        "allowed": f"{key} = {allowed}",
                    },
                )
        return raw

    @model_validator(mode="after")
    def _names_a_limit(self) -> Alert:
        found = allowed = ""
        if self.kind in LIMITED and self.limit is None:
            found, allowed = f"alert {self.name!r} names no limit", "limit = 'NAME'"
        if self.kind == "housing_hot" and self.set_point_k is None:
            found, allowed = f"alert {self.name!r} has no set_point", "set_point = '85 degC'"
        if float(self.escalate_after_s) > 0 and not self.escalation.strip():
            found = f"alert {self.name!r} escalates without saying how"
            allowed = "escalation = what the product does then"
        if found:
            raise PydanticCustomError("alert", "{found}", {"found": found, "allowed": allowed})
        return self
