"""A trade study: options, weighted criteria, and where the winner flips.

``stages/variants/tradeoff.py`` makes one::

    trade(design: Design, *, predict: Predict) -> TradeStudy
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from trivet.records.figures import Amount, Broken, Fraction, Number, Part, figure, twice

TRADE_METRICS: dict[str, str] = {
    "battery_days": "days of a charge, tenth percentile",
    "contribution_frac": "contribution over net revenue",
    "unit_cost": "landed cost of a unit",
    "npv": "net present value",
    "rim_in_view": "share of the rim in the field, worst burner and pan",
    "pixels_across": "pixels across the pan, worst burner and pan",
    "measurable": "share of the budgets that are measurable",
    "u95": "median 95 % half-width over the measurable budgets, in kelvin",
    "range_headroom": "sensor range above the highest limit, in kelvin",
    "lead": "shortest lead of any alert at any rate that physics allows, in seconds",
    "first_reading": "first reading after burner on, 95 % of starts, in seconds",
}
"""What the prediction of an option can be judged by."""


class Criterion(Part):
    """One thing that counts, how much, and what would be worst and best."""

    name: str
    """Its name."""
    weight_frac: Fraction
    """Its share of the whole; all weights sum to 1."""
    worst: Number
    """Value that scores 0."""
    best: Number
    """Value that scores 1; below worst where less is better."""
    metric: str | None = None
    """Figure of the option's prediction; scores of the options when left out."""

    @model_validator(mode="after")
    def _known(self) -> Criterion:
        if self.metric is not None and self.metric not in TRADE_METRICS:
            allowed = ", ".join(TRADE_METRICS)
            found = f"metric {self.metric!r}"
            raise PydanticCustomError("metric", "{found}", {"found": found, "allowed": allowed})
        if float(self.worst) == float(self.best):
            found = f"worst and best are both {self.worst.text}"
            raise PydanticCustomError(
                "scale", "{found}", {"found": found, "allowed": "two different values"}
            )
        return self


class OptionScore(Part):
    """An option's value of one criterion, as entered."""

    criterion: str
    """Name of the criterion."""
    value: Number
    """The value, on the criterion's own scale."""


class TradeOption(Part):
    """One option: the design as it stands, or with another sensor."""

    name: str
    """Its name."""
    sensor: str | None = None
    """Sensor card that all heads get; the design's own when left out."""
    sensor_price: Amount | None = None
    """Price of the sensor in volume, where the bill cannot take it from the card."""
    scores: tuple[OptionScore, ...] = ()
    """Values of the criteria that have no metric."""


WEIGHT_SPREAD = figure("30 %", "fraction", note="common practice, no source")
SCORE_SPREAD = figure("10 %", "fraction", note="common practice, no source")


class Trade(Part):
    """Options against weighted criteria."""

    criteria: tuple[Criterion, ...] = Field(default=(), max_length=40)
    """What counts; the weights sum to 1."""
    options: tuple[TradeOption, ...] = Field(default=(), max_length=40)
    """What is compared."""
    weight_spread_frac: Fraction = WEIGHT_SPREAD
    """Half-width of each weight, as a share of it, in the draws that try how firm the winner is."""
    score_spread_frac: Fraction = SCORE_SPREAD
    """Half-width of each score, of its scale from worst to best, in those draws."""

    def broken(self) -> Iterator[Broken]:
        """Yield weights that do not make 1, names that stand twice and scores that lack."""
        total = sum(float(one.weight_frac) for one in self.criteria)
        if self.criteria and abs(total - 1.0) > 1e-9:
            allowed = "a sum of 1, so that nothing is forgotten"
            yield "criteria", f"the weights sum to {total:g}", allowed
        if bool(self.criteria) != bool(self.options) or len(self.options) == 1:
            found = f"{len(self.criteria)} criteria and {len(self.options)} options"
            yield "", found, "at least one criterion and two options"
        yield from twice("criteria[{}].name", [one.name for one in self.criteria])
        yield from twice("options[{}].name", [one.name for one in self.options])
        entered = [one.name for one in self.criteria if one.metric is None]
        for at, option in enumerate(self.options):
            given = [one.criterion for one in option.scores]
            if sorted(given) != sorted(entered):
                found = f"scores of {', '.join(given) or 'nothing'}"
                allowed = f"one score of each: {', '.join(entered) or 'none, all have metrics'}"
                yield f"options[{at}].scores", found, allowed


@dataclass(frozen=True)
class TradeCell:
    """Value and score of one option by one criterion."""

    criterion: str
    value: float
    """NaN: unknown, scored 0."""
    score: float


@dataclass(frozen=True)
class TradeRow:
    """One option, best first."""

    option: str
    total: float
    cells: tuple[TradeCell, ...]
    win_frac: float = math.nan
    """Share of the draws that it wins; NaN where a figure of it is unknown."""
    win_low_frac: float = math.nan
    win_high_frac: float = math.nan
    """Exact 95 % interval of that share."""


@dataclass(frozen=True)
class WeightFlip:
    """Where another option would win if one weight changed and the others kept their ratios."""

    criterion: str
    weight_frac: float
    lower_frac: float
    """The winner flips when the weight falls below; NaN: never."""
    lower_winner: str
    upper_frac: float
    """The winner flips when the weight rises above; NaN: never."""
    upper_winner: str


@dataclass(frozen=True)
class TradeStudy:
    """The ranking and how firmly it stands."""

    winner: str
    runner_up: str
    lead: float
    """Total of the winner less that of the next."""
    rows: tuple[TradeRow, ...]
    flips: tuple[WeightFlip, ...]
    notes: tuple[str, ...]
    draws: int = 0
    """Draws of weights and scores."""
    spread: str = ""
    """What was drawn."""
