"""What a head has before it: the radiance of pans, walls, hob and flames in its pixels."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.sparse import csr_array

from trivet.arrays import Float32Array, FloatArray
from trivet.facts.pans import surface
from trivet.physics.geometry.optics import Lens
from trivet.physics.geometry.sampling import CellGrid, Sampling, sampling_matrix
from trivet.physics.heat.burners import BURNERS
from trivet.physics.radiation.planck import band_radiance
from trivet.physics.radiation.render import Cells, mixed_radiance, pixel_radiance
from trivet.records.cook import CookPlan
from trivet.records.design import Design
from trivet.stages.simulate.attenuation import behind_steam
from trivet.stages.simulate.draws import Repeat, SimulatedHead
from trivet.stages.simulate.history import PanHistory
from trivet.stages.simulate.setting import PanSetting
from trivet.stages.simulate.surfaces import emissivity_of
from trivet.stages.simulate.surroundings import Things, flame_shares, hob_k, reflected_things

SMALL_ARRAY_PX = 2000  # own estimate: fewer pixels are larger ones, whose edges matter less


def scene_radiance(pans: Sequence[PanHistory], view: SimulatedHead) -> Float32Array:
    """Return the radiance in front of the window at the simulator's moments, (time, pixel)."""
    cook = view.cook
    things, flames = reflected_things(pans, cook, view.band), flame_shares(pans, cook)
    eps = [seen_emissivity(one, view) for one in pans]
    parts = []
    for begin, end in itertools.pairwise(stretch_marks(pans, cook.plan)):
        part = StillStretch(
            pans,
            tuple(grid_at(one, begin, cook) for one in pans),
            tuple(_rows(one, begin, end) for one in eps),
            dataclasses.replace(things, radiance=_rows(things.radiance, begin, end)),
            tuple(flame[begin:end] for flame in flames),
            slice(begin, end),
        )
        parts.append(_pixels(part, view))
    scene = parts[0] if len(parts) == 1 else np.concatenate(parts)
    return behind_steam(scene, pans, view)


@dataclass(frozen=True)
class StillStretch:
    """A stretch of a cook in which every pan stands still and no lid comes or goes."""

    pans: Sequence[PanHistory]
    grids: tuple[CellGrid, ...]
    emissivity: tuple[FloatArray, ...]
    things: Things
    flames: tuple[FloatArray, ...]
    span: slice


def _rows(values: FloatArray, begin: int, end: int) -> FloatArray:
    return values if len(values) == 1 else values[begin:end]


def stretch_marks(pans: Sequence[PanHistory], plan: CookPlan) -> list[int]:
    """Return the moments between which every pan stands still, as indices."""
    time = pans[0].time_s
    marks = {int(np.searchsorted(time, float(move.at_s))) for move in plan.moves}
    for one in pans:
        marks.update((np.flatnonzero(np.diff(one.lidded.astype(np.int8))) + 1).tolist())
    return sorted({0, time.size, *(n for n in marks if 0 < n < time.size)})


def grid_at(one: PanHistory, begin: int, cook: Repeat) -> CellGrid:
    """Return a pan's grid where it then stands, lid at its rim, with the ring for its flames."""
    grid, at = one.setting.grid, float(one.time_s[begin])
    moves = cook.plan.moves
    done = [m for m in moves if m.burner == one.setting.burner.name and float(m.at_s) <= at]
    return dataclasses.replace(
        grid,
        centre_x_m=grid.centre_x_m + sum(float(move.x_m) for move in done),
        centre_y_m=grid.centre_y_m + sum(float(move.y_m) for move in done),
        fill_m=grid.depth_m if one.lidded[begin] else grid.fill_m,
        apron_m=_apron_m(one.setting, cook.design),
    )


def _apron_m(setting: PanSetting, design: Design) -> float:
    """Return how far flames, or a zone larger than its pan, show beside the base."""
    burner = setting.burner
    if burner.kind == "gas":
        return float(design.surroundings.flame_reach_m)
    zone = float(burner.ring_diameter_m) / 2 / BURNERS[burner.kind].ring_frac
    return max(0.0, zone - setting.radius_m)


def _pixels(part: StillStretch, view: SimulatedHead) -> Float32Array:
    """Return the radiance in the pixels over a stretch, (time, pixel)."""
    pose, band = view.unit.pose, view.band
    sampling = sampled(part.grids, view=view)
    cells = tuple(
        Cells(
            np.ascontiguousarray(one.seen_k[part.span], dtype=np.float32),
            part.emissivity[k],
            part.things.share(one.setting, grid=part.grids[k], pose=pose),
            part.things.radiance,
            sampling.cell_start[k],
        )
        for k, one in enumerate(part.pans)
    )
    rest = _background(part, view, sampling)
    matrix = _haloed(sampling.matrix, part.grids, view)
    return pixel_radiance(matrix, cells=cells, rest=rest, band=band)


def sampled(
    grids: tuple[CellGrid, ...], *, view: SimulatedHead, sigma_px: float | None = None
) -> Sampling:
    """Return what a head's pixels see of some pans; blurred as its unit unless told otherwise."""
    strips, steps = image_steps(view.lens)
    return sampling_matrix(
        grids,
        lens=view.lens,
        pose=view.unit.pose,
        sigma_px=view.unit.sigma_px if sigma_px is None else sigma_px,
        strips_per_px=strips,
        steps_per_px=steps,
    )


def image_steps(lens: Lens) -> tuple[int, int]:
    """Return strips and steps a pixel that keep rendering within 20 mK rms and 0.15 K."""
    return (6, 4) if lens.rows * lens.cols < SMALL_ARRAY_PX else (8, 4)


def _haloed(matrix: csr_array, grids: tuple[CellGrid, ...], view: SimulatedHead) -> csr_array:
    """Return the matrix with the declared share of every pixel's signal taken from afar."""
    mismatch = view.cook.plan.mismatch
    share = float(mismatch.halo_frac)
    if share == 0.0:
        return matrix
    wide = sampled(grids, view=view, sigma_px=float(mismatch.halo_px)).matrix
    return csr_array((1.0 - share) * matrix + share * wide)


def seen_emissivity(one: PanHistory, view: SimulatedHead) -> FloatArray:
    """Return the emissivity of what faces up, mismatch included, (time or 1, cell).

    A film that is thicker or absorbs more acts by the product of both.
    """
    mismatch = view.cook.plan.mismatch
    film = float(mismatch.film_thickness_scale) * float(mismatch.film_absorption_scale)
    eps = emissivity_of(one, pose=view.unit.pose, band=view.band, film_scale=film)
    if eps.strides[0] == 0:
        eps = eps[:1]
    scale = float(mismatch.emissivity_scale)
    return np.ascontiguousarray(eps if scale == 1.0 else np.clip(scale * eps, 0.0, 1.0))


def _background(part: StillStretch, view: SimulatedHead, sampling: Sampling) -> FloatArray:
    """Return the radiance of walls, aprons, hob and surround, (time, column)."""
    band, design, things = view.band, view.cook.design, part.things
    first = sampling.wall_column[0]
    glass = surface(design.cooktop.surface).emissivity
    hob = hob_k(part.pans, view.cook.room)[part.span]
    rest = np.empty((hob.size, 2 * len(part.pans) + 2))
    fire = float(band_radiance(float(design.surroundings.flame_k), band=band))
    for k, one in enumerate(part.pans):
        grid = part.grids[k]
        reflected = things.radiance @ things.share_at((grid.centre_x_m, grid.centre_y_m))
        rest[:, sampling.wall_column[k] - first] = mixed_radiance(
            one.wall_k[part.span].mean(axis=1),
            emissivity=one.setting.bare_emissivity,
            mirrored=reflected,
            band=band,
        )
        zone = np.where(np.isfinite(one.hob_k[part.span]), one.hob_k[part.span], hob)
        beside = mixed_radiance(zone, emissivity=glass, mirrored=reflected, band=band)
        rest[:, sampling.apron_column[k] - first] = beside + part.flames[k] * (fire - beside)
    reflected = things.radiance @ things.share_at((0.0, 0.0))
    rest[:, -2] = mixed_radiance(hob, emissivity=glass, mirrored=reflected, band=band)
    rest[:, -1] = reflected
    return rest
