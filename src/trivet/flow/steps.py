"""The steps of the spine: each stage's record of one project, made when first asked for and kept.

Stages are imported where they are run, so that a command waits only for its own.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Literal

from trivet.errors import StorageError
from trivet.files.store import code_version
from trivet.flow.project import CookEntry, ProjectFolder, once
from trivet.models.calibration_views import window_loss_frac
from trivet.records.alertlog import AlertLog, DeviceState
from trivet.records.calibration import Calibration, ReporterChoice
from trivet.records.comparison import SensorComparison
from trivet.records.design import Design
from trivet.records.estimate import Estimate
from trivet.records.prediction import Prediction, Remedies
from trivet.records.provenance import fingerprint
from trivet.records.recording import Recording, SimulatedCook, Truth
from trivet.records.requirement import Evidence
from trivet.records.trade import TradeStudy
from trivet.records.verdict import ProofCook, Verdict

Reader = Literal["host", "device"]
"""Whose reading alerts and verdict rest on: the estimate's, or the firmware's."""


# -- before any cook ----------------------------------------------------------


@once
def predicted(project: ProjectFolder) -> Prediction:
    """Return what the design alone says; sealed in the store before any recording is read."""
    from trivet.stages.predict import predict

    project.tell("predict", 0, 1)
    return project.store.run(predict, project.design)


@once
def remedied(project: ProjectFolder) -> Remedies:
    """Return what each declared change does to each predicted requirement that fails."""
    from trivet.stages.predict import predict_parts
    from trivet.stages.variants.remedies import remedies

    inputs = (project.design, predicted(project))
    return project.store.made(
        "remedies", Remedies, inputs, lambda: remedies(*inputs, predict=predict_parts)
    )


def traded(project: ProjectFolder) -> TradeStudy:
    """Return the design's options by weighted criteria, and how firmly the winner stands."""
    from trivet.stages.predict import predict_parts
    from trivet.stages.variants.tradeoff import trade

    design = project.design
    return project.store.made(
        "trade", TradeStudy, (design,), lambda: trade(design, predict=predict_parts)
    )


def compared_sensors(project: ProjectFolder) -> SensorComparison:
    """Return every sensor card under the design's mounts, side by side."""
    from trivet.stages.predict import predict_parts
    from trivet.stages.variants.comparison import compare_sensors

    return compare_sensors(project.design, predict=predict_parts)


# -- recordings ---------------------------------------------------------------


@once
def recorded(project: ProjectFolder, entry: CookEntry) -> Recording:
    """Return a cook's recording, simulated or imported."""
    from trivet.files.recording_store import read_recording

    return read_recording(cook_path(project, entry))


def true_of(project: ProjectFolder, entry: CookEntry) -> Truth | None:
    """Return the truth of a simulated cook; a recorded one has none."""
    from trivet.files.recording_store import read_truth

    return read_truth(cook_path(project, entry)) if entry.plan else None


@once
def cook_path(project: ProjectFolder, entry: CookEntry) -> Path:
    """Return where a cook lies in the store, made when it is not there yet."""
    from trivet.files.benchcook import folder_hash
    from trivet.files.recording_store import write_recording

    predicted(project)  # and sealed, before data
    source = (entry.plan, entry.repeat) if entry.folder is None else (folder_hash(entry.folder),)
    path = project.store.path("recording", project.design, *source)
    if not path.exists():
        write_recording(path, _made(project, entry))
    elif project.fresh:
        _compare(_made(project, entry), path)
    return path


def _made(project: ProjectFolder, entry: CookEntry) -> SimulatedCook | Recording:
    from trivet.files.benchcook import import_bench_cook
    from trivet.stages.simulate import simulate

    if entry.plan is not None:
        return simulate(project.design, plan=entry.plan, repeat=entry.repeat)
    assert entry.folder is not None
    return import_bench_cook(entry.folder, design=project.design)


def _compare(again: SimulatedCook | Recording, path: Path) -> None:
    """Hold a cook made again against the stored one; nothing is overwritten."""
    from trivet.files.recording_store import read_recording

    recording = again.recording if isinstance(again, SimulatedCook) else again
    if fingerprint(recording) != fingerprint(read_recording(path)):
        raise StorageError(
            f"{path}: made again, cook {recording.name!r} differs from what is stored; "
            "move the folder away to keep both"
        )


@once
def proof_entries(project: ProjectFolder) -> tuple[CookEntry, ...]:
    """Return the cooks kept for proof; each is read on the way, with progress."""
    cooks = project.each("cooks", project.cooks)
    return tuple(entry for entry in cooks if recorded(project, entry).purpose == "proof")


@once
def grades(project: ProjectFolder) -> tuple[Evidence, ...]:
    """Return the grades of evidence that the project's recordings have."""
    found = {
        "simulated" if entry.plan else recorded(project, entry).evidence for entry in project.cooks
    }
    order: tuple[Evidence, ...] = ("simulated", "bench")
    return tuple(grade for grade in order if grade in found)


# -- calibration --------------------------------------------------------------


@once
def calibrated(project: ProjectFolder, evidence: Evidence) -> Calibration:
    """Return the calibration from the calibration cooks of one grade of evidence."""
    fitted = _fitted(project, evidence)
    if project.design.estimation.reporter != "ranked":
        return fitted
    choice = reporters(project, evidence)
    return replace(fitted, reporter=choice.chosen, reporter_reason=choice.reason)


@once
def _fitted(project: ProjectFolder, evidence: Evidence) -> Calibration:
    from trivet.stages.calibrate import calibrate

    recordings = [recorded(project, entry) for entry in _calibration_entries(project, evidence)]
    return project.store.run(calibrate, project.design, recordings=recordings)


def _calibration_entries(project: ProjectFolder, evidence: Evidence) -> list[CookEntry]:
    may = [one for one in project.cooks if one.plan is None or one.plan.purpose == "calibration"]
    return [
        entry
        for entry in may
        if (recording := recorded(project, entry)).purpose == "calibration"
        and recording.evidence == evidence
    ]


@once
def reporters(project: ProjectFolder, evidence: Evidence) -> ReporterChoice:
    """Return which reporter the calibration cooks of a grade favour: each reads them all."""
    from trivet.stages.calibrate.reporters import REPORTERS, TriedCook, rank_reporters
    from trivet.stages.estimate import estimate

    fitted, design = _fitted(project, evidence), project.design

    def ranked() -> ReporterChoice:
        cooks = []
        for entry in project.each("reporters", _calibration_entries(project, evidence)):
            recording = recorded(project, entry)
            readings = {
                one: estimate(
                    recording.inputs, design=design, calibration=replace(fitted, reporter=one)
                )
                for one in REPORTERS
            }
            cooks.append(TriedCook(recording, entry.group, readings))
        return rank_reporters(cooks, design=design)

    return project.store.made("reporters", ReporterChoice, (design, fitted), ranked)


def moved_mounts(project: ProjectFolder, evidence: Evidence) -> tuple[str, ...]:
    """Return which recordings of a grade see the pans elsewhere than the calibration does."""
    from trivet.stages.calibrate.mountings import moved_since

    calibration = calibrated(project, evidence)
    return tuple(
        text
        for recording in (recorded(project, entry) for entry in project.cooks)
        if recording.evidence == evidence
        for text in moved_since(recording, design=project.design, calibration=calibration)
    )


# -- what the product says ----------------------------------------------------


@once
def read(project: ProjectFolder, entry: CookEntry, reader: Reader = "host") -> Estimate:
    """Return the readings of one cook."""
    from trivet.models.calibration_views import refuse_other_unit
    from trivet.stages.estimate import estimate
    from trivet.stages.firmware_reading import device_estimate

    recording = recorded(project, entry)
    calibration = calibrated(project, recording.evidence)
    refuse_other_unit(calibration, recording)
    if reader == "device":
        return project.store.run(
            device_estimate, recording.inputs, design=project.design, calibration=calibration
        )
    return project.store.run(
        estimate, recording.inputs, design=project.design, calibration=calibration
    )


def alerted(project: ProjectFolder, entry: CookEntry, said: Estimate) -> AlertLog:
    """Return the alert log of one cook as some reading of it gives it."""
    from trivet.stages.alert import alert, watching

    recording, design = recorded(project, entry), project.design
    state = device_state(design, calibrated(project, recording.evidence))
    return project.store.run(
        alert,
        said,
        design=design,
        told=recording.inputs.told,
        watch=watching(recording.inputs, design=design, state=state),
        state=state,
    )


def device_state(design: Design, calibration: Calibration) -> DeviceState:
    """Return the device as calibration knows it: what its window has lost."""
    return DeviceState(window_loss_frac=window_loss_frac(design, calibration))


def proof_cook(project: ProjectFolder, entry: CookEntry, reader: Reader = "host") -> ProofCook:
    """Return one cook with what was said of it and what was so."""
    recording, said = recorded(project, entry), read(project, entry, reader)
    return ProofCook.of(
        recording,
        plan=entry.group,
        estimate=said,
        alerts=alerted(project, entry, said),
        truth=true_of(project, entry),
    )


# -- verdict ------------------------------------------------------------------


@once
def decided(project: ProjectFolder, reader: Reader = "host") -> Verdict:
    """Return the verdict, requirement by requirement, from the proof cooks."""
    from trivet.stages.verify import verify

    prediction = predicted(project)
    entries = project.each("readings", proof_entries(project))
    cooks = [proof_cook(project, entry, reader) for entry in entries]
    return project.store.run(verify, project.design, prediction=prediction, cooks=cooks)


def hashes(project: ProjectFolder, verdict: Verdict) -> dict[str, str]:
    """Return the hashes of what a verdict rests on."""
    return {
        "design": fingerprint(project.design),
        "prediction": fingerprint(predicted(project)),
        **{
            f"calibration, {grade}": fingerprint(calibrated(project, grade))
            for grade in grades(project)
        },
        "verdict": fingerprint(verdict),
        "code": code_version(),
    }
