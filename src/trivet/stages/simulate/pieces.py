"""Pieces of food of a cook: where each lies, when, and its column of nodes."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError
from trivet.facts.contents import Food, food
from trivet.physics.heat.food import FoodColumn, food_column, food_properties
from trivet.records.cook import CookBurner, FoodPlan
from trivet.records.design import Pan

SLIP_M = 0.008  # how exactly a cook lays food down: common practice, no source
NEVER = 10**9


@dataclass(frozen=True)
class Piece:
    """One piece of food in one pan."""

    plan: FoodPlan
    food: Food
    cover: BoolArray
    """(cell,) where it lies."""
    column: FoodColumn

    def moments(self, step_s: float) -> tuple[int, int, int]:
        """Return the steps at which it goes in, is turned and comes out."""
        plan = self.plan
        turn = NEVER if plan.turn_s is None else round(float(plan.turn_s) / step_s)
        out = NEVER if plan.out_s is None else round(float(plan.out_s) / step_s)
        into = round(float(plan.in_s) / step_s)
        return into, turn, max(into, out)


def pieces(
    plan: CookBurner, *, pan: Pan, x_m: FloatArray, y_m: FloatArray, generator: np.random.Generator
) -> tuple[Piece, ...]:
    """Return the food of a pan; refuse what does not fit into it."""
    _refuse_out_of_order(plan)
    _refuse_overlap(plan)
    made = []
    # always drawn once, so that a cook with food and one without draw alike
    slips = [generator.normal(0.0, SLIP_M, 2) for _ in range(max(1, len(plan.foods)))]
    for one, slip in zip(plan.foods, slips, strict=False):
        _refuse_too_wide(one, pan, plan.burner)
        radius = min(float(one.diameter_m) / 2, 0.95 * float(np.hypot(x_m, y_m).max()))
        away = np.hypot(x_m - float(one.x_m) - slip[0], y_m - float(one.y_m) - slip[1])
        kind = food(one.kind)
        made.append(Piece(one, kind, np.asarray(away <= radius), _column(one, kind)))
    return tuple(made)


def _column(plan: FoodPlan, kind: Food) -> FoodColumn:
    """Return the nodes of a food whose height follows from mass, diameter and composition."""
    of = food_properties(kind.composition, porosity_frac=kind.porosity_frac)
    area = math.pi * (float(plan.diameter_m) / 2) ** 2
    return food_column(
        float(plan.mass_kg) / (of.density_kg_m3 * area),
        density_kg_m3=of.density_kg_m3,
        specific_heat_j_kgk=of.specific_heat_j_kgk,
        conductivity_w_mk=of.conductivity_w_mk,
        water_frac=kind.composition[0],
    )


def _refuse_out_of_order(plan: CookBurner) -> None:
    for one in plan.foods:
        if not float(one.mass_kg) > 0.0:
            raise InputError(f"mass of the {one.kind} on {plan.burner!r} is 0; wanted above 0 kg")
        known = [at for at in (one.in_s, one.turn_s, one.out_s) if at is not None]
        if any(float(two) <= float(first) for first, two in itertools.pairwise(known)):
            raise InputError(
                f"{one.kind} on {plan.burner!r}: {', '.join(f'{float(at):g} s' for at in known)}; "
                "wanted in before turn before out"
            )


def _refuse_too_wide(one: FoodPlan, pan: Pan, burner: str) -> None:
    reach = math.hypot(float(one.x_m), float(one.y_m)) + float(one.diameter_m) / 2
    if reach > float(pan.diameter_m) / 2:
        raise InputError(
            f"{one.kind} on {burner!r} reaches {reach * 1e3:.0f} mm from the middle of pan "
            f"{pan.name!r}, whose radius is {float(pan.diameter_m) / 2 * 1e3:.0f} mm; "
            "take less food, a larger pan or move it inwards"
        )


def _refuse_overlap(plan: CookBurner) -> None:
    for one, other in itertools.combinations(plan.foods, 2):
        first, second = sorted((one, other), key=lambda food: float(food.in_s))
        if first.out_s is not None and float(first.out_s) <= float(second.in_s):
            continue
        gap = math.hypot(float(one.x_m) - float(other.x_m), float(one.y_m) - float(other.y_m))
        if gap < (float(one.diameter_m) + float(other.diameter_m)) / 2:
            raise InputError(
                f"two pieces of food on {plan.burner!r} ({one.kind}, {other.kind}) lie on one "
                "another at one time; give them places x and y apart, or take one out first"
            )
