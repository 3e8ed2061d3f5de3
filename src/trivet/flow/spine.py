"""The spine: the whole chain over a project, from the prediction to what the firmware is handed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from trivet.flow.firmware import handed_off
from trivet.flow.project import ProjectFolder
from trivet.flow.steps import (
    Reader,
    calibrated,
    compared_sensors,
    decided,
    grades,
    hashes,
    predicted,
    proof_cook,
    proof_entries,
    recorded,
    remedied,
)
from trivet.records.dossier import Dossier, ShownCook
from trivet.records.verdict import Verdict


@dataclass(frozen=True)
class Proof:
    """What the whole chain gave."""

    verdict: Verdict
    page: Path
    bundle: Path | None
    """None: the hand-off was skipped, since the verdict, or that on the firmware's reading, does
    not pass."""


def prove(project: ProjectFolder, *, reader: Reader = "host") -> Proof:
    """Run the whole chain, from the prediction to the dossier and the hand-off."""
    from trivet.files.bundle import checked_footprint, write_bundle

    verdict, review = reviewed(project, reader)
    page = write_dossier(project, review)
    if not (verdict.passes and decided(project, "device").passes):
        return Proof(verdict, page, None)
    bundle = handed_off(project, unproven=False)
    checked_footprint(bundle, firmware=project.design.firmware)
    return Proof(verdict, page, write_bundle(project.folder, bundle))


def reviewed(project: ProjectFolder, reader: Reader = "host") -> tuple[Verdict, Dossier]:
    """Return the verdict on the proof cooks and the content of its review: the spine.

    Each stage's inputs stand in its call; `steps` has what one stage takes to be run.
    """
    from trivet.present.dossier import dossier
    from trivet.stages.verify import verify

    design = project.design
    prediction = predicted(project)  # sealed in the store before any recording is read
    entries = project.each("readings", proof_entries(project))
    cooks = [proof_cook(project, entry, reader) for entry in entries]
    verdict = project.store.run(verify, design, prediction=prediction, cooks=cooks)
    project.tell("dossier", 0, 1)
    review = dossier(
        design,
        prediction=prediction,
        calibrations=[calibrated(project, grade) for grade in grades(project)],
        cooks=[
            ShownCook(one, recorded(project, project.entry(one.name)).inputs.told) for one in cooks
        ],
        verdict=verdict,
        hashes=hashes(project, verdict),
        sensors=compared_sensors(project),
        remedies=remedied(project),
    )
    return verdict, review


def write_dossier(project: ProjectFolder, review: Dossier) -> Path:
    """Render the review and return where its page lies."""
    from trivet.present import render_html

    page = render_html(review, display=project.design.display)
    project.tell("dossier", 1, 1)
    return project.store.page("dossier", page)
