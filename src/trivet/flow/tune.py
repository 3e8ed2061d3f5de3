"""An alert's settings searched on calibration cooks; proof cooks are never opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from trivet.errors import InputError
from trivet.flow.alertstudy import read_watched
from trivet.flow.pictures import write_chart
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import calibrated
from trivet.records.alertaccount import AlertCase
from trivet.records.alertlog import DeviceState, Tuning, Watch
from trivet.records.campaign import SweepCook
from trivet.records.estimate import Estimate
from trivet.records.recording import SimulatedCook
from trivet.records.requirement import Alert
from trivet.records.verdict import ProofCook
from trivet.stages.tune import KNOBS, WEIGHTS, tune


@dataclass(frozen=True)
class TunedOn:
    """A calibration cook as the alerts see it."""

    made: SimulatedCook
    planned: SweepCook
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
    cooks = project.planned("calibration")
    if not cooks:
        raise InputError(f"{project.folder}: cooks.toml plans no calibration cook to tune on")
    calibration, plans = calibrated(project, "simulated"), tuple(cook.plan for cook in cooks)
    inputs = (project.design, calibration, name, plans)
    return project.store.made("tune", Tuning, inputs, lambda: _searched(project, one, cooks))


def _searched(project: ProjectFolder, one: Alert, planned: Sequence[SweepCook]) -> Tuning:
    from trivet.stages.simulate import simulate

    cooks = []
    for cook in project.each("cooks", planned):
        made = simulate(project.design, plan=cook.plan, repeat=cook.repeat)
        cooks.append(TunedOn(made, cook, *read_watched(project, made.recording.inputs)))
    return tune(
        one,
        cases=lambda tried: [case for cook in cooks for case in _cases(project, cook, tried)],
        planned=planned,
        seed=project.design.project.seed,
        tell=lambda done: project.tell("search", done, len(WEIGHTS)),
    )


def _cases(project: ProjectFolder, cook: TunedOn, one: Alert) -> list[AlertCase]:
    """Return the cases of one alert in one cook; loss of sight is told beside it."""
    from trivet.scoring import alert_cases
    from trivet.stages.alert import alert

    blind = tuple(a for a in project.design.alerts if a.kind == "loss_of_sight")
    design = project.design.model_copy(update={"alerts": (one, *blind)})
    recording = cook.made.recording
    told = recording.inputs.told
    log = alert(cook.estimate, design=design, told=told, watch=cook.watch, state=cook.state)
    proof = ProofCook.of(
        recording,
        plan=cook.planned.combination,
        estimate=cook.estimate,
        alerts=log,
        truth=cook.made.truth,
    )
    cases = alert_cases(proof, design=design, style=cook.planned.plan.style)
    return [case for case in cases if case.alert == one.name]


def write_front_picture(project: ProjectFolder, found: Tuning, folder: Path) -> Path:
    """Draw the front and return where the picture lies."""
    from trivet.present.alertaccount import front_chart

    return write_chart(project, front_chart(found), folder / f"tune-{found.alert}.svg")
