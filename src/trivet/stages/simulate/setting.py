"""What stands on each burner of a cook: pan, contents, pieces of food and heat as drawn."""

from __future__ import annotations

import dataclasses
import itertools
import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from trivet.arrays import BoolArray, FloatArray
from trivet.errors import InputError
from trivet.facts.contents import Food, food
from trivet.facts.pans import Material, burner_figure, material, surface
from trivet.physics.geometry.sampling import CellGrid
from trivet.physics.heat.burners import (
    BURNERS,
    BurnerPattern,
    FluxMap,
    default_pattern,
    flux_map,
    turned_down,
)
from trivet.physics.heat.food import FoodColumn, food_column, food_properties
from trivet.physics.heat.loads import Layer
from trivet.physics.heat.pan.model import cell_area_frac, cell_centres
from trivet.records.cook import CookBurner, CookPlan, FoodPlan
from trivet.records.design import Base, Burner, Design, Pan
from trivet.stages.simulate.contents import (
    OilDraw,
    base_height_m,
    boiling_as,
    contents,
    fat_kg,
    oil_draw,
    refuse_contents,
)
from trivet.stages.simulate.draws import Repeat, drawn

SLIP_M = 0.008  # own estimate: how exactly a cook lays food down
RIM_FRAC = 0.95  # of the base that food may cover; own estimate
NEVER_STEP = 10**9  # own estimate: later than any cook


@dataclass(frozen=True)
class FoodPiece:
    """One piece of food in one pan."""

    plan: FoodPlan
    food: Food
    cover: BoolArray
    """(cell,) where it lies."""
    column: FoodColumn

    def moments(self, step_s: float) -> tuple[int, int, int]:
        """Return the steps at which it goes in, is turned and comes out."""
        plan = self.plan
        turn = NEVER_STEP if plan.turn_s is None else round(float(plan.turn_s) / step_s)
        out = NEVER_STEP if plan.out_s is None else round(float(plan.out_s) / step_s)
        into = round(float(plan.in_s) / step_s)
        return into, turn, max(into, out)


def pieces(
    plan: CookBurner,
    *,
    pan: Pan,
    x_m: FloatArray,
    y_m: FloatArray,
    cook: Repeat,
    generator: np.random.Generator,
) -> tuple[FoodPiece, ...]:
    """Return the food of a pan; refuse what does not fit into it."""
    _refuse_out_of_order(plan)
    _refuse_stacked(plan)
    made = []
    # always drawn once, so that a cook with food and one without draw alike
    slips = [generator.normal(0.0, SLIP_M, 2) for _ in range(max(1, len(plan.foods)))]
    for one, slip in zip(plan.foods, slips, strict=False):
        _refuse_too_wide(one, pan, plan.burner)
        radius = min(float(one.diameter_m) / 2, RIM_FRAC * float(np.hypot(x_m, y_m).max()))
        away = np.hypot(x_m - float(one.x_m) - slip[0], y_m - float(one.y_m) - slip[1])
        kind = _with_contact(food(one.kind), float(cook.plan.mismatch.contact_scale))
        made.append(FoodPiece(one, kind, np.asarray(away <= radius), _column(one, kind)))
    return tuple(made)


def _with_contact(kind: Food, scale: float) -> Food:
    """Return a food whose contact with the base is set apart from the nominal."""
    return dataclasses.replace(
        kind,
        contact_start_w_m2k=scale * kind.contact_start_w_m2k,
        contact_peak_w_m2k=scale * kind.contact_peak_w_m2k,
    )


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


def _refuse_stacked(plan: CookBurner) -> None:
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


N_R, N_THETA = 24, 32  # own estimate: under 0.1 K rms, see ``cook_pans``
COOK_STEP_S = 1.0
"""From record to record of a cook; own estimate.  Its schedule acts at whole multiples."""
FOOD_PARTS = 2
"""Own estimate: steps of the heat balance a record while food or butter lies in a pan.  Against
steps of 1/16 s the mean of such a pan stays within 0.7 K (a cell 1.5 K); with other contents
whole steps keep every cell within 0.15 K."""
PLACEMENT_SIGMA_M = 0.003  # own estimate: how exactly a pan is set down, within two of it
EFFICIENCY_SIGMA = 0.02  # own estimate: burners of one model


@dataclass(frozen=True)
class PanSetting:
    """One pan on its burner."""

    plan: CookBurner
    burner: Burner
    pan: Pan
    base: Base
    material: Material
    thickness_m: float
    bare_emissivity: float
    efficiency_frac: float
    grid: CellGrid
    area_m2: FloatArray
    """(cell,)"""
    x_m: FloatArray
    """(cell,) from the pan's centre."""
    y_m: FloatArray
    film_m: FloatArray
    """(cell,) thickness of oil; 0 where bare, and everywhere without oil."""
    layer: Layer
    pattern: BurnerPattern
    offset_m: tuple[float, float]
    """Pan centre minus burner centre."""
    pieces: tuple[FoodPiece, ...]
    """The food that goes in."""
    oil: OilDraw
    """Which oil lies in it, and at what it smokes and ignites."""
    height_m: FloatArray
    """(cell,) height of the base's face over its mean: bow and tilt."""

    @property
    def radius_m(self) -> float:
        """Inner radius of the base."""
        return self.grid.radius_m

    def flux(self, level_frac: float = 1.0) -> FluxMap:
        """Return where the heat enters the base at a level of the knob; the rest, the wall."""
        pattern = turned_down(self.pattern, level_frac=round(level_frac, 3))
        return _flux(pattern, self.radius_m, self.offset_m)

    @property
    def contents_kg(self) -> float:
        """Mass of oil, or of butter without its water, at the start."""
        return fat_kg(self.base) if self.film_m.any() else 0.0


def settings(cook: Repeat) -> tuple[PanSetting, ...]:
    """Return what stands on the burners, in the plan's order."""
    _refuse_unknown(cook.design, cook.plan)
    made = tuple(_setting(cook, one, k) for k, one in enumerate(cook.plan.burners))
    _refuse_overlap(made)
    return made


def _refuse_unknown(design: Design, plan: CookPlan) -> None:
    """Name a burner, pan or base that the design does not have, and a burner used twice."""
    known = {
        "burner": [one.name for one in design.burners],
        "pan": [one.name for one in design.pans],
        "base": [one.name for one in design.bases],
    }
    for one in plan.burners:
        for kind, names in known.items():
            asked = getattr(one, kind)
            if asked not in names:
                raise InputError(
                    f"cook {plan.name!r}: the design has no {kind} {asked!r}; "
                    f"it has {', '.join(names)}"
                )
    used = [one.burner for one in plan.burners]
    if len(set(used)) < len(used):
        raise InputError(f"cook {plan.name!r}: a burner carries two pans; use each once")


def _refuse_overlap(made: tuple[PanSetting, ...]) -> None:
    for k, one in enumerate(made):
        for other in made[:k]:
            gap = math.hypot(
                one.grid.centre_x_m - other.grid.centre_x_m,
                one.grid.centre_y_m - other.grid.centre_y_m,
            )
            if gap < one.radius_m + other.radius_m:
                raise InputError(
                    f"pans {other.pan.name!r} on {other.burner.name!r} and {one.pan.name!r} on "
                    f"{one.burner.name!r} overlap by {one.radius_m + other.radius_m - gap:.3f} m; "
                    "take smaller pans or move one"
                )


def _setting(cook: Repeat, plan: CookBurner, number: int) -> PanSetting:
    """Return one pan on its burner; its draws come from streams of its own."""
    design, room = cook.design, cook.room
    generator, of_oil = cook.stream(f"pan {number}"), cook.stream(f"oil {number}")
    burner, pan, base = design.burner(plan.burner), design.pan(plan.pan), design.base(plan.base)
    refuse_contents(base)
    _refuse_missing_lid(plan, pan)
    offset = _offset_m(plan, generator)
    grid, radius = _grid(burner, pan, base, offset), float(pan.diameter_m) / 2
    r, theta = cell_centres(N_R, N_THETA)
    x = (radius * r[:, None] * np.cos(theta)).ravel()
    y = (radius * r[:, None] * np.sin(theta)).ravel()
    area = cell_area_frac(N_R, N_THETA).ravel() * math.pi * radius**2
    film, layer = contents(base, area=area, x=x, y=y, room=room, generator=generator)
    return PanSetting(
        plan=plan,
        burner=burner,
        pan=pan,
        base=base,
        material=material(pan.material),
        thickness_m=drawn(pan.thickness_m, generator),
        bare_emissivity=_bare_emissivity(pan, generator),
        efficiency_frac=_efficiency(burner, generator),
        grid=grid,
        area_m2=area,
        x_m=x,
        y_m=y,
        film_m=film,
        layer=boiling_as(layer, pan=pan, room=room),
        pattern=_pattern(burner, generator),
        offset_m=offset,
        pieces=pieces(plan, pan=pan, x_m=x, y_m=y, cook=cook, generator=generator),
        oil=oil_draw(base, of_oil),
        height_m=base_height_m(x, y=y, generator=of_oil),
    )


def _offset_m(plan: CookBurner, generator: np.random.Generator) -> tuple[float, float]:
    """Draw where a pan is set down: its centre minus the burner's."""
    slip = generator.normal(0.0, PLACEMENT_SIGMA_M, 2)
    x, y = np.clip(slip, -2 * PLACEMENT_SIGMA_M, 2 * PLACEMENT_SIGMA_M)
    return (
        drawn(plan.offset_x_m, generator) + float(x),
        drawn(plan.offset_y_m, generator) + float(y),
    )


def _grid(burner: Burner, pan: Pan, base: Base, offset_m: tuple[float, float]) -> CellGrid:
    """Return the cells of a pan where it was set down; refuse contents that do not fit."""
    radius = float(pan.diameter_m) / 2
    depth = float(base.volume_m3) / (math.pi * radius**2)
    if depth > float(pan.depth_m):
        raise InputError(
            f"{float(base.volume_m3) * 1e3:.2f} L of {base.name!r} do not fit into pan "
            f"{pan.name!r}: {depth * 1e3:.0f} mm high, wall {float(pan.depth_m) * 1e3:.0f} mm"
        )
    return CellGrid(
        float(burner.x_m) + offset_m[0],
        float(burner.y_m) + offset_m[1],
        radius,
        N_R,
        N_THETA,
        depth_m=float(pan.depth_m),
        fill_m=depth,
        flare_rad=float(pan.flare_rad),
    )


def _refuse_missing_lid(plan: CookBurner, pan: Pan) -> None:
    """Name a lid that the pan does not have."""
    if plan.lid and not pan.lid:
        raise InputError(
            f"a lid is put on pan {pan.name!r} on burner {plan.burner!r}, but that pan has none; "
            "set lid = true for that pan in the design, or leave the lid out"
        )
    end = -1.0
    for span in plan.lid:
        off = math.inf if span.off_s is None else float(span.off_s)
        if float(span.on_s) < end or off <= float(span.on_s):
            raise InputError(
                f"lid on burner {plan.burner!r}: on at {float(span.on_s):g} s, off at {off:g} s, "
                f"before that off at {max(end, 0.0):g} s; wanted on and off in turn, rising"
            )
        end = off


def _bare_emissivity(pan: Pan, generator: np.random.Generator) -> float:
    if pan.emissivity_frac is not None:
        return drawn(pan.emissivity_frac, generator)
    known = surface(pan.finish)
    return generator.uniform(known.low, known.high)


def _efficiency(burner: Burner, generator: np.random.Generator) -> float:
    value = drawn(burner.efficiency_frac, generator) * generator.normal(1.0, EFFICIENCY_SIGMA)
    if burner.efficiency_of == "load":  # its losses come off again in the simulation
        value /= burner_figure(burner.kind, of="retained").value
    return min(1.0, value)


def _pattern(burner: Burner, generator: np.random.Generator) -> BurnerPattern:
    ring = drawn(burner.ring_diameter_m, generator) / 2
    pattern = default_pattern(burner.kind, radius_m=ring / BURNERS[burner.kind].ring_frac)
    if burner.side_frac is None:
        return pattern
    return dataclasses.replace(pattern, side_frac=float(burner.side_frac))


@lru_cache(maxsize=256)
def _flux(pattern: BurnerPattern, radius_m: float, offset_m: tuple[float, float]) -> FluxMap:
    return flux_map(
        pattern, pan_radius_m=radius_m, offset_m=offset_m, n_r=N_R, n_theta=N_THETA, wall=True
    )
