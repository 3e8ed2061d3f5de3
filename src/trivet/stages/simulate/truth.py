"""What was really so: kept apart from the frames, for ``verify`` alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from trivet.kernels.geometry.lens import Lens
from trivet.kernels.geometry.occlusion import visible_base
from trivet.kernels.geometry.optics import Pose, pixel_of_point
from trivet.kernels.heat.cellstats import area_quantiles_k, hottest_mean_k
from trivet.kernels.radiation.planck import Band
from trivet.records.recording import BurnerTruth
from trivet.records.requirement import OF_WORDS, Of
from trivet.stages.simulate.cooking import PanHistory
from trivet.stages.simulate.scene import emissivity_of
from trivet.stages.simulate.setting import FILM_UNDER_M, PanSetting

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Eye = tuple[Lens, Pose, Band]
"""Lens, true pose and band of one head."""


def burner_truth(one: PanHistory, *, eyes: Sequence[Eye]) -> BurnerTruth:
    """Return the truth of one burner; what is seen is what the best-placed head sees."""
    setting = one.setting
    views = [visible_cells(setting, lens=lens, pose=pose) for lens, pose, _ in eyes]
    best = int(np.argmax([float(setting.area_m2[view].sum()) for view in views]))
    seen = views[best] if views[best].any() else np.ones(setting.area_m2.size, dtype=np.bool_)
    of = _seen_of(one, seen)
    eps = emissivity_of(one, pose=eyes[best][1], band=eyes[best][2])
    low, high = area_quantiles_k(one.pan_k, area_m2=setting.area_m2, shares=(0.05, 0.95))
    covered = one.food[:, None] & setting.food_cover
    food = of == OF_WORDS.index("food")
    shown = seen & np.where(food[:, None], covered, ~covered)
    metal = of == OF_WORDS.index("pan")
    value = np.where(metal[:, None], one.pan_k, one.surface_k)
    return BurnerTruth(
        burner=setting.burner.name,
        pan=setting.pan.name,
        base=setting.base.name,
        time_s=one.time_s,
        seen_of=of,
        seen_k=_mean(value, setting.area_m2, shown),
        pan_k=_mean(one.pan_k, setting.area_m2, np.ones_like(covered)),
        hottest_k=hottest_mean_k(one.pan_k, area_m2=setting.area_m2),
        pan_p5_k=low,
        pan_p95_k=high,
        contents_k=np.where(_wet(one), _mean(one.surface_k, setting.area_m2, ~covered), np.nan),
        food_k=_mean(one.surface_k, setting.area_m2, covered),
        contents_kg=one.mass_kg + setting.contents_kg,
        emissivity=_mean(eps, setting.area_m2, shown),
        heat_w=one.heat_w,
    )


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
    )
    return np.asarray(inside & open_view)


def _mean(values: FloatArray, area: FloatArray, where: BoolArray) -> FloatArray:
    """Return area means over the cells chosen at each moment; NaN where none is."""
    weight = area * where
    total = weight.sum(axis=1)
    sums = (np.broadcast_to(values, weight.shape) * weight).sum(axis=1)
    return np.asarray(np.where(total > 0.0, sums / np.maximum(total, 1e-300), np.nan))


def _wet(one: PanHistory) -> BoolArray:
    """Return where liquid is left."""
    if one.setting.base.contents == "water":
        return np.asarray(one.mass_kg > 0.0)
    return np.full(one.time_s.size, bool(one.setting.film_m.any()))


def _seen_of(one: PanHistory, seen: BoolArray) -> npt.NDArray[np.int8]:
    """Return what most of the visible base shows; a thin oil film counts as the pan."""
    setting = one.setting
    deep = float(setting.film_m.mean()) >= FILM_UNDER_M
    plain: Of = "oil" if deep else "pan"
    word = np.full(one.time_s.size, OF_WORDS.index(plain), dtype=np.int8)
    if setting.base.contents == "water":
        areal = one.mass_kg / float(setting.area_m2.sum())
        word[areal > 0.15] = OF_WORDS.index("liquid")  # over half of the film is whole
    share = setting.area_m2[seen & setting.food_cover].sum() / setting.area_m2[seen].sum()
    if share > 0.5:
        word[one.food] = OF_WORDS.index("food")
    return word
