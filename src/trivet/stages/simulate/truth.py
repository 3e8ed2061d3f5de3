"""What was really so: kept apart from the frames, for ``verify`` alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from trivet.arrays import BoolArray, FloatArray, Int8Array
from trivet.models.actual import THICK_FILM_M
from trivet.physics.geometry.coverage import rim_coverage
from trivet.physics.geometry.occlusion import visible_base
from trivet.physics.geometry.optics import Lens, Pose, pixel_of_point
from trivet.physics.heat.cellstats import area_quantiles_k, hottest_mean_k
from trivet.physics.heat.loads import WATER_FILM_KG_M2
from trivet.records.recording import BurnerTruth
from trivet.records.requirement import OF_WORDS, Of
from trivet.stages.simulate.contents import FILM_UNDER_M
from trivet.stages.simulate.draws import SimulatedHead
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.scene import seen_emissivity
from trivet.stages.simulate.setting import PanSetting


def burner_truth(one: PanHistory, heads: Sequence[SimulatedHead]) -> BurnerTruth:
    """Return the truth of one burner; what is seen is what the best-placed head sees."""
    setting = one.setting
    views = [visible_cells(setting, lens=one.lens, pose=one.unit.pose) for one in heads]
    best = int(np.argmax([float(setting.area_m2[view].sum()) for view in views]))
    seen = views[best] if views[best].any() else np.ones(setting.area_m2.size, dtype=np.bool_)
    of = _seen_of(one, seen)
    head = heads[best]
    eps = seen_emissivity(one, head)
    low, high = area_quantiles_k(one.pan_k, area_m2=setting.area_m2, shares=(0.05, 0.95))
    covered = one.covered if setting.pieces and one.food.any() else None
    food, metal = of == OF_WORDS.index("food"), of == OF_WORDS.index("pan")
    area = setting.area_m2
    open_k, metal_k = (
        _mean(one.surface_k, area * seen, covered),
        _mean(one.pan_k, area * seen, covered),
    )
    seen_k = np.where(metal, metal_k.clear, np.where(food, open_k.under, open_k.clear))
    whole_k = _mean(one.surface_k, area, covered)
    seen_eps = _mean(np.broadcast_to(eps, one.pan_k.shape), area * seen, covered)
    return BurnerTruth(
        burner=setting.burner.name,
        pan=setting.pan.name,
        base=setting.base.name,
        time_s=one.time_s,
        seen_of=of,
        seen_k=np.where(one.lidded, one.lid_k, seen_k),
        pan_k=_mean(one.pan_k, area, None).clear,
        hottest_k=hottest_mean_k(one.pan_k, area_m2=area),
        pan_p5_k=low,
        pan_p95_k=high,
        contents_k=np.where(_wet(one), whole_k.clear, np.nan),
        food_k=whole_k.under,
        core_k=one.inserted_k,
        contents_kg=one.mass_kg + setting.contents_kg * one.film.left_frac(one.time_s, area),
        emissivity=np.where(food, seen_eps.under, seen_eps.clear),
        heat_w=one.heat_w,
        oily_frac=_oily_frac(one, area * seen),
        rim_in_view_frac=_rim_in_view_frac(setting, lens=head.lens, pose=head.unit.pose),
    )


def _oily_frac(one: PanHistory, weight: FloatArray) -> FloatArray:
    """Return the share of the visible base under a film that hides the metal, (time,)."""
    share = (one.film.thickness_m >= THICK_FILM_M) @ (weight / weight.sum())
    return np.asarray(np.interp(one.time_s, one.film.time_s, share))


def _rim_in_view_frac(setting: PanSetting, *, lens: Lens, pose: Pose) -> float:
    grid = setting.grid
    return rim_coverage(
        (grid.centre_x_m, grid.centre_y_m),
        diameter_m=2.0 * grid.radius_m,
        rim_height_m=grid.depth_m,
        lens=lens,
        pose=pose,
        margin_m=0.0,
    ).in_view_frac


def visible_cells(setting: PanSetting, *, lens: Lens, pose: Pose) -> BoolArray:
    """Return which cells a head sees: in its field, and not behind the wall."""
    grid = setting.grid
    x, y = grid.centre_x_m + setting.x_m, grid.centre_y_m + setting.y_m
    pixel = pixel_of_point(
        np.stack([x, y, np.full(x.size, grid.fill_m)], axis=-1), lens=lens, pose=pose
    )
    row, col = pixel[..., 0], pixel[..., 1]
    inside = (row >= -0.5) & (row <= lens.rows - 0.5) & (col >= -0.5) & (col <= lens.cols - 0.5)
    open_view = visible_base(
        np.stack([x, y], axis=-1),
        centre_m=np.array([grid.centre_x_m, grid.centre_y_m]),
        radius_m=grid.radius_m,
        depth_m=grid.depth_m,
        fill_m=grid.fill_m,
        eye_m=pose.eye_m,
        flare_rad=grid.flare_rad,
    )
    return np.asarray(inside & open_view)


@dataclass(frozen=True)
class _Means:
    """Area means over the cells under food and over the others, (time,); NaN where none is."""

    under: FloatArray
    clear: FloatArray


def _mean(values: FloatArray, weight: FloatArray, covered: BoolArray | None) -> _Means:
    """Return means of (time, cell) values with the weight of each cell."""
    total = float(weight.sum())
    if covered is None:
        none = np.full(len(values), np.nan)
        return _Means(none, values @ (weight / total) if total > 0.0 else none)
    under = covered @ weight
    sums = np.einsum("tc,tc,c->t", values, covered, weight)
    with np.errstate(invalid="ignore", divide="ignore"):
        clear = np.where(total - under > 1e-12, (values @ weight - sums) / (total - under), np.nan)
        return _Means(np.where(under > 0.0, sums / under, np.nan), clear)


def _wet(one: PanHistory) -> BoolArray:
    """Return where liquid is left."""
    if one.setting.base.contents == "water":
        return np.asarray(one.mass_kg > 0.0)
    return np.full(one.time_s.size, bool(one.setting.film_m.any()))


def _seen_of(one: PanHistory, seen: BoolArray) -> Int8Array:
    """Return what most of the visible base shows; a thin oil film counts as the pan."""
    setting = one.setting
    deep = float(setting.film_m.mean()) >= FILM_UNDER_M
    plain: Of = "oil" if deep else "pan"
    word = np.full(one.time_s.size, OF_WORDS.index(plain), dtype=np.int8)
    if setting.base.contents == "water":
        areal = one.mass_kg / float(setting.area_m2.sum())
        word[areal > 0.5 * WATER_FILM_KG_M2] = OF_WORDS.index("liquid")  # over half of it is whole
    if setting.pieces:
        share = one.covered[:, seen] @ setting.area_m2[seen] / setting.area_m2[seen].sum()
        word[share > 0.5] = OF_WORDS.index("food")
    word[one.lidded] = OF_WORDS.index("lid")
    return word
