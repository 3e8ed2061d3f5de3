"""The bench beside the simulator: every recorded cook with its simulated twins."""

from __future__ import annotations

import numpy as np

from trivet.errors import NotEnoughDataError
from trivet.flow.project import CookEntry, ProjectFolder
from trivet.flow.steps import recorded
from trivet.records.credibility import Condition, Credibility, Twin, TwinPair, TwinQuestion
from trivet.records.recording import Recording
from trivet.records.requirement import Evidence

SYNTHETIC = "marked synthetic, so it is no evidence beside measured cooks"


def believed(project: ProjectFolder, *, draws: int) -> Credibility:
    """Return how far the simulator agrees with the bench, from so many twins a cook."""
    from trivet.stages.credibility import credibility

    chosen, left_out = _recorded(project)
    pairs = []
    for entry in project.each("twins", chosen):
        pair = _pair(project, entry, draws)
        if isinstance(pair, str):
            left_out.append(pair)
        else:
            pairs.append(pair)
    return project.store.run(
        credibility, project.design, pairs=pairs, planned=_planned(project), left_out=left_out
    )


def _planned(project: ProjectFolder) -> tuple[Condition, ...]:
    """Return the conditions of every planned cook, those of matrices too."""
    from trivet.stages.credibility import conditions_of

    plans = list(project.plans)
    for matrix in project.cook_set.matrices if project.cook_set else ():
        plans += [cook.plan for cook in matrix.cooks]
    found = (one for plan in plans for one in conditions_of(plan, design=project.design))
    return tuple(dict.fromkeys(found))


def _recorded(project: ProjectFolder) -> tuple[list[CookEntry], list[str]]:
    """Return the recorded cooks of the best grade of evidence, and those left out."""
    bench = [entry for entry in project.cooks if entry.folder is not None]
    if not bench:
        raise NotEnoughDataError(
            f"{project.folder}: no recorded cooks; put them into {project.folder.name}/bench/NAME "
            "(docs/formats/bench-cook.md), then 'trivet import' reads them"
        )
    grade: dict[str, Evidence] = {one.name: recorded(project, one).evidence for one in bench}
    if "bench" not in grade.values():
        return bench, []
    made = [f"{one.name}: {SYNTHETIC}" for one in bench if grade[one.name] != "bench"]
    return [one for one in bench if grade[one.name] == "bench"], made


def _pair(project: ProjectFolder, entry: CookEntry, draws: int) -> TwinPair | str:
    """Return a recorded cook and its twins, or why it has none."""
    from trivet.scoring import questions
    from trivet.stages.credibility import bench_twin

    recording = recorded(project, entry)
    twin = bench_twin(recording, design=project.design)
    if twin.plan is None:
        return f"{entry.name}: {'; '.join(twin.notes)}"
    asked = questions(recording, until_s=twin.until_s)
    if not asked:
        return f"{entry.name}: no probe on a pan or in a liquid rises past 60 C"
    inputs = (project.design, recording, draws)
    return project.store.made(
        "twins", TwinPair, inputs, lambda: _cooked(recording, twin, asked, draws)
    )


def _cooked(
    recording: Recording, twin: Twin, asked: tuple[TwinQuestion, ...], draws: int
) -> TwinPair:
    """Simulate the twins of a recorded cook, each on a sensor unit of its own."""
    from trivet.scoring import answers
    from trivet.stages.simulate import simulate

    assert twin.plan is not None
    plan = twin.plan.model_copy(update={"repeats": draws})
    found = np.full((draws, len(asked)), np.nan)
    for draw in range(draws):
        one = plan.model_copy(update={"unit": f"{plan.name}-{draw}"})
        cook = simulate(twin.design, plan=one, repeat=draw)
        found[draw] = answers(cook.recording, design=twin.design, asked=asked)
    return TwinPair(
        cook=twin.cook,
        evidence=recording.evidence,
        questions=asked,
        bench=answers(recording, design=twin.design, asked=asked),
        simulated=found,
        notes=twin.notes,
        conditions=twin.conditions,
    )
