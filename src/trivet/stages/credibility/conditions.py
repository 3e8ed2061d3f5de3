"""Conditions of cooks as factors with levels, and what one side has and the other has not."""

from __future__ import annotations

from collections.abc import Sequence

from trivet.records.cook import CookPlan
from trivet.records.credibility import Condition, Gap
from trivet.records.design import Design

OFF_CENTRE_M = 0.010


def conditions_of(plan: CookPlan, *, design: Design) -> tuple[Condition, ...]:
    """Return the factors of a planned cook, each with its level.

    Power is the highest level of the knob in quarters; a pan counts as off its
    burner from 10 mm on.  What no bench sheet says (the window's age, the hood's
    warmth, who attends) is no factor here.
    """
    found: list[Condition] = []
    kinds = {one.name: one.kind for one in design.burners}
    contents = {one.name: one.contents for one in design.bases}
    for one in plan.burners:
        away = max(abs(float(one.offset_x_m)), abs(float(one.offset_y_m)))
        peak = max(float(step.level_frac) for step in one.schedule)
        quarter = min(3, int(4.0 * peak))
        found += [
            Condition("burner", one.burner),
            Condition("burner kind", kinds.get(one.burner, "unknown")),
            Condition("pan", one.pan),
            Condition("contents", contents.get(one.base, "unknown")),
            Condition("base", one.base),
            Condition("power", f"{25 * quarter} to {25 * quarter + 25} %"),
            *(Condition("food", food.kind) for food in one.foods),
            Condition("lid", "on" if one.lid else "off"),
            Condition("position", "centred" if away < OFF_CENTRE_M else "off centre"),
        ]
        if not one.foods:
            found.append(Condition("food", "none"))
    room = plan.ambient_k if plan.ambient_k is not None else design.surroundings.ambient_k
    ten = 10 * int((float(room) - 273.15) // 10)
    found += [
        Condition("pans at once", "one pan" if len(plan.burners) == 1 else "several pans"),
        Condition("room", f"{ten} to {ten + 10} C"),
    ]
    return tuple(dict.fromkeys(found))


def gaps(bench: Sequence[Condition], simulated: Sequence[Condition]) -> tuple[Gap, ...]:
    """Return the levels that only one side has, in order of factor and level."""
    recorded, planned = set(bench), set(simulated)
    alone = [Gap(one.factor, one.level, "bench") for one in recorded - planned]
    alone += [Gap(one.factor, one.level, "simulated") for one in planned - recorded]
    return tuple(sorted(alone, key=lambda gap: (gap.only, gap.factor, gap.level)))
