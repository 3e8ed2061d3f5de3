"""Scores of a project: its own proof cooks, and short random cooks out of its design."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from trivet.errors import InputError, StorageError
from trivet.files.campaign_table import cook_file
from trivet.files.store import code_version
from trivet.flow.cooked import Setting, packed, run_score_cook, seen_cook, seen_simulated
from trivet.flow.pictures import write_charts
from trivet.flow.project import CookEntry, ProjectFolder
from trivet.flow.steps import calibrated, proof_entries, read, recorded, true_of
from trivet.flow.sweep import DIED, CookRun, Pools
from trivet.models.variants import with_sensor
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.dossier import Chart
from trivet.records.provenance import fingerprint
from trivet.records.requirement import Evidence
from trivet.records.scoring import Score, ScoreSheet
from trivet.records.verdict import ProofCook
from trivet.scoring.cookanswers import (
    Answer,
    by_kind,
    cook_answers,
    lost_row,
    plan_labels,
    row_answer,
)

OWN = "proof cooks of the project"
OWN_MISMATCHED = "proof cooks of the project, physics set apart"
SHORT, SHORT_MISMATCHED = "short random cooks, as designed", "short random cooks, under a mismatch"


@dataclass(frozen=True)
class ShortRun:
    """How many short random cooks, and on what."""

    count: int
    units: int
    """Sensor units, each calibrated on simulated cooks of its own."""
    mismatched: bool
    """Whether as many again are cooked under the declared mismatches."""
    seed: str = "score"
    even_scenes: bool = False
    """Whether each unit looks at a black body too before it is used."""
    sensor: str = ""
    """Card that all heads have in its place; the design's own when empty."""

    @property
    def words(self) -> str:
        """What differs from the design as it stands."""
        card = f", sensor {self.sensor}" if self.sensor else ""
        return card + (", each unit calibrated on even scenes" if self.even_scenes else "")


def own_sheets(project: ProjectFolder) -> tuple[ScoreSheet, ...]:
    """Return the sheets of the project's own proof cooks, one a grade and condition."""
    from trivet.scoring import score_sheet

    piles: dict[tuple[Evidence, str], list[Answer]] = {}
    for entry in project.each("scores", proof_entries(project)):
        condition = OWN_MISMATCHED if entry.plan and entry.plan.mismatch.changes() else OWN
        pile = piles.setdefault((recorded(project, entry).evidence, condition), [])
        pile += _answers(project, entry)
    return tuple(
        score_sheet(**by_kind(pile), condition=condition, evidence=evidence)
        for (evidence, condition), pile in piles.items()
        if pile
    )


def _answers(project: ProjectFolder, entry: CookEntry) -> tuple[Answer, ...]:
    recording, plan, seen = recorded(project, entry), entry.plan, None
    if plan is not None:
        seen = seen_cook(
            recording.inputs,
            design=project.design,
            plan=plan,
            repeat=entry.repeat,
            in_force=calibrated(project, recording.evidence),
        )
    cook = ProofCook.of(
        recording,
        plan=entry.group,
        estimate=read(project, entry),
        truth=true_of(project, entry),
        labels=plan_labels(plan) if plan else {},
        seen=seen,
    )
    return cook_answers(cook, design=project.design)


def short_sheets(
    project: ProjectFolder, asked: ShortRun, *, pools: Pools
) -> tuple[ScoreSheet, ...]:
    """Return the sheets of short random cooks; those done before are taken from the store."""
    from trivet.models.shortcooks import short_cooks
    from trivet.scoring import score_sheet

    design = _seen_with(project, asked)
    conditions = [(SHORT + asked.words, asked.seed, False)]
    if asked.mismatched:
        conditions.append((SHORT_MISMATCHED + asked.words, f"{asked.seed}-apart", True))
    setting = Setting(design, unit_calibrations(project, asked))
    sheets = []
    for condition, seed, mismatched in conditions:
        cooks = short_cooks(
            design, count=asked.count, seed=seed, units=asked.units, mismatched=mismatched
        )
        answers, failed = _run(project, setting, cooks, pools)
        sheets.append(
            score_sheet(
                **by_kind(answers), condition=condition, evidence="simulated", failed=failed
            )
        )
    return tuple(sheets)


def _seen_with(project: ProjectFolder, asked: ShortRun) -> Design:
    return with_sensor(project.design, sensor=asked.sensor) if asked.sensor else project.design


def unit_calibrations(project: ProjectFolder, asked: ShortRun) -> dict[str, Calibration]:
    """Return a calibration for every sensor unit, from the planned calibration cooks on it."""
    from trivet.models.shortcooks import unit_name

    design = _seen_with(project, asked)
    plans = [one for one in project.plans if one.purpose == "calibration"]
    found = {}
    for number in project.each("calibrations", range(asked.units)):
        name = unit_name(number)
        own = tuple(
            plan.model_copy(update={"unit": name, "name": f"{plan.name}-{name}"}) for plan in plans
        )
        found[name] = project.store.made(
            "unit-calibration",
            Calibration,
            (design, own, asked.even_scenes),
            partial(_calibrated, design, own, even=asked.even_scenes),
        )
    return found


def _run(
    project: ProjectFolder, setting: Setting, cooks: Sequence[SweepCook], pools: Pools
) -> tuple[list[Answer], list[str]]:
    """Run what is not done, and return the answers of all cooks and those that failed."""
    kept = project.store.path("score-cooks", setting.design, setting.calibrations)
    run = CookRun(
        work=run_score_cook,
        setting=packed(setting),
        cooks={cook_file(kept, one): one for one in cooks},
        lost=lambda cook: [lost_row(cook, DIED)],
        tell=project.tell,
    )
    run.all(pools, fresh=project.fresh)
    answers: list[Answer] = []
    failed: list[str] = []
    for path, cook in run.cooks.items():
        rows = run.died.get(path) or _rows(path)
        failed += [f"{cook.plan.name}: {row['error']}" for row in rows if row["error"]]
        answers += [row_answer(row) for row in rows if not row["error"]]
    return answers, failed


def write_score_pictures(
    project: ProjectFolder, found: Score, folder: Path, asked: ShortRun | None = None
) -> tuple[Path, ...]:
    """Write the pictures of a score as SVG files and return where they lie.

    Of short cooks one with food is shown as a frame with its labels, and an uneven one
    with its profile.
    """
    from trivet.present.score import score_charts

    charts = [chart for sheet in found.sheets for chart in score_charts(sheet)]
    if asked is not None:
        charts += _cook_charts(project, asked)
    return write_charts(project, charts, folder)


def _cook_charts(project: ProjectFolder, asked: ShortRun) -> list[Chart]:
    from trivet.models.shortcooks import short_cooks
    from trivet.present.scorecooks import pictured_cook, shown_cooks

    design = _seen_with(project, asked)
    cooks = short_cooks(design, count=asked.count, seed=asked.seed, units=asked.units)
    in_force = unit_calibrations(project, asked)
    found: list[Chart] = []
    for kind, cook in shown_cooks(cooks, design=design).items():
        calibration = in_force[cook.plan.unit]
        made = seen_simulated(design, calibration, cook)
        found.append(pictured_cook(kind, made, design=design, calibration=calibration))
    return found


def write_page(project: ProjectFolder, found: Score) -> Path:
    """Render a score and return where its page lies."""
    from trivet.present import render_html
    from trivet.present.score import score_page

    hashes = {
        "design": fingerprint(project.design),
        "score": fingerprint(found),
        "code": code_version(),
    }
    page = score_page(found, design=project.design, hashes=hashes)
    return project.store.page("score", render_html(page, display=project.design.display))


def _calibrated(design: Design, plans: Sequence[CookPlan], *, even: bool) -> Calibration:
    """Return the calibration of one simulated unit."""
    from trivet.stages.calibrate import calibrate
    from trivet.stages.simulate import simulate
    from trivet.stages.simulate.sensing import even_scenes

    recordings = [
        simulate(design, plan=plan, repeat=repeat).recording
        for plan in plans
        for repeat in range(plan.repeats)
    ]
    if even and plans:
        recordings.append(even_scenes(design, plan=plans[0]))
    return calibrate(design, recordings=recordings)


def _rows(path: Path) -> list[dict[str, object]]:
    try:
        return [json.loads(line) for line in path.read_text("utf-8").splitlines()]
    except ValueError as error:
        raise StorageError(
            f"{path}: damaged ({error}); remove it and run the score again"
        ) from error


def score(
    project: ProjectFolder, *, short: ShortRun | None = None, pools: Pools | None = None
) -> tuple[Score, Path]:
    """Score a project and write the page.

    Parameters
    ----------
    project : ProjectFolder
        Its own proof cooks are scored, or short ones out of its design.
    short : ShortRun or None
        Short random cooks instead of the project's own proof cooks.
    pools : callable or None
        Opens the workers for them.

    Raises
    ------
    InputError
        If there is nothing to score.
    """
    if short is not None and pools is not None:
        sheets = short_sheets(project, short, pools=pools)
    else:
        sheets = own_sheets(project)
    if not sheets:
        raise InputError(
            f"{project.folder}: no proof cook to score; plan one in cooks.toml, record one in "
            "bench/, or take short random ones with --cooks 100"
        )
    found = Score(project.design.project.name, sheets)
    kept = project.store.made("score", Score, (found,), lambda: found)
    return kept, write_page(project, kept)
