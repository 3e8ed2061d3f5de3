"""What stands on each burner of a cook: pan, contents and heat as drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from trivet.errors import InputError
from trivet.facts.materials import Material, material
from trivet.facts.surfaces import surface
from trivet.kernels.geometry.sampling import CellGrid
from trivet.kernels.heat.burners import FluxMap, default_pattern, flux_map
from trivet.kernels.heat.loads import Layer, oil_layer, water_layer
from trivet.kernels.heat.patches import film_thickness_m, smooth_field
from trivet.kernels.heat.thermal import cell_area_frac, cell_centres
from trivet.records.cook import CookBurner, CookPlan
from trivet.records.design import Base, Burner, Design, Pan
from trivet.stages.simulate.draws import Kitchen, drawn, stream

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

N_R, N_THETA = 24, 32
# All assumed, common practice, no source.
PLACEMENT_SIGMA_M = 0.003
WET_FRAC = (0.7, 1.0)
UNEVENNESS = (0.2, 0.6)
PATCH_M = 0.06
FILM_UNDER_M = 0.5e-3
EFFICIENCY_SIGMA = 0.02
RING_SHARE = {"gas": 0.8, "coil": 0.6, "radiant": 0.6, "induction": 0.55}
WATER_KG_M3 = 998.0


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
    flux: FluxMap
    food_cover: BoolArray
    """(cell,) where the food lies when it lies there."""

    @property
    def radius_m(self) -> float:
        """Inner radius of the base."""
        return self.grid.radius_m

    @property
    def contents_kg(self) -> float:
        """Mass of oil or butter; water is followed by the simulator."""
        return float(self.base.volume_m3) * 900.0 if self.film_m.any() else 0.0


def settings(design: Design, *, plan: CookPlan, name: str, room: Kitchen) -> tuple[PanSetting, ...]:
    """Return what stands on the burners, in the plan's order."""
    _refuse_unknown(design, plan)
    made = tuple(
        _setting(design, one, room, stream(design.project.seed, cook=name, name=f"pan {k}"))
        for k, one in enumerate(plan.burners)
    )
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


def _setting(
    design: Design, plan: CookBurner, room: Kitchen, generator: np.random.Generator
) -> PanSetting:
    burner, pan, base = design.burner(plan.burner), design.pan(plan.pan), design.base(plan.base)
    slip = np.clip(generator.normal(0.0, PLACEMENT_SIGMA_M, 2), -0.006, 0.006)
    offset = (
        drawn(plan.offset_x_m, generator) + float(slip[0]),
        drawn(plan.offset_y_m, generator) + float(slip[1]),
    )
    radius = float(pan.diameter_m) / 2
    depth = float(base.volume_m3) / (math.pi * radius**2)
    if depth > float(pan.depth_m):
        raise InputError(
            f"{float(base.volume_m3) * 1e3:.2f} L of {base.name!r} do not fit into pan "
            f"{pan.name!r}: {depth * 1e3:.0f} mm high, wall {float(pan.depth_m) * 1e3:.0f} mm"
        )
    grid = CellGrid(
        float(burner.x_m) + offset[0],
        float(burner.y_m) + offset[1],
        radius,
        N_R,
        N_THETA,
        depth_m=float(pan.depth_m),
        fill_m=depth,
    )
    r, theta = cell_centres(N_R, N_THETA)
    x = (radius * r[:, None] * np.cos(theta)).ravel()
    y = (radius * r[:, None] * np.sin(theta)).ravel()
    area = cell_area_frac(N_R, N_THETA).ravel() * math.pi * radius**2
    film, layer = _contents(base, area=area, x=x, y=y, room=room, generator=generator)
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
        layer=layer,
        flux=_flux(burner, radius, offset, generator),
        food_cover=_food_cover(plan, x, y, generator),
    )


def _bare_emissivity(pan: Pan, generator: np.random.Generator) -> float:
    if pan.emissivity_frac is not None:
        return drawn(pan.emissivity_frac, generator)
    known = surface(pan.finish)
    return generator.uniform(known.low, known.high)


def _efficiency(burner: Burner, generator: np.random.Generator) -> float:
    value = drawn(burner.efficiency_frac, generator) * generator.normal(1.0, EFFICIENCY_SIGMA)
    return min(1.0, value)


def _flux(
    burner: Burner, radius_m: float, offset_m: tuple[float, float], generator: np.random.Generator
) -> FluxMap:
    ring = drawn(burner.ring_diameter_m, generator) / 2
    pattern = default_pattern(burner.kind, radius_m=ring / RING_SHARE[burner.kind])
    return flux_map(pattern, pan_radius_m=radius_m, offset_m=offset_m, n_r=N_R, n_theta=N_THETA)


def _contents(
    base: Base,
    *,
    area: FloatArray,
    x: FloatArray,
    y: FloatArray,
    room: Kitchen,
    generator: np.random.Generator,
) -> tuple[FloatArray, Layer]:
    """Return the thickness of oil in each cell and the layer for the heat balance."""
    volume, none = float(base.volume_m3), np.zeros(area.size)
    field = smooth_field(x, y_m=y, wavelength_m=PATCH_M, generator=generator)
    wet = generator.uniform(*WET_FRAC)
    unevenness = generator.uniform(*UNEVENNESS)
    if base.contents == "dry" or volume <= 0.0:
        return none, Layer(start_k=room.ambient_k)
    if base.contents == "water":
        layer = water_layer(volume * WATER_KG_M3, start_k=room.ambient_k, boil_k=room.boiling_k)
        return none, layer
    depth = volume / float(area.sum())
    if depth >= FILM_UNDER_M:
        return np.full(area.size, depth), oil_layer(depth, start_k=room.ambient_k)
    film = film_thickness_m(
        field, area_m2=area, volume_m3=volume, wet_frac=wet, unevenness=unevenness
    )
    layer = oil_layer(depth / wet, start_k=room.ambient_k, cover_frac=wet, emissivity=0.6)
    return film, layer


def _food_cover(
    plan: CookBurner, x: FloatArray, y: FloatArray, generator: np.random.Generator
) -> BoolArray:
    """Return the cells under the food: near the middle, never all of the pan."""
    at = generator.normal(0.0, 0.008, 2)
    if plan.food is None:
        return np.zeros(x.size, dtype=np.bool_)
    edge = float(np.hypot(x, y).max())
    radius = min(float(plan.food.diameter_m) / 2, 0.95 * edge)
    return np.asarray(np.hypot(x - at[0], y - at[1]) <= radius)
