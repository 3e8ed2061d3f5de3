"""The cooks of a campaign, and what so many of them can show."""

from __future__ import annotations

import math
from collections.abc import Sequence

from trivet.errors import InputError
from trivet.flow.cooks import Project
from trivet.physics.statistics.detection import detectable_bias
from trivet.physics.statistics.intervals import upper_bound_frac
from trivet.records.campaign import CampaignPlan, MatrixPlan, PlannedMatrix, SweepCook
from trivet.records.cook import CookPlan, Purpose, cook_name

WRITTEN = "written one by one"


def campaign_cooks(project: Project) -> tuple[SweepCook, ...]:
    """Return every simulation of a campaign: the proof cooks of cooks.toml, in their order.

    Raises
    ------
    InputError
        If the project plans no proof cook.
    """
    cooks = project.cook_set
    found: list[SweepCook] = []
    for plan in cooks.plans.cooks if cooks else ():
        if plan.purpose == "proof":
            found += [SweepCook(plan, repeat, plan.name) for repeat in range(plan.repeats)]
    for matrix in cooks.matrices if cooks else ():
        if matrix.purpose != "proof":
            continue
        for cook in matrix.cooks:
            found += [
                SweepCook(
                    plan=cook.plan,
                    repeat=repeat,
                    combination=cook.combination,
                    matrix=matrix.name,
                    levels=cook.levels,
                    seed=cook.seed,
                    worst=cook.worst,
                )
                for repeat in range(cook.plan.repeats)
            ]
    if not found:
        raise InputError(
            f"{project.folder}: cooks.toml plans no cook of purpose 'proof'; a campaign runs those"
        )
    return tuple(found)


def planned_campaign(project: Project) -> CampaignPlan:
    """Return how many cooks a project plans, part by part, and what so many can show.

    Notes
    -----
    Independent cooks are combinations: repeats and seeds of one are as one.
    """
    cooks = project.cook_set
    parts: list[PlannedMatrix] = []
    for purpose in ("calibration", "proof"):
        written = [one for one in (cooks.plans.cooks if cooks else ()) if one.purpose == purpose]
        if written:
            parts.append(_written(written, purpose))
    parts += [_matrix(one) for one in (cooks.matrices if cooks else ())]
    campaign = campaign_cooks(project)
    independent = len({one.combination for one in campaign})
    return CampaignPlan(
        parts=tuple(parts),
        total=_part("all proof cooks", "proof", independent, len(campaign)),
        names=tuple(cook_name(one.plan, one.repeat) for one in campaign),
    )


def _written(plans: Sequence[CookPlan], purpose: Purpose) -> PlannedMatrix:
    return _part(WRITTEN, purpose, len(plans), sum(one.repeats for one in plans))


def _part(name: str, purpose: Purpose, cooks: int, simulations: int) -> PlannedMatrix:
    return PlannedMatrix(
        name=name,
        purpose=purpose,
        factors={},
        full=cooks,
        excluded=0,
        runs=cooks,
        worst=0,
        pairs_possible=0,
        pairs_covered=0,
        pair_fewest=0,
        cooks=cooks,
        simulations=simulations,
        miss_bound_frac=upper_bound_frac(0, cooks),
        bias_sd=detectable_bias(cooks) if cooks > 1 else math.nan,
    )


def _matrix(matrix: MatrixPlan) -> PlannedMatrix:
    cooks = len({one.combination for one in matrix.cooks})
    return PlannedMatrix(
        name=matrix.name,
        purpose=matrix.purpose,
        factors=matrix.factors,
        full=matrix.full,
        excluded=matrix.excluded,
        runs=matrix.runs,
        worst=len({one.worst for one in matrix.cooks if one.worst}),
        pairs_possible=matrix.pairs_possible,
        pairs_covered=matrix.pairs_covered,
        pair_fewest=matrix.pair_fewest,
        cooks=cooks,
        simulations=sum(one.plan.repeats for one in matrix.cooks),
        miss_bound_frac=upper_bound_frac(0, cooks),
        bias_sd=detectable_bias(cooks) if cooks > 1 else math.nan,
    )
