"""The sampling matrix against heavy supersampling written separately."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from scipy.stats import norm

from trivet.errors import OutOfRangeError
from trivet.physics.geometry.optics import Pose, lens_from_fov, point_of_pixel, ray_of_pixel
from trivet.physics.geometry.sampling import CellGrid, sampling_matrix
from trivet.physics.radiation.planck import (
    flat_band,
    quadrature_radiance,
    radiating_temperature_k,
)
from trivet.physics.radiation.render import Cells, pixel_radiance
from trivet.stages.simulate.scene import image_steps

POSE = Pose(0.01, 0.02, 0.76, tilt_rad=0.05, pan_rad=0.1)
HOB, WALL, BASE = 40.0, 120.0, 200.0


def _lens(model="rectilinear", fov=(55, 40)):
    return lens_from_fov(
        24, cols=32, fov_h_rad=math.radians(fov[0]), fov_v_rad=math.radians(fov[1]), model=model
    )


def _values(sampling, grids, of_cells=BASE):
    v = np.full(sampling.matrix.shape[1], of_cells)
    v[list(sampling.wall_column)] = WALL
    v[list(sampling.apron_column)] = HOB
    v[sampling.hob_column], v[sampling.surround_column] = HOB, 25.0
    return v


def _weights(count, at, step, sigma):
    """Exact integral of the blurred box over each sample's strip."""
    x = at[None] - np.arange(count)[:, None]

    def cdf(z):
        if sigma == 0:
            return np.clip(z + 0.5, 0, 1)
        ramp = [
            (z + s) * norm.cdf((z + s) / sigma) + sigma * norm.pdf((z + s) / sigma)
            for s in (0.5, -0.5)
        ]
        return ramp[0] - ramp[1]

    w = cdf(x + step / 2) - cdf(x - step / 2)
    return w / w.sum(axis=1, keepdims=True)


def _brute(lens, grids, sigma, n, of=(HOB, WALL, BASE)):
    """n x n rays a pixel; cylinders only; surfaces by distance to the axis, not by our tracer."""
    hob, wall, base = of
    beyond = math.ceil(5 * sigma)
    rows = (np.arange(-beyond * n, (lens.rows + beyond) * n) + 0.5) / n - 0.5
    cols = (np.arange(-beyond * n, (lens.cols + beyond) * n) + 0.5) / n - 0.5
    image = np.full((rows.size, cols.size), hob)
    for i, row in enumerate(rows):
        rays = ray_of_pixel(np.stack([np.full_like(cols, row), cols], -1), lens=lens, pose=POSE)
        slope = rays[:, :2] / -rays[:, 2:]
        for g in grids:
            eye = POSE.eye_m[:2] - (g.centre_x_m, g.centre_y_m)
            low, top = g.base_height_m, g.base_height_m + g.depth_m
            at_top, at_low, at_fill = (
                eye + slope * (POSE.height_m - h) for h in (top, low, low + g.fill_m)
            )
            run = at_low - at_top
            t = np.clip(-(at_top * run).sum(1) / np.maximum((run**2).sum(1), 1e-30), 0, 1)
            hit = np.hypot(*(at_top + t[:, None] * run).T) <= g.radius_m
            seen = (np.hypot(*at_top.T) <= g.radius_m) & (np.hypot(*at_fill.T) <= g.radius_m)
            image[i] = np.where(hit, np.where(seen, base, wall), image[i])
    down, across = _weights(lens.rows, rows, 1 / n, sigma), _weights(lens.cols, cols, 1 / n, sigma)
    return down @ image @ across.T


@pytest.mark.parametrize("sigma", [0.4, 0.0])
@pytest.mark.parametrize("model", ["rectilinear", "equal-angle"])
def test_against_heavy_supersampling(model, sigma):
    """200 C pans and 120 C walls on a 40 C hob: at most 20 mK rms and 0.15 K at worst.

    The plain grid of rays has an error of its own, 0.03 K rms and up to 0.25 K
    without blur, so the unblurred case gets a tolerance of its own.
    """
    lens = _lens(model)
    grids = (
        CellGrid(-0.2, 0.13, 0.12, 4, 8, 0.01, 0.05),
        CellGrid(0.2, 0.13, 0.1, 4, 8, 0.01, 0.12, 0.06),
        CellGrid(-0.2, -0.13, 0.13, 4, 8, 0.0, 0.0),
        CellGrid(0.2, -0.13, 0.09, 4, 8, 0.02, 0.15),
    )
    sampling = sampling_matrix(grids, lens=lens, pose=POSE, sigma_px=sigma)
    got = (sampling.matrix @ _values(sampling, grids)).reshape(24, 32)
    error = got - _brute(lens, grids, sigma, 64)
    rms, worst = (0.020, 0.15) if sigma else (0.045, 0.35)
    assert math.sqrt((error**2).mean()) <= rms
    assert np.abs(error).max() <= worst


def test_simulated_frames_against_heavy_supersampling():
    """The simulator's own settings, and its rendering from cells to radiance, at both sizes.

    The larger array is checked in a window of it, from the near rims of two pans outwards.
    """
    band = flat_band(8e-6, 14e-6)
    fine = lens_from_fov(120, cols=160, fov_h_rad=math.radians(57), fov_v_rad=math.radians(44))
    window = dataclasses.replace(
        fine, rows=24, cols=32, centre_offset_row_px=20.0, centre_offset_col_px=15.0
    )
    grids = (
        CellGrid(-0.2, 0.13, 0.12, 4, 8, 0.01, 0.05),
        CellGrid(0.2, 0.13, 0.1, 4, 8, 0.01, 0.12, 0.06),
        CellGrid(0.0, -0.02, 0.09, 4, 8, 0.02, 0.1),
    )
    for lens, full, rays in ((_lens(), _lens(), 64), (window, fine, 56)):
        strips, steps = image_steps(full)
        sampling = sampling_matrix(
            grids, lens=lens, pose=POSE, sigma_px=0.5, strips_per_px=strips, steps_per_px=steps
        )
        kelvin = np.full((1, sum(grid.cells for grid in grids)), BASE + 273.15)
        rest_c = _values(sampling, grids)[kelvin.shape[1] :]
        cells = Cells(kelvin, np.ones(kelvin.shape), np.ones((kelvin.size, 1)), np.zeros((1, 1)), 0)
        rest = quadrature_radiance(rest_c + 273.15, band=band)[None]
        got = pixel_radiance(sampling.matrix, cells=(cells,), rest=rest, band=band)
        levels = quadrature_radiance(np.array([HOB, WALL, BASE]) + 273.15, band=band)
        wanted = _brute(lens, grids, 0.5, rays, of=tuple(levels))
        frames = [
            radiating_temperature_k(np.ravel(one).astype(float), band=band) for one in (got, wanted)
        ]
        error = frames[0] - frames[1]
        assert math.sqrt((error**2).mean()) <= 0.020
        assert np.abs(error).max() <= 0.15


def test_converges_to_its_own_fine_answer():
    lens = _lens()
    grids = (CellGrid(-0.2, 0.1, 0.12, 4, 8, 0.01, 0.05), CellGrid(0.2, 0.1, 0.1, 4, 8, 0.01, 0.12))
    frames = []
    for strips, steps in ((6, 8), (48, 32)):
        s = sampling_matrix(
            grids, lens=lens, pose=POSE, sigma_px=0.4, strips_per_px=strips, steps_per_px=steps
        )
        frames.append(s.matrix @ _values(s, grids))
    error = frames[0] - frames[1]
    assert math.sqrt((error**2).mean()) <= 0.012
    assert np.abs(error).max() <= 0.15


@pytest.mark.parametrize("grids", [(), (CellGrid(0, 0, 0.12, 24, 32, 0.01, 0.05, flare_rad=0.3),)])
def test_rows_sum_to_one(grids):
    s = sampling_matrix(grids, lens=_lens("equal-angle", (110, 75)), pose=POSE, sigma_px=0.5)
    sums = np.asarray(s.matrix.sum(axis=1)).ravel()
    np.testing.assert_allclose(sums, 1.0, atol=1e-12)
    assert s.matrix.data.min() >= 0
    assert s.matrix.shape == (768, sum(g.cells for g in grids) + 2 * len(grids) + 2)


def test_cells_sit_where_they_belong():
    """A ramp over the cells appears as a ramp over the pixels inside the pan."""
    lens, pose = _lens(), Pose(0, 0, 0.5)
    grid = CellGrid(0.02, -0.01, 0.16, 48, 96)
    s = sampling_matrix((grid,), lens=lens, pose=pose, sigma_px=0.3)
    ring, sector = np.divmod(np.arange(grid.cells), grid.n_theta)
    r, a = (ring + 0.5) / grid.n_r * grid.radius_m, (sector + 0.5) / grid.n_theta * 2 * math.pi
    v = np.zeros(s.matrix.shape[1])
    v[: grid.cells] = 3 * (grid.centre_x_m + r * np.cos(a)) - 2 * (grid.centre_y_m + r * np.sin(a))
    got = s.matrix @ v
    at = point_of_pixel(np.stack(np.mgrid[0:24, 0:32], -1), lens=lens, pose=pose).reshape(-1, 3)
    inner = np.hypot(at[:, 0] - 0.02, at[:, 1] + 0.01) < 0.11
    assert inner.sum() > 80
    np.testing.assert_allclose(got[inner], (3 * at[:, 0] - 2 * at[:, 1])[inner], atol=0.002)


def test_flames_show_in_a_ring_around_the_base():
    """The apron's share of all pixels is its area on the hob, less what the pan hides."""
    lens, pose = _lens(fov=(40, 40)), Pose(0, 0, 0.9)
    flat = CellGrid(0.0, 0.0, 0.1, 4, 8, apron_m=0.03)
    s = sampling_matrix((flat,), lens=lens, pose=pose, sigma_px=0.4)
    pixel_m2 = (2 * 0.9 * math.tan(math.radians(20))) ** 2 / 768
    ring = float(s.matrix[:, [s.apron_column[0]]].sum()) * pixel_m2
    assert ring == pytest.approx(math.pi * (0.13**2 - 0.1**2), rel=0.01)
    with pytest.raises(OutOfRangeError, match="apron"):
        CellGrid(0, 0, 0.1, 2, 4, apron_m=-0.01)


def test_near_pan_hides_what_stands_behind():
    lens, pose = _lens("rectilinear", (60, 60)), Pose(0, -0.6, 0.5, tilt_rad=0.8)
    low = CellGrid(0, 0.25, 0.1, 4, 8)
    tall = CellGrid(0, 0.0, 0.12, 4, 8, depth_m=0.3)
    alone = sampling_matrix((low,), lens=lens, pose=pose, sigma_px=0.3).matrix
    both = sampling_matrix((low, tall), lens=lens, pose=pose, sigma_px=0.3).matrix
    assert both[:, : low.cells].sum() < 0.5 * alone[:, : low.cells].sum()
    assert alone[:, : low.cells].sum() > 5


def test_level_head_sees_surroundings():
    s = sampling_matrix((), lens=_lens(), pose=Pose(0, 0, 0.5, tilt_rad=math.pi / 2), sigma_px=0.3)
    sky = np.asarray(s.matrix[:, [s.surround_column]].sum())
    assert sky == pytest.approx(384, abs=1)


def test_bad_input_is_refused():
    lens = _lens()
    with pytest.raises(OutOfRangeError, match="overlap"):
        sampling_matrix(
            (CellGrid(0, 0, 0.1, 2, 4), CellGrid(0.1, 0, 0.1, 2, 4)),
            lens=lens,
            pose=POSE,
            sigma_px=0.4,
        )
    with pytest.raises(OutOfRangeError, match="rim"):
        sampling_matrix((CellGrid(0, 0, 0.1, 2, 4, 0, 0.8),), lens=lens, pose=POSE, sigma_px=0.4)
    with pytest.raises(OutOfRangeError, match="blur"):
        sampling_matrix((), lens=lens, pose=POSE, sigma_px=-0.1)
    with pytest.raises(OutOfRangeError, match="strips"):
        sampling_matrix((), lens=lens, pose=POSE, sigma_px=0.1, strips_per_px=0)
    with pytest.raises(OutOfRangeError, match="fill"):
        CellGrid(0, 0, 0.1, 2, 4, 0, 0.05, 0.06)
