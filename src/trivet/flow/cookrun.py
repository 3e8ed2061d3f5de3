"""One cook of a campaign, from its plan to the rows of the table; what a worker runs.

Only plain values and bytes go in and out, so that a thread, a process on this
machine and a worker of a cluster run the same code on the same numbers.
"""

from __future__ import annotations

import math
import pickle
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from trivet.files.campaign_table import column_of
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.cook import cook_name
from trivet.records.design import Design
from trivet.records.verdict import ProofCook

Cell = str | int | float | bool | None
Row = dict[str, Cell]


@dataclass(frozen=True)
class Setting:
    """What all cooks of a campaign share."""

    design: Design
    calibration: Calibration


def packed(setting: object) -> bytes:
    """Return what all cooks share as bytes for the workers."""
    return pickle.dumps(setting, protocol=pickle.HIGHEST_PROTOCOL)


@lru_cache(maxsize=2)
def unpacked(setting: bytes) -> object:
    """Return what :func:`packed` was given; a worker does it once."""
    return pickle.loads(setting)


def run_cook(setting: bytes, cook: SweepCook) -> list[Row]:
    """Return the rows of one cook, one a burner; a cook that fails is named, not raised.

    Parameters
    ----------
    setting : bytes
        Design and calibration, as :func:`packed` gave them.
    cook : SweepCook
        Which cook.
    """
    from trivet.models.calibration_views import refuse_other_unit
    from trivet.scoring import burner_figures
    from trivet.stages.alert import alert, watching
    from trivet.stages.estimate import estimate
    from trivet.stages.simulate import simulate

    found = unpacked(setting)
    assert isinstance(found, Setting)
    step = "simulate"
    try:
        made = simulate(found.design, plan=cook.plan, repeat=cook.repeat)
        inputs = made.recording.inputs
        step = "estimate"
        refuse_other_unit(found.calibration, made.recording)
        read = estimate(inputs, design=found.design, calibration=found.calibration)
        step = "alert"
        watch = watching(inputs, design=found.design)
        log = alert(read, design=found.design, told=inputs.told, watch=watch)
        step = "score"
        proof = ProofCook(
            name=made.recording.name,
            plan=cook.combination,
            evidence=made.recording.evidence,
            estimate=read,
            alerts=log,
            reference=made.recording.reference,
            truth=made.truth,
        )
        scores = burner_figures(proof, design=found.design)
    except MemoryError:  # not the cook's own: tried again alone
        raise
    except Exception as fault:  # one failing cook is named, the rest is kept
        text = f"{step}: {type(fault).__name__}: {' '.join(str(fault).split())}"
        return failed_rows(cook, text, design=found.design)
    simulated_s = max(float(head.time_s[-1]) for head in inputs.heads)
    ended: Row = {"stopped": made.truth.stopped, "simulated_s": simulated_s}
    return [
        {**_named(cook, burner, found.design), **ended, **_scored(cells), "error": None}
        for burner, cells in scores.items()
    ]


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
