"""Set points, dead bands and delays searched on calibration cooks; proof cooks are never opened."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from trivet.arrays import FloatArray
from trivet.errors import InputError
from trivet.flow.alertstudy import read_watched
from trivet.flow.campaign import planned_cooks
from trivet.flow.pictures import write_chart
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import calibrated
from trivet.records.alertaccount import AlertCase, turned
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.campaign import SweepCook
from trivet.records.cook import cook_name
from trivet.records.design import Design
from trivet.records.dossier import Chart, Line, Mark
from trivet.records.estimate import Estimate
from trivet.records.recording import SimulatedCook
from trivet.records.requirement import LIMITED, Alert
from trivet.records.tuning import TunedPoint, Tuning
from trivet.records.verdict import ProofCook

WEIGHTS = (0.1, 0.5, 0.9)
"""Of the lead against nuisance and chatter: one search each."""
LEAD_SCALE_S = 60.0
POPULATION, GENERATIONS = 6, 5
AHEAD = "time_to_limit"
DUE = ("in time", "late", "missed", "blindness told")


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


@dataclass(frozen=True)
class _TunedOn:
    """A calibration cook as the alerts see it."""

    made: SimulatedCook
    plan: str
    style: str
    estimate: Estimate
    watch: Watch
    state: DeviceState


def tuned(project: ProjectFolder, name: str) -> Tuning:
    """Return the front of one alert's settings on the calibration cooks.

    Raises
    ------
    InputError
        If the alert is unknown or of a kind without settings to search, or no
        calibration cook is planned.
    """
    alerts = project.design.alerts
    one = next((a for a in alerts if a.name == name), None)
    if one is None or one.kind not in KNOBS:
        known = ", ".join(a.name for a in alerts if a.kind in KNOBS) or "none"
        raise InputError(f"no alert {name!r} whose settings can be searched; there are: {known}")
    cooks = planned_cooks(project, "calibration")
    if not cooks:
        raise InputError(f"{project.folder}: cooks.toml plans no calibration cook to tune on")
    calibration, plans = calibrated(project, "simulated"), tuple(cook.plan for cook in cooks)
    inputs = (project.design, calibration, name, plans)
    return project.store.made("tune", Tuning, inputs, lambda: _searched(project, one, cooks))


def _searched(project: ProjectFolder, one: Alert, planned: Sequence[SweepCook]) -> Tuning:
    cooks = [_read_cook(project, cook) for cook in project.each("cooks", planned)]
    search = _Search(project.design, one, cooks)
    seed = project.design.project.seed
    for step, weight in enumerate(project.each("search", WEIGHTS)):
        search.run(weight, seed=seed + step)
    front = _front(list(search.seen.values()))
    pick = min(front, key=lambda p: (p.missed, p.nuisance, p.chatters, p.turned, -p.lead_s))
    due = {c.plan for c in search.due(search.cases(one))}
    return Tuning(
        alert=one.name,
        cooks=tuple(cook_name(cook.plan, cook.repeat) for cook in planned),
        independent=len({cook.combination for cook in planned}),
        due=len(due),
        evaluations=search.evaluations,
        seed=seed,
        now=search.judged(one, _texts(one)),
        front=front,
        pick=pick,
        reason="fewest missed or late, then nuisances, then chatter, then cooks warned that"
        " turned down by themselves, then most lead",
    )


def _read_cook(project: ProjectFolder, cook: SweepCook) -> _TunedOn:
    from trivet.stages.simulate import simulate

    made = simulate(project.design, plan=cook.plan, repeat=cook.repeat)
    said = read_watched(project, made.recording.inputs)
    return _TunedOn(made, cook.combination, cook.plan.style, *said)


def write_front_picture(project: ProjectFolder, found: Tuning, folder: Path) -> Path:
    """Draw the front and return where the picture lies."""
    return write_chart(project, front_chart(found), folder / f"tune-{found.alert}.svg")


class _Search:
    """Differential evolution over the settings of one alert; every point that it tries is kept."""

    def __init__(self, design: Design, one: Alert, cooks: Sequence[_TunedOn]) -> None:
        blind = tuple(a for a in design.alerts if a.kind == "loss_of_sight")
        self._design, self._one, self._others, self._cooks = design, one, blind, cooks
        self.seen: dict[tuple[tuple[str, str], ...], TunedPoint] = {}
        self.evaluations = 0

    def run(self, weight: float, *, seed: int) -> None:
        """Search once, with a weight of the lead."""
        from scipy.optimize import Bounds, differential_evolution

        knobs = KNOBS[self._one.kind]

        def cost(x: FloatArray) -> float:
            point = self.at(x)
            bad = bothered(point)
            lead = -weight * point.lead_s / LEAD_SCALE_S
            return float(lead + (1.0 - weight) * bad / len(self._cooks) * 10.0)

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

    def cases(self, one: Alert) -> list[AlertCase]:
        """Return the cases of one alert over all cooks."""
        from trivet.scoring import alert_cases
        from trivet.stages.alert import alert

        design = self._design.model_copy(update={"alerts": (one, *self._others)})
        found: list[AlertCase] = []
        for cook in self._cooks:
            recording = cook.made.recording
            log = alert(
                cook.estimate,
                design=design,
                told=recording.inputs.told,
                watch=cook.watch,
                state=cook.state,
            )
            proof = ProofCook(
                name=recording.name,
                plan=cook.plan,
                evidence=recording.evidence,
                estimate=cook.estimate,
                alerts=log,
                reference=recording.reference,
                truth=cook.made.truth,
            )
            cases = alert_cases(proof, design=design, style=cook.style)
            found += [case for case in cases if case.alert == one.name]
        return found

    def judged(self, one: Alert, texts: tuple[tuple[str, str], ...]) -> TunedPoint:
        """Return what an alert gives on the cooks."""
        cases = self.cases(one)
        due = self.due(cases)
        leads = [case.lead_s if math.isfinite(case.lead_s) else 0.0 for case in due]
        return TunedPoint(
            values=texts,
            lead_s=float(np.quantile(leads, 0.05)) if leads else math.nan,
            missed=len({case.plan for case in due if case.end in ("late", "missed")}),
            nuisance=len({case.plan for case in cases if case.judged and case.nuisance}),
            chatters=sum(case.chatters for case in cases),
            turned=len({case.plan for case in cases if self._one.kind == AHEAD and turned(case)}),
        )

    def due(self, cases: Sequence[AlertCase]) -> list[AlertCase]:
        """Return the cases that were due; of a pan's limit in oil cooks, as the goal has it."""
        due = [case for case in cases if case.end in DUE]
        oily = [case for case in due if case.oily]
        return oily if oily and self._one.kind in LIMITED else due


def bothered(point: TunedPoint) -> int:
    """Return how often a setting bothers a cook who needs no alert."""
    return point.nuisance + point.chatters + point.turned


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


def front_chart(found: Tuning) -> Chart:
    """Return the picture of a front: lead against cooks with a nuisance or chatter."""

    def line(label: str, points: Sequence[TunedPoint], style: str) -> Line:
        x = np.array([bothered(point) for point in points], dtype=np.float64)
        y = np.array([point.lead_s for point in points], dtype=np.float64)
        return Line(label, x, y, style=style)  # type: ignore[arg-type]

    return Chart(
        "front",
        f"Settings of {found.alert}",
        f"{found.evaluations} settings tried on {len(found.cooks)} calibration cooks; no point of"
        " the front is beaten in lead, misses, nuisances, chatter and needless warnings at once."
        " Proof cooks unseen.",
        x_label="nuisances, chatters and cooks warned that turned down by themselves",
        y_label="lead, 5 % quantile",
        lines=(
            line("front", found.front, "reading"),
            line("as designed", (found.now,), "limit"),
            line("pick", (found.pick,), "truth"),
        ),
        marks=(Mark(float(bothered(found.pick)), "pick"),),
        evidence="simulated",
    )
