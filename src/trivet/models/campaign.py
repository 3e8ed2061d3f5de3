"""What so many planned cooks can show."""

from __future__ import annotations

import math

from trivet.physics.statistics.intervals import detectable_bias, upper_bound_frac
from trivet.records.campaign import CampaignPlan, CookSet, MatrixPlan, PlannedMatrix
from trivet.records.cook import cook_name
from trivet.records.requirement import Purpose

WRITTEN = "written one by one"


def planned_campaign(cooks: CookSet) -> CampaignPlan:
    """Return how many cooks are planned, part by part, and what so many can show.

    Notes
    -----
    Independent cooks are combinations: repeats and seeds of one are as one.
    """
    purposes: tuple[Purpose, ...] = ("calibration", "proof")
    parts: list[PlannedMatrix] = []
    for purpose in purposes:
        written = [one for one in cooks.plans.cooks if one.purpose == purpose]
        if written:
            count = sum(one.repeats for one in written)
            parts.append(_part(WRITTEN, purpose, len(written), count))
    parts += [_matrix(one) for one in cooks.matrices]
    campaign = cooks.planned("proof")
    independent = len({one.combination for one in campaign})
    return CampaignPlan(
        parts=tuple(parts),
        total=_part("all proof cooks", "proof", independent, len(campaign)),
        names=tuple(cook_name(one.plan, one.repeat) for one in campaign),
    )


def _part(
    name: str, purpose: Purpose, cooks: int, simulations: int, matrix: MatrixPlan | None = None
) -> PlannedMatrix:
    return PlannedMatrix(
        name=name,
        purpose=purpose,
        factors=matrix.factors if matrix else {},
        full=matrix.full if matrix else cooks,
        excluded=matrix.excluded if matrix else 0,
        runs=matrix.runs if matrix else cooks,
        worst=len({one.worst for one in matrix.cooks if one.worst}) if matrix else 0,
        pairs_possible=matrix.pairs_possible if matrix else 0,
        pairs_covered=matrix.pairs_covered if matrix else 0,
        pair_fewest=matrix.pair_fewest if matrix else 0,
        cooks=cooks,
        simulations=simulations,
        miss_bound_frac=upper_bound_frac(0, cooks),
        bias_sd=detectable_bias(cooks) if cooks > 1 else math.nan,
    )


def _matrix(matrix: MatrixPlan) -> PlannedMatrix:
    cooks = len({one.combination for one in matrix.cooks})
    count = sum(one.plan.repeats for one in matrix.cooks)
    return _part(matrix.name, matrix.purpose, cooks, count, matrix)
