"""What each pixel really saw, and where the pans stood: truth of labels and of unevenness."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from trivet.arrays import FloatArray, Int8Array, IntArray
from trivet.models.actual import THICK_FILM_M
from trivet.physics.geometry.sampling import CellGrid
from trivet.physics.heat.cellstats import HOTTEST_SPOT_M2, area_quantiles_k, hottest_mean_k
from trivet.physics.heat.loads import WATER_FILM_KG_M2
from trivet.physics.image.labelling import FOOD, HAND, HOB, LID, LIQUID, PAN, STEAM, WALL
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.records.recording import LABELS, STEAM_LOSS_FRAC, LabelMaps, PanPlace, SceneTruth
from trivet.stages.simulate.attenuation import steam_lost_frac
from trivet.stages.simulate.cooking import cooked
from trivet.stages.simulate.draws import Repeat, SimulatedHead, drawn_repeat, mounted
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.occupancy import hidden
from trivet.stages.simulate.scene import grid_at, sampled, stretch_marks
from trivet.stages.simulate.setting import COOK_STEP_S
from trivet.stages.simulate.surroundings import hob_k

TRUTH_RINGS, TRUTH_SECTORS = 5, 8  # own estimate: as fine as the product's own account
WET_KG_M2 = 0.5 * WATER_FILM_KG_M2
"""Water from which over half of its film is whole."""


def scene_truth(design: Design, *, plan: CookPlan, repeat: int = 0, at_s: FloatArray) -> SceneTruth:
    """Return what was really before the heads at some moments of a planned cook.

    plan, repeat : the cook, and which of its repeats
    at_s : (moment,) moments, rising; those after the cook's end are left out [s]
    Returns : labels by the area that a pixel's own square shows, blur left out
    InputError: as :func:`simulate`.

    The cook is cooked again from the same draws, so this is what the frames of
    :func:`simulate` saw; surfaces are those of the nearest whole second.
    """
    cook = drawn_repeat(design, plan=plan, repeat=repeat)
    pans = cooked(cook).pans
    at_s = at_s[at_s <= pans[0].time_s[-1]]
    at = np.minimum(np.rint(at_s / COOK_STEP_S).astype(np.int64), pans[0].time_s.size - 1)
    heads = tuple(_label_maps(pans, at, at_s, mounted(head, cook)) for head in design.heads)
    beside_k = hob_k(pans, cook.room)
    places = tuple(_place(one, at, cook=cook, beside_k=beside_k) for one in pans)
    return SceneTruth(heads, places, tuple(float(one) for one in plan.hands_at_s))


def _label_maps(
    pans: Sequence[PanHistory], at: IntArray, at_s: FloatArray, view: SimulatedHead
) -> LabelMaps:
    """Return the labels of one head's pixels at some moments."""
    shares, inside = _shares(pans, at, view)
    for k, one in enumerate(pans):
        foggy = (steam_lost_frac(one, at, view) >= STEAM_LOSS_FRAC) & (inside[:, k] > 0.0)
        shares[foggy] = np.eye(len(LABELS))[STEAM]
    _lay_hands(shares, pans, at_s, view)
    shape = (at_s.size, view.lens.rows, view.lens.cols)
    label, owner = _largest(shares, inside)
    area = _areas(shares, inside)
    return LabelMaps(
        head=view.head.name,
        time_s=at_s,
        label=label.reshape(shape),
        owner=owner.reshape(shape),
        burners=tuple(one.setting.burner.name for one in pans),
        area_px=area,
        area_u_px=np.zeros_like(area),
    )


def _shares(
    pans: Sequence[PanHistory], at: IntArray, view: SimulatedHead
) -> tuple[FloatArray, FloatArray]:
    """Return the labels' shares of each pixel, (moment, pixel, label), and each rim's.

    The second is (moment, pan, pixel).
    """
    pixels = view.lens.rows * view.lens.cols
    shares = np.zeros((at.size, pixels, len(LABELS)))
    inside = np.zeros((at.size, len(pans), pixels))
    marks = stretch_marks(pans, view.cook.plan)
    for begin, end in zip(marks[:-1], [*marks[1:-1], marks[-1] + 1], strict=True):
        mine = np.flatnonzero((at >= begin) & (at < end))
        if not mine.size:
            continue
        grids: tuple[CellGrid, ...] = tuple(grid_at(one, begin, view.cook) for one in pans)
        found = sampled(grids, view=view, sigma_px=0.0)
        columns = found.matrix.tocsc()
        for k, (one, grid) in enumerate(zip(pans, grids, strict=True)):
            first = found.cell_start[k]
            cells = columns[:, first : first + grid.cells].tocsr()
            wall = columns[:, [found.wall_column[k]]].toarray()[:, 0]
            for m in mine:
                faces = np.eye(len(LABELS))[_cell_labels(one, int(at[m]))]
                part = np.asarray(cells @ faces)
                part[:, WALL] += wall
                shares[m] += part
                inside[m, k] = part.sum(axis=1)
    shares[:, :, HOB] += 1.0 - shares.sum(axis=2)
    return shares, inside


def _cell_labels(one: PanHistory, index: int) -> IntArray:
    """Return the label of what each cell shows at a moment."""
    setting = one.setting
    label = np.full(setting.area_m2.size, PAN)
    if one.lidded[index]:
        return np.full_like(label, LID)
    if setting.base.contents == "water":
        if one.mass_kg[index] / setting.area_m2.sum() > WET_KG_M2:
            label[:] = LIQUID
    elif setting.film_m.any():
        mark = np.searchsorted(one.film.time_s, one.time_s[index], side="right") - 1
        label[one.film.at(int(mark)) >= THICK_FILM_M] = LIQUID
    label[one.covered[index]] = FOOD
    return label


def _lay_hands(
    shares: FloatArray, pans: Sequence[PanHistory], at_s: FloatArray, view: SimulatedHead
) -> None:
    """Lay hands and faces over the shares of the pixels, in place."""
    before = hidden(at_s, pans, view)
    if before is None:
        return
    for m in np.flatnonzero(before.which >= 0):
        cover = before.cover[before.which[m]].astype(np.float64)
        shares[m] *= 1.0 - cover[:, None]
        shares[m, :, HAND] += cover


def _largest(shares: FloatArray, inside: FloatArray) -> tuple[Int8Array, Int8Array]:
    """Return the label that most of a pixel shows, and the pan whose rim it lies in, -1 none."""
    owner = np.where(inside.max(axis=1) > 0.0, inside.argmax(axis=1), -1)
    return shares.argmax(axis=2).astype(np.int8), owner.astype(np.int8)


def _areas(shares: FloatArray, inside: FloatArray) -> FloatArray:
    """Return the area of each label inside each rim, (moment, pan, label). [pixels]

    Within a pixel what lies inside the rim is taken for mixed as the pixel is, hob aside.
    """
    things = shares.copy()
    things[:, :, HOB] = 0.0
    total = things.sum(axis=2, keepdims=True)
    mix = np.divide(things, total, out=np.zeros_like(things), where=total > 0.0)
    return np.asarray(np.einsum("mkp,mpc->mkc", inside, mix))


def _place(one: PanHistory, at: IntArray, *, cook: Repeat, beside_k: FloatArray) -> PanPlace:
    """Return where a pan stood and how evenly it was heated, at some moments."""
    setting, area = one.setting, one.setting.area_m2
    grids = [grid_at(one, int(k), cook) for k in at]
    x = np.array([grid.centre_x_m for grid in grids]) - float(setting.burner.x_m)
    y = np.array([grid.centre_y_m for grid in grids]) - float(setting.burner.y_m)
    metal = one.pan_k[at]
    zone = np.where(np.isfinite(one.hob_k), one.hob_k, beside_k)
    ring = np.minimum(
        np.hypot(setting.x_m, setting.y_m) / setting.radius_m * TRUTH_RINGS, TRUTH_RINGS - 1
    )
    low, high = area_quantiles_k(metal, area_m2=area, shares=(0.05, 0.95))
    hot = hottest_mean_k(one.pan_k, area_m2=area)
    spots = np.array([_hot_spot(cells, setting.x_m, setting.y_m, area) for cells in metal])
    spots = spots.reshape(at.size, 3)
    return PanPlace(
        burner=setting.burner.name,
        diameter_m=2.0 * setting.radius_m,
        bare_emissivity=setting.bare_emissivity,
        x_m=x,
        y_m=y,
        pan_k=metal @ (area / area.sum()),
        hob_k=zone[at],
        spread_k=high - low,
        ring_k=_grouped(metal, area, ring.astype(np.int64), TRUTH_RINGS),
        sector_delta_k=_sectors(metal, one),
        hot_x_m=x + spots[:, 0],
        hot_y_m=y + spots[:, 1],
        hot_reach_m=spots[:, 2],
        hot_kps=np.gradient(hot, COOK_STEP_S)[at],
    )


def _grouped(cells_k: FloatArray, area_m2: FloatArray, group: IntArray, groups: int) -> FloatArray:
    """Return area means over groups of cells, (moment, group); a negative group is none."""
    member = (group[:, None] == np.arange(groups)) * area_m2[:, None]
    return np.asarray(cells_k @ (member / member.sum(axis=0)))


def _sectors(metal_k: FloatArray, one: PanHistory) -> FloatArray:
    """Return the outer half of each eighth, from the mean of all eight, (moment, sector)."""
    setting = one.setting
    turn = np.arctan2(setting.y_m, setting.x_m) % (2.0 * np.pi) / (2.0 * np.pi)
    sector = np.minimum((turn * TRUTH_SECTORS).astype(np.int64), TRUTH_SECTORS - 1)
    sector[np.hypot(setting.x_m, setting.y_m) < setting.radius_m / 2.0] = -1
    mean = _grouped(metal_k, setting.area_m2, sector, TRUTH_SECTORS)
    return np.asarray(mean - mean.mean(axis=1, keepdims=True))


def _hot_spot(
    cells_k: FloatArray, x_m: FloatArray, y_m: FloatArray, area_m2: FloatArray
) -> tuple[float, float, float]:
    """Return the middle of the hottest 5 cm2 and how far they lie about it."""
    order = np.argsort(-cells_k, kind="stable")
    before = np.cumsum(area_m2[order]) - area_m2[order]
    weight = np.clip(HOTTEST_SPOT_M2 - before, 0.0, area_m2[order])
    weight = weight / weight.sum()
    x, y = weight @ x_m[order], weight @ y_m[order]
    reach = weight @ ((x_m[order] - x) ** 2 + (y_m[order] - y) ** 2)
    return float(x), float(y), float(np.sqrt(reach))
