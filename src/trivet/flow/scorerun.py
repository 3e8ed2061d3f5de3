"""One short cook of a score, from its plan to its pieces; what a worker runs."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from typing import Any

from trivet.flow.cookrun import Row, unpacked
from trivet.records.calibration import Calibration
from trivet.records.campaign import SweepCook
from trivet.records.design import Design
from trivet.records.scoring import Piece

NUMBERS = ("so_k", "error_k", "u95_k")


@dataclass(frozen=True)
class ScoreSetting:
    """What all cooks of a score share."""

    design: Design
    calibrations: dict[str, Calibration]
    """By the sensor unit of the plan."""


def run_score_cook(setting: bytes, cook: SweepCook) -> list[Row]:
    """Return the pieces of one cook as rows; a cook that fails is named, not raised.

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
        pieces = scored(found, cook)
    except MemoryError:  # not the cook's own: tried again alone
        raise
    except Exception as fault:  # one failing cook is named, the rest is kept
        return [lost_row(cook, f"{type(fault).__name__}: {' '.join(str(fault).split())}")]
    return [piece_row(one) for one in pieces]


def scored(setting: ScoreSetting, cook: SweepCook) -> tuple[Piece, ...]:
    """Return the pieces of one simulated cook."""
    from trivet.stages.calibrate.unit import refuse_other_unit
    from trivet.stages.estimate import estimate
    from trivet.stages.score import ScoredCook, cook_pieces
    from trivet.stages.simulate import simulate

    design, calibration = setting.design, setting.calibrations[cook.plan.unit]
    made = simulate(design, plan=cook.plan, repeat=cook.repeat)
    refuse_other_unit(calibration, made.recording)
    read = estimate(made.recording.sight, design=design, calibration=calibration)
    one = ScoredCook(
        name=made.recording.name,
        plan=cook.combination,
        unit=made.recording.unit,
        evidence="simulated",
        labels=cook.levels,
        estimate=read,
        reference=made.recording.reference,
        truth=made.truth,
    )
    return cook_pieces(one, design=design)


def lost_row(cook: SweepCook, error: str) -> Row:
    """Return the row of a cook that gave nothing."""
    return {"cook": cook.plan.name, "error": error}


def piece_row(piece: Piece) -> Row:
    """Return a piece as plain values; JSON has no NaN."""
    row: dict[str, Any] = dataclasses.asdict(piece)
    bare = {
        key: None if isinstance(value, float) and math.isnan(value) else value
        for key, value in row.items()
    }
    return {**bare, "error": None}


def row_piece(row: dict[str, Any]) -> Piece:
    """Return the piece of a row."""
    values = {key: value for key, value in row.items() if key != "error"}
    values = {key: math.nan if value is None else value for key, value in values.items()}
    values |= {key: tuple(values[key]) for key in NUMBERS}
    return Piece(**values)
