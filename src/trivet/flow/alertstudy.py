"""Every proof cook through the alerts, the account of them, and faults put into one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from trivet.flow.pictures import plain_words, write_chart
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import calibrated, device_state, proof_cook, recorded
from trivet.records.alertaccount import AlertCase, AlertStudy, FaultRow
from trivet.records.alertlog import DeviceState, Watch
from trivet.records.campaign import SweepCook
from trivet.records.cook import cook_name
from trivet.records.dossier import ChartLine, ShownCook
from trivet.records.estimate import Estimate
from trivet.records.recording import ProductInput, Recording
from trivet.records.verdict import ProofCook

MAX_PICTURES = 40
"""Pictures of cases; own estimate: more than anybody looks at."""
BEFORE_S = 15.0
"""Faults are put in so long before the most urgent alert would come; own estimate: longer than the
delay of any alert of the demo."""


@dataclass(frozen=True)
class CookCases:
    """The cases of one cook, as they are kept."""

    cases: tuple[AlertCase, ...]


@dataclass(frozen=True)
class Heard:
    """One cook with what the product said."""

    recording: Recording
    cook: ProofCook

    @property
    def shown(self) -> ShownCook:
        """The cook as a picture needs it."""
        return ShownCook(self.cook, self.recording.inputs.told)


def alert_account(project: ProjectFolder, *, limit: int | None = None) -> AlertStudy:
    """Return the account over the proof cooks, those of the matrices among them."""
    from trivet.scoring import alert_cases, alert_study

    design = project.design
    cases: list[AlertCase] = []
    planned = project.campaign().planned("proof")[:limit] if project.cook_set else ()
    for cook in project.each("cooks", planned):
        cases += _simulated_cases(project, cook)
    for entry in project.cooks:
        if entry.folder is not None and recorded(project, entry).purpose == "proof":
            cases += alert_cases(proof_cook(project, entry), design=design, style="")
    faults = _faults(project, cases, planned)
    return alert_study(design, cases=cases, faults=faults)


def _simulated_cases(project: ProjectFolder, cook: SweepCook) -> tuple[AlertCase, ...]:
    from trivet.scoring import alert_cases

    def made() -> CookCases:
        said = heard(project, cook).cook
        return CookCases(alert_cases(said, design=project.design, style=cook.plan.style))

    inputs = (project.design, calibrated(project, "simulated"), cook.plan, cook.repeat)
    return project.store.made("alertcases", CookCases, inputs, made).cases


def heard(project: ProjectFolder, cook: SweepCook) -> Heard:
    """Return one planned cook with what the product says; nothing of it is stored."""
    from trivet.stages.alert import alert
    from trivet.stages.simulate import simulate

    made = simulate(project.design, plan=cook.plan, repeat=cook.repeat)
    recording = made.recording
    estimate, watch, state = read_watched(project, recording.inputs)
    log = alert(
        estimate, design=project.design, told=recording.inputs.told, watch=watch, state=state
    )
    said = ProofCook.of(
        recording, plan=cook.combination, estimate=estimate, alerts=log, truth=made.truth
    )
    return Heard(recording, said)


def read_watched(
    project: ProjectFolder, inputs: ProductInput
) -> tuple[Estimate, Watch, DeviceState]:
    """Return what the estimate says of an input, and what the device knows of itself."""
    from trivet.stages.alert import watching
    from trivet.stages.estimate import estimate

    design, calibration = project.design, calibrated(project, "simulated")
    state = device_state(design, calibration)
    said = estimate(inputs, design=design, calibration=calibration)
    return said, watching(inputs, design=design, state=state), state


# -- faults -------------------------------------------------------------------


def _faults(
    project: ProjectFolder, cases: Sequence[AlertCase], planned: Sequence[SweepCook]
) -> tuple[FaultRow, ...]:
    """Put each fault into the first oil cook with an urgent alert."""
    from trivet.stages.alert.injection import FAULTS, fault_row

    urgent = {one.name for one in project.design.alerts if one.priority == "high"}
    hit = next(
        (one for one in cases if one.oily and one.alert in urgent and one.end == "in time"), None
    )
    cook = next((c for c in planned if hit and cook_name(c.plan, c.repeat) == hit.cook), None)
    if hit is None or cook is None:
        return ()
    sound = heard(project, cook)
    return tuple(
        fault_row(
            name,
            sound.recording.inputs,
            before=sound.cook.alerts,
            at_s=hit.on_s - BEFORE_S,
            design=project.design,
            read=partial(read_watched, project),
        )
        for name in FAULTS
    )


# -- pictures -----------------------------------------------------------------


def write_case_pictures(
    project: ProjectFolder, study: AlertStudy, folder: Path, *, most: int = MAX_PICTURES
) -> tuple[Path, ...]:
    """Draw the trace of each cook with a missed, late or nuisance alert, urgent ones first."""
    from trivet.present.readings import trace_chart

    written = []
    for case in project.each("pictures", worth_drawing(project, study)[:most]):
        shown = _heard_again(project, case).shown
        said = next(b for b in shown.cook.estimate.burners if b.burner == case.burner)
        what = "nuisance" if case.nuisance else case.end
        chart = trace_chart(project.design, shown, said)
        time_s = shown.cook.estimate.time_s
        apparent = ChartLine("apparent, over the pan", time_s, said.apparent_k, style="apparent")
        title = f"{case.alert}: {what}. {chart.title}"
        chart = replace(chart, title=title, lines=(*chart.lines, apparent))
        name = f"{plain_words(f'{case.alert} {what} {case.cook}')}-{case.burner}.svg"
        written.append(write_chart(project, chart, folder / name))
    return tuple(written)


def worth_drawing(project: ProjectFolder, study: AlertStudy) -> tuple[AlertCase, ...]:
    """Return the cases whose traces explain something, urgent ones first."""
    ranks = {
        one.name: ("high", "medium", "low").index(one.priority) for one in project.design.alerts
    }
    worth = [one for one in study.cases if one.nuisance or one.end in ("late", "missed")]
    return tuple(sorted(worth, key=lambda one: (ranks[one.alert], not one.nuisance)))


def _heard_again(project: ProjectFolder, case: AlertCase) -> Heard:
    """Return the cook of a case with what the product says of it."""
    for cook in project.planned("proof"):
        if cook_name(cook.plan, cook.repeat) == case.cook:
            return heard(project, cook)
    entry = next(one for one in project.cooks if one.folder and one.name == case.cook)
    return Heard(recorded(project, entry), proof_cook(project, entry))
