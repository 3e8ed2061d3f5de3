"""What is frozen: records, each under a name. The only file here that knows the program."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from tests.secondsim import project as second_project

from trivet.flow.alertstudy import AlertChain
from trivet.flow.chain import Chain
from trivet.flow.scorerun import seen_simulated
from trivet.records.provenance import record_tree
from trivet.stages.alert import alert, watching
from trivet.stages.calibrate import calibrate
from trivet.stages.predict.comparison import compare_sensors
from trivet.stages.score import cook_checks, cook_pieces, score_sheet, short_cooks
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
    folder = larkpane()
    host, device = Chain(folder), Chain(folder, reader="device")
    yield "prediction", host.prediction
    yield "remedies", host.remedies
    yield "trade", host.trade
    yield "sensors", compare_sensors(host.design)
    for grade in host.grades:
        yield f"calibration {grade}", host.calibration(grade)
    for entry in host.cooks:
        yield f"recording {entry.name}", host.recording(entry)
    for entry in host.proof_cooks:
        yield f"truth {entry.name}", host.truth(entry)
        for reader, chain in (("host", host), ("device", device)):
            yield f"estimate {reader} {entry.name}", chain.estimate(entry)
            yield f"alerts {reader} {entry.name}", chain.alerts(entry)
    yield "verdict host", host.verdict
    yield "verdict device", device.verdict
    yield "dossier", host.dossier
    yield "alert study", AlertChain(folder).alert_study(limit=STUDIED)


def short() -> Named:
    """Short random cooks on two simulated units: readings, alerts, and their scores."""
    folder = larkpane()
    chain = Chain(folder)
    design, plans = chain.design, chain.plans
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
        chain = Chain(second_project.build(Path(name) / "second"))
        for grade in chain.grades:
            yield f"calibration {grade}", chain.calibration(grade)
        for entry in chain.cooks:
            yield f"estimate {entry.name}", chain.estimate(entry)
            yield f"alerts {entry.name}", chain.alerts(entry)


def bundle() -> Named:
    """The firmware bundle of the demonstration project, file by file."""
    folder = larkpane()
    made = Chain(folder).bundle(unproven=True)
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
