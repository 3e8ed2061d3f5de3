"""One short cook of a score, from its plan to its pieces; what a worker runs."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from trivet.flow.cookrun import Row, unpacked
from trivet.records.alertlog import AlertLog
from trivet.records.benchsheet import Told
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.checks import EVIDENCE, Check, PanWord
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import ProductInput
from trivet.records.scoring import StratumPiece
from trivet.records.verdict import ProofCook, SeenCook

Answer = StratumPiece | Check | PanWord
ANSWERS: dict[str, Callable[..., Answer]] = {
    one.__name__: one for one in (StratumPiece, Check, PanWord)
}


@dataclass(frozen=True)
class ScoreSetting:
    """What all cooks of a score share."""

    design: Design
    calibrations: dict[str, Calibration]
    """By the sensor unit of the plan."""


def run_score_cook(setting: bytes, cook: SweepCook) -> list[Row]:
    """Return the answers of one cook as rows; a cook that fails is named, not raised.

    Parameters
    ----------
    setting : bytes
        Design and calibrations, as ``cookrun.packed`` gave them.
    cook : SweepCook
        Which cook; its levels are the labels of its pieces.
    """
    found = unpacked(setting)
    assert isinstance(found, ScoreSetting)
    try:
        answers = scored(found, cook)
    except MemoryError:  # not the cook's own: tried again alone
        raise
    except Exception as fault:  # one failing cook is named, the rest is kept
        return [lost_row(cook, f"{type(fault).__name__}: {' '.join(str(fault).split())}")]
    return [answer_row(one) for one in answers]


def scored(setting: ScoreSetting, cook: SweepCook) -> tuple[Answer, ...]:
    """Return what one simulated cook says."""
    from trivet.scoring import cook_checks, cook_pieces

    design = setting.design
    one = seen_simulated(design, setting.calibrations[cook.plan.unit], cook)[0]
    checks, words = cook_checks(one, design=design)
    return (*cook_pieces(one, design=design), *checks, *words)


def seen_simulated(
    design: Design, calibration: Calibration, cook: SweepCook
) -> tuple[ProofCook, ProductInput]:
    """Return one simulated cook with what the product said of it, and what it was given."""
    from trivet.models.calibration_views import refuse_other_unit
    from trivet.stages.estimate import estimate
    from trivet.stages.simulate import simulate

    made = simulate(design, plan=cook.plan, repeat=cook.repeat)
    refuse_other_unit(calibration, made.recording)
    inputs = made.recording.inputs
    one = ProofCook(
        name=made.recording.name,
        plan=cook.combination,
        unit=made.recording.unit,
        evidence="simulated",
        labels=cook.levels,
        estimate=estimate(inputs, design=design, calibration=calibration),
        alerts=AlertLog(()),
        reference=made.recording.reference,
        truth=made.truth,
        seen=seen_cook(
            inputs, design=design, plan=cook.plan, repeat=cook.repeat, in_force=calibration
        ),
    )
    return one, inputs


def seen_cook(
    inputs: ProductInput,
    *,
    design: Design,
    plan: CookPlan,
    repeat: int,
    in_force: Calibration,
) -> SeenCook:
    """Return what the pixels of a simulated cook saw, what the product made of them, and what it
    would say on less evidence."""
    from trivet.scoring import label_moments
    from trivet.stages.estimate import estimate, label_maps
    from trivet.stages.simulate import scene_truth

    from_s = max(float(one.time_s[0]) for one in inputs.heads)
    until_s = min(float(one.time_s[-1]) for one in inputs.heads)
    at_s = label_moments(plan, from_s=from_s, until_s=until_s)
    times = inputs.heads[0].time_s  # a hand moves a pixel's width from frame to frame
    at_s = np.unique(times[np.searchsorted(times, at_s, side="right") - 1])
    at_s = at_s[at_s >= from_s]
    truth = scene_truth(design, plan=plan, repeat=repeat, at_s=at_s)
    at_s = truth.heads[0].time_s
    untold = dataclasses.replace(inputs, told=Told())
    bare = any(design.base(one.base).contents == "dry" for one in plan.burners)
    ways = ((inputs, True), (untold, False), (untold, True)) if bare else ()
    less = {
        word: estimate(of, design=design, calibration=in_force, leave_out_rate=no_rate)
        for word, (of, no_rate) in zip(EVIDENCE[1:], ways, strict=False)
    }
    maps = label_maps(inputs, design=design, calibration=in_force, at_s=at_s)
    return SeenCook(truth, maps, less)


def lost_row(cook: SweepCook, error: str) -> Row:
    """Return the row of a cook that gave nothing."""
    return {"cook": cook.plan.name, "error": error}


def answer_row(answer: Answer) -> Row:
    """Return an answer as plain values; JSON has no NaN."""
    row: dict[str, Any] = dataclasses.asdict(answer)
    bare = {
        key: None if isinstance(value, float) and math.isnan(value) else value
        for key, value in row.items()
    }
    return {**bare, "answer": type(answer).__name__, "error": None}


def row_answer(row: dict[str, Any]) -> Answer:
    """Return the answer of a row."""
    kind = ANSWERS[row["answer"]]
    values = {key: value for key, value in row.items() if key not in ("error", "answer")}
    values = {key: math.nan if value is None else value for key, value in values.items()}
    return kind(
        **{key: tuple(one) if isinstance(one, list) else one for key, one in values.items()}
    )
