"""The cooks of a campaign, and what so many of them can show."""

from __future__ import annotations

import math

from trivet.errors import InputError
from trivet.flow.project import ProjectFolder
from trivet.physics.statistics.intervals import detectable_bias, upper_bound_frac
from trivet.records.campaign import CampaignPlan, MatrixPlan, PlannedMatrix, SweepCook
from trivet.records.cook import cook_name
from trivet.records.requirement import Purpose

WRITTEN = "written one by one"


def planned_cooks(project: ProjectFolder, purpose: Purpose) -> tuple[SweepCook, ...]:
    """Return every simulation of a purpose that cooks.toml plans, in its order."""
    cooks = project.cook_set
    found: list[SweepCook] = []
    for plan in cooks.plans.cooks if cooks else ():
        if plan.purpose == purpose:
            found += [SweepCook(plan, repeat, plan.name) for repeat in range(plan.repeats)]
    for matrix in cooks.matrices if cooks else ():
        if matrix.purpose != purpose:
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
    return tuple(found)


def campaign_cooks(project: ProjectFolder) -> tuple[SweepCook, ...]:
    """Return every simulation of a campaign: the proof cooks of cooks.toml, in their order.

    Raises
    ------
    InputError
        If the project plans no proof cook.
    """
    found = planned_cooks(project, "proof")
    if not found:
        raise InputError(
            f"{project.folder}: cooks.toml plans no cook of purpose 'proof'; a campaign runs those"
        )
    return found


def planned_campaign(project: ProjectFolder) -> CampaignPlan:
    """Return how many cooks a project plans, part by part, and what so many can show.

    Notes
    -----
    Independent cooks are combinations: repeats and seeds of one are as one.
    """
    cooks = project.cook_set
    purposes: tuple[Purpose, ...] = ("calibration", "proof")
    parts: list[PlannedMatrix] = []
    for purpose in purposes:
        written = [one for one in (cooks.plans.cooks if cooks else ()) if one.purpose == purpose]
        if written:
            count = sum(one.repeats for one in written)
            parts.append(_part(WRITTEN, purpose, len(written), count))
    parts += [_matrix(one) for one in (cooks.matrices if cooks else ())]
    campaign = campaign_cooks(project)
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
