"""One simulated cook from its plan to rows of a table; what a worker runs.

Only plain values and bytes go in and out, so that a thread, a process on this machine and a worker
of a cluster run the same code on the same numbers.
"""

from __future__ import annotations

import dataclasses
import pickle
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trivet.records.benchsheet import Told
from trivet.records.calibration import Calibration
from trivet.records.campaign import Row, SweepCook
from trivet.records.checks import EVIDENCE
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import ProductInput
from trivet.records.verdict import ProofCook, SeenCook
from trivet.scoring.campaign import burner_rows, failed_rows
from trivet.scoring.cookanswers import Answer, answer_row, cook_answers, lost_row


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
        return burner_rows(proof, cook=cook, design=design, ended=ended)

    return _guarded(work, lambda text: failed_rows(cook, f"{step}: {text}", design=design))


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
