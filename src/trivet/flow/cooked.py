"""One simulated cook from its plan to rows of a table; what a worker runs.

Only plain values and bytes go in and out, so that a thread, a process on this machine and a worker
of a cluster run the same code on the same numbers.
"""

from __future__ import annotations

import dataclasses
import math
import pickle
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from trivet.files.campaign_table import column_of
from trivet.records.benchsheet import Told
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.checks import EVIDENCE, Check, PanWord
from trivet.records.cook import CookPlan, cook_name
from trivet.records.design import Design
from trivet.records.recording import ProductInput
from trivet.records.scoring import StratumPiece
from trivet.records.verdict import ProofCook, SeenCook

Cell = str | int | float | bool | None
Row = dict[str, Cell]
Answer = StratumPiece | Check | PanWord
ANSWERS: dict[str, Callable[..., Answer]] = {
    one.__name__: one for one in (StratumPiece, Check, PanWord)
}


@dataclass(frozen=True)
class Setting:
    """What all cooks of a run share."""

    design: Design
    calibrations: dict[str, Calibration]
    """By the sensor unit of a plan; the one without a name stands for all others."""

    def calibration(self, cook: SweepCook) -> Calibration:
        """Return the calibration that a cook is read with."""
        unit = cook.plan.unit
        return self.calibrations[unit if unit in self.calibrations else ""]


def packed(setting: Setting) -> bytes:
    """Return what all cooks share as bytes for the workers."""
    return pickle.dumps(setting, protocol=pickle.HIGHEST_PROTOCOL)


@lru_cache(maxsize=2)
def unpacked(setting: bytes) -> Setting:
    """Return what :func:`packed` was given; a worker does it once."""
    found: Setting = pickle.loads(setting)
    return found


def _guarded(work: Callable[[], list[Row]], lost: Callable[[str], list[Row]]) -> list[Row]:
    """Return the rows of a cook; one that fails is named and the rest is kept."""
    try:
        return work()
    except MemoryError:  # not the cook's own: tried again alone
        raise
    except Exception as fault:
        return lost(f"{type(fault).__name__}: {' '.join(str(fault).split())}")


# -- campaigns ----------------------------------------------------------------


def run_cook(setting: bytes, cook: SweepCook) -> list[Row]:
    """Return the rows of one cook, one a burner; a cook that fails is named, not raised."""
    from trivet.models.calibration_views import refuse_other_unit
    from trivet.scoring import burner_figures
    from trivet.stages.alert import alert, watching
    from trivet.stages.estimate import estimate
    from trivet.stages.simulate import simulate

    found = unpacked(setting)
    design, step = found.design, "simulate"

    def work() -> list[Row]:
        nonlocal step
        made = simulate(design, plan=cook.plan, repeat=cook.repeat)
        inputs = made.recording.inputs
        step = "estimate"
        calibration = found.calibration(cook)
        refuse_other_unit(calibration, made.recording)
        read = estimate(inputs, design=design, calibration=calibration)
        step = "alert"
        watch = watching(inputs, design=design)
        log = alert(read, design=design, told=inputs.told, watch=watch)
        step = "score"
        proof = ProofCook.of(
            made.recording, plan=cook.combination, estimate=read, alerts=log, truth=made.truth
        )
        simulated_s = max(float(head.time_s[-1]) for head in inputs.heads)
        ended: Row = {"stopped": made.truth.stopped, "simulated_s": simulated_s}
        return [
            {**_named(cook, burner, design), **ended, **_scored(cells), "error": None}
            for burner, cells in burner_figures(proof, design=design).items()
        ]

    return _guarded(work, lambda text: failed_rows(cook, f"{step}: {text}", design=design))


def failed_rows(cook: SweepCook, error: str, *, design: Design) -> list[Row]:
    """Return the rows of a cook that gave nothing: its names and why."""
    return [{**_named(cook, one.burner, design), "error": error} for one in cook.plan.burners]


def _named(cook: SweepCook, burner: str, design: Design) -> Row:
    here = next(one for one in cook.plan.burners if one.burner == burner)
    return {
        "cook": cook_name(cook.plan, cook.repeat),
        "burner": burner,
        "combination": cook.combination,
        "matrix": cook.matrix,
        "worst_case": cook.worst,
        "seed_name": cook.seed,
        "repeat": cook.repeat,
        "seed": design.project.seed,
        "evidence": "simulated",
        "purpose": cook.plan.purpose,
        "unit": cook.plan.unit,
        "pan": here.pan,
        "base": here.base,
        **{column_of("factor", name): level for name, level in cook.levels.items()},
    }


def _scored(found: Mapping[tuple[str, str], Cell]) -> Row:
    """Return the figures of a burner as cells, by the column of metric and limit or alert."""
    return {
        column_of(name, of) if of else name: None
        if isinstance(cell, float) and not math.isfinite(cell)
        else cell
        for (name, of), cell in found.items()
    }


# -- scores -------------------------------------------------------------------


def run_score_cook(setting: bytes, cook: SweepCook) -> list[Row]:
    """Return the answers of one cook as rows; a cook that fails is named, not raised."""
    found = unpacked(setting)
    return _guarded(
        lambda: [answer_row(one) for one in scored(found, cook)],
        lambda text: [lost_row(cook, text)],
    )


def scored(setting: Setting, cook: SweepCook) -> tuple[Answer, ...]:
    """Return what one simulated cook says."""
    one = seen_simulated(setting.design, setting.calibration(cook), cook)[0]
    return cook_answers(one, design=setting.design)


def cook_answers(cook: ProofCook, *, design: Design) -> tuple[Answer, ...]:
    """Return what one cook says to a score."""
    from trivet.scoring import cook_checks, cook_pieces

    checks, words = cook_checks(cook, design=design)
    return (*cook_pieces(cook, design=design), *checks, *words)


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
    one = ProofCook.of(
        made.recording,
        plan=cook.combination,
        estimate=estimate(inputs, design=design, calibration=calibration),
        truth=made.truth,
        labels=cook.levels,
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
