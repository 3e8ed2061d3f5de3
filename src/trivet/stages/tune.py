"""Set points, dead bands and delays of an alert, searched on cooks that the caller has read."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import FloatArray
from trivet.records.alertaccount import AlertCase
from trivet.records.alertlog import TunedPoint, Tuning
from trivet.records.campaign import SweepCook
from trivet.records.cook import cook_name
from trivet.records.requirement import LIMITED, Alert

CasesOf = Callable[[Alert], Sequence[AlertCase]]
"""What an alert with some settings gives on all cooks."""
WEIGHTS = (0.1, 0.5, 0.9)
"""Of the lead against nuisance and chatter, one search each; own estimate."""
LEAD_SCALE_S = 60.0
"""A lead of so long weighs as much as one nuisance in ten cooks; own estimate."""
POPULATION, GENERATIONS = 6, 5
"""Of differential evolution, a setting; own estimate: a search takes about 90 s."""
AHEAD = "time_to_limit"
TUNED_DUE = ("in time", "late", "missed", "blindness told")


@dataclass(frozen=True)
class Knob:
    """One setting: its key, its unit in the file, and where it may lie."""

    field: str
    key: str
    unit: str
    low: float
    high: float


KNOBS: dict[str, tuple[Knob, ...]] = {
    "level": (
        Knob("set_point_k", "set_point", "degC", 180.0, 295.0),
        Knob("deadband_delta_k", "deadband", "K", 2.0, 20.0),
        Knob("on_delay_s", "on_delay", "s", 0.0, 8.0),
        Knob("off_delay_s", "off_delay", "s", 2.0, 30.0),
    ),
    "time_to_limit": (
        Knob("lead_s", "lead", "s", 40.0, 150.0),
        Knob("deadband_delta_k", "deadband", "K", 2.0, 20.0),
        Knob("on_delay_s", "on_delay", "s", 0.0, 8.0),
        Knob("off_delay_s", "off_delay", "s", 2.0, 30.0),
    ),
    "boil_dry": (
        Knob("change_delta_k", "change", "K", 6.0, 25.0),
        Knob("deadband_delta_k", "deadband", "K", 1.5, 5.0),
        Knob("on_delay_s", "on_delay", "s", 0.0, 12.0),
        Knob("off_delay_s", "off_delay", "s", 2.0, 30.0),
    ),
}
"""Bounds of the search; assumed, no source."""


def tune(
    one: Alert,
    *,
    cases: CasesOf,
    planned: Sequence[SweepCook],
    seed: int,
    tell: Callable[[int], None],
) -> Tuning:
    """Return the front of an alert's settings: points that no other beats in all that counts.

    Parameters
    ----------
    one : Alert
        As designed, of a kind in ``KNOBS``.
    cases : callable
        Gives the cases of an alert over the cooks; called once for each point that is tried.
    planned : sequence of SweepCook
        The calibration cooks behind ``cases``.
    seed : int
        Of the search; one more for each weight.
    tell : callable
        Hears how many of the searches, one a weight, are done.

    Returns
    -------
    Tuning
        The front by falling lead, the design as it is, and the pick with its reason.
    """
    search = _SettingSearch(one, cases, len(planned))
    for step, weight in enumerate(WEIGHTS):
        tell(step)
        search.run(weight, seed=seed + step)
    tell(len(WEIGHTS))
    front = _front(list(search.seen.values()))
    pick = min(front, key=lambda p: (p.missed, p.nuisance, p.chatters, p.turned, -p.lead_s))
    return Tuning(
        alert=one.name,
        cooks=tuple(cook_name(cook.plan, cook.repeat) for cook in planned),
        independent=len({cook.combination for cook in planned}),
        due=len({c.plan for c in search.due(cases(one))}),
        evaluations=search.evaluations,
        seed=seed,
        now=search.judged(one, _texts(one)),
        front=front,
        pick=pick,
        reason="fewest missed or late, then nuisances, then chatter, then cooks warned that"
        " turned down by themselves, then most lead",
    )


class _SettingSearch:
    """Differential evolution over the settings of one alert; every point that it tries is kept."""

    def __init__(self, one: Alert, cases: CasesOf, cooks: int) -> None:
        self._one, self._cases, self._cooks = one, cases, cooks
        self.seen: dict[tuple[tuple[str, str], ...], TunedPoint] = {}
        self.evaluations = 0

    def run(self, weight: float, *, seed: int) -> None:
        """Search once, with a weight of the lead."""
        from scipy.optimize import Bounds, differential_evolution

        knobs = KNOBS[self._one.kind]

        def cost(x: FloatArray) -> float:
            point = self.at(x)
            bad = point.bothered
            lead = -weight * point.lead_s / LEAD_SCALE_S
            return float(lead + (1.0 - weight) * bad / self._cooks * 10.0)

        differential_evolution(
            cost,
            Bounds([knob.low for knob in knobs], [knob.high for knob in knobs]),
            popsize=POPULATION,
            maxiter=GENERATIONS,
            rng=np.random.default_rng(seed),
            polish=False,
            init="sobol",
        )

    def at(self, x: FloatArray) -> TunedPoint:
        """Return what settings give; rounded to half a unit, as they would be written."""
        knobs = KNOBS[self._one.kind]
        texts = tuple(
            (knob.key, f"{round(2.0 * value) / 2.0:g} {knob.unit}")
            for knob, value in zip(knobs, x.tolist(), strict=True)
        )
        self.evaluations += 1
        if texts not in self.seen:
            raw = self._one.model_dump(include=self._one.model_fields_set)
            raw = {key: getattr(value, "text", value) for key, value in raw.items()}
            raw |= {knob.field: text for knob, (_, text) in zip(knobs, texts, strict=True)}
            self.seen[texts] = self.judged(Alert.model_validate(raw), texts)
        return self.seen[texts]

    def judged(self, one: Alert, texts: tuple[tuple[str, str], ...]) -> TunedPoint:
        """Return what an alert gives on the cooks."""
        cases = self._cases(one)
        due = self.due(cases)
        leads = [case.lead_s if math.isfinite(case.lead_s) else 0.0 for case in due]
        return TunedPoint(
            values=texts,
            lead_s=float(np.quantile(leads, 0.05)) if leads else math.nan,
            missed=len({case.plan for case in due if case.end in ("late", "missed")}),
            nuisance=len({case.plan for case in cases if case.judged and case.nuisance}),
            chatters=sum(case.chatters for case in cases),
            turned=len({case.plan for case in cases if self._one.kind == AHEAD and case.turned}),
        )

    def due(self, cases: Sequence[AlertCase]) -> list[AlertCase]:
        """Return the cases that were due; of a pan's limit in oil cooks, as the goal has it."""
        due = [case for case in cases if case.end in TUNED_DUE]
        oily = [case for case in due if case.oily]
        return oily if oily and self._one.kind in LIMITED else due


def _texts(one: Alert) -> tuple[tuple[str, str], ...]:
    values = ((knob.key, getattr(one, knob.field)) for knob in KNOBS[one.kind])
    return tuple((key, "the limit" if value is None else value.text) for key, value in values)


def _front(points: Sequence[TunedPoint]) -> tuple[TunedPoint, ...]:
    """Return the points that no other beats in all that is counted at once."""

    def worth(point: TunedPoint) -> tuple[float, int, int, int, int]:
        lead = -point.lead_s if math.isfinite(point.lead_s) else math.inf
        return (lead, point.missed, point.nuisance, point.chatters, point.turned)

    best: dict[tuple[float, int, int, int, int], TunedPoint] = {}
    for point in points:
        best.setdefault(worth(point), point)
    kept = [
        key
        for key in best
        if not any(
            other != key and all(a <= b for a, b in zip(other, key, strict=True)) for other in best
        )
    ]
    return tuple(best[key] for key in sorted(kept))
