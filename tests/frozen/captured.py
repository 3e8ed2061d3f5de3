"""What is frozen: records, each under a name. The only file here that knows the program."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any, get_args

from tests.secondsim import project as second_project

from trivet.flow.alertstudy import alert_account
from trivet.flow.cooked import seen_simulated
from trivet.flow.firmware import handed_off
from trivet.flow.project import ProjectFolder
from trivet.flow.spine import reviewed
from trivet.flow.steps import (
    Reader,
    alerted,
    calibrated,
    compared_sensors,
    decided,
    grades,
    predicted,
    proof_entries,
    read,
    recorded,
    remedied,
    traded,
    true_of,
)
from trivet.models.shortcooks import short_cooks
from trivet.records.provenance import record_tree
from trivet.scoring import cook_checks, cook_pieces, score_sheet
from trivet.stages.alert import alert, watching
from trivet.stages.calibrate import calibrate
from trivet.stages.simulate import simulate

ROOT = Path(__file__).parents[2]
SHORT_COOKS, UNITS, STUDIED = 20, 2, 8
Named = Iterator[tuple[str, Any]]

__all__ = ["PARTS", "record_tree"]


@cache
def _own() -> tempfile.TemporaryDirectory[str]:
    return tempfile.TemporaryDirectory(prefix="net-")  # goes with the process


@cache
def larkpane() -> Path:
    """Return a copy of the demonstration project; parts share what is computed in it."""
    folder = Path(_own().name) / "larkpane"
    folder.mkdir()
    for name in ("design.toml", "cooks.toml"):
        shutil.copy(ROOT / "examples" / "larkpane" / name, folder)
    return folder


def demo() -> Named:
    """The demonstration project: every record of ``prove`` by both readers."""
    project = ProjectFolder(larkpane())
    yield "prediction", predicted(project)
    yield "remedies", remedied(project)
    yield "trade", traded(project)
    yield "sensors", compared_sensors(project)
    for grade in grades(project):
        yield f"calibration {grade}", calibrated(project, grade)
    for entry in project.cooks:
        yield f"recording {entry.name}", recorded(project, entry)
    for entry in proof_entries(project):
        yield f"truth {entry.name}", true_of(project, entry)
        for reader in get_args(Reader):
            said = read(project, entry, reader)
            yield f"estimate {reader} {entry.name}", said
            yield f"alerts {reader} {entry.name}", alerted(project, entry, said)
    for reader in get_args(Reader):
        yield f"verdict {reader}", decided(project, reader)
    yield "dossier", reviewed(project)[1]
    yield "alert study", alert_account(project, limit=STUDIED)


def short() -> Named:
    """Short random cooks on two simulated units: readings, alerts, and their scores."""
    project = ProjectFolder(larkpane())
    design, plans = project.design, project.plans
    cooks = short_cooks(design, count=SHORT_COOKS, units=UNITS)
    units = {}
    for unit in sorted({cook.plan.unit for cook in cooks}):
        own = [
            plan.model_copy(update={"unit": unit, "name": f"{plan.name}-{unit}"})
            for plan in plans
            if plan.purpose == "calibration"
        ]
        made = [simulate(design, plan=p, repeat=r) for p in own for r in range(p.repeats)]
        units[unit] = calibrate(design, recordings=[one.recording for one in made])
        yield f"calibration {unit}", units[unit]
    pieces, checks, words = [], [], []
    for cook in cooks:
        scored, inputs = seen_simulated(design, units[cook.plan.unit], cook)
        told, watch = inputs.told, watching(inputs, design=design)
        yield f"estimate {cook.plan.name}", scored.estimate
        log = alert(scored.estimate, design=design, told=told, watch=watch)
        yield f"alerts {cook.plan.name}", log
        pieces += cook_pieces(scored, design=design)
        found = cook_checks(scored, design=design)
        checks += found[0]
        words += found[1]
    yield (
        "score",
        score_sheet(
            pieces=pieces, checks=checks, words=words, condition="short", evidence="simulated"
        ),
    )


def second() -> Named:
    """Twelve cooks of the second simulator: calibration, readings, alerts."""
    with tempfile.TemporaryDirectory() as name:
        project = ProjectFolder(second_project.build(Path(name) / "second"))
        for grade in grades(project):
            yield f"calibration {grade}", calibrated(project, grade)
        for entry in project.cooks:
            said = read(project, entry)
            yield f"estimate {entry.name}", said
            yield f"alerts {entry.name}", alerted(project, entry, said)


def bundle() -> Named:
    """The firmware bundle of the demonstration project, file by file."""
    made = handed_off(ProjectFolder(larkpane()), unproven=True)
    yield "bundle", {"worst_error_k": made.worst_error_k, "error_map_k": made.error_map_k}
    yield "counts", {"vectors": made.vectors}
    for file in made.files:
        yield f"file {file.name}", file.text


PARTS: dict[str, Callable[[], Named]] = {
    "larkpane": demo,
    "short": short,
    "second": second,
    "bundle": bundle,
}
