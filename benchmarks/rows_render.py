"""Frames of six pans: one sparse product against OpenCV with four times supersampling."""

from __future__ import annotations

import dataclasses
import math
import statistics
import time
from typing import Any

import cv2
import numpy as np

from trivet.physics.geometry.optics import Lens, Pose, lens_from_fov, point_of_pixel
from trivet.physics.geometry.sampling import CellGrid, Sampling, sampling_matrix
from trivet.physics.radiation.planck import (
    band_radiance,
    flat_band,
    radiating_temperature_k,
)
from trivet.physics.radiation.render import Cells, pixel_radiance
from trivet.stages.simulate.scene import image_steps

BAND = flat_band(8e-6, 14e-6)
N_R, N_THETA, SIGMA_PX, ROUNDS = 24, 32, 0.5, 9
POSE = Pose(0.01, 0.02, 0.76, tilt_rad=0.05, pan_rad=0.1)
GRIDS = tuple(
    CellGrid(x, y, 0.11, N_R, N_THETA, 0.01, 0.05)
    for x in (-0.25, 0.0, 0.25)
    for y in (-0.13, 0.13)
)
SIZES = ((24, 32, (55, 40), 512, 18.0), (120, 160, (57, 44), 256, 60.0))
TABLE_K = np.linspace(213.15, 873.15, 8192)


class OpenCvRenderer:
    """As a competent user would write it: everything that stands still is made once.

    A frame is a table look-up for the radiance; the polar cells of each pan
    remapped linearly into its part of an image of four times the pixels (the
    nearest cell would be off by more than a kelvin); walls and hob from a label
    image; a Gaussian blur; and a reduction by area.
    """

    def __init__(self, lens: Lens, over: int = 4):
        self.over, self.size = over, (lens.cols, lens.rows)
        fine = dataclasses.replace(
            lens,
            rows=lens.rows * over,
            cols=lens.cols * over,
            focal_row_px=lens.focal_row_px * over,
            focal_col_px=lens.focal_col_px * over,
        )
        column = seen_columns(fine)
        cells = N_R * N_THETA
        self.label = np.maximum(column - len(GRIDS) * cells, 0)
        self.parts = [self._part(fine, column // cells == k, k) for k in range(len(GRIDS))]
        self.table = band_radiance(TABLE_K, band=BAND)

    @staticmethod
    def _part(fine: Lens, mask: Any, k: int) -> tuple[Any, Any, Any, Any]:
        grid = GRIDS[k]
        inside = np.argwhere(mask)
        (top, left), (bottom, right) = inside.min(axis=0), inside.max(axis=0) + 1
        index = np.moveaxis(np.mgrid[top:bottom, left:right], 0, -1)
        at = point_of_pixel(index, lens=fine, pose=POSE, plane_height_m=grid.base_height_m)
        x, y = at[..., 0] - grid.centre_x_m, at[..., 1] - grid.centre_y_m
        ring = np.hypot(x, y) / grid.radius_m * N_R + 0.5  # one row and column of padding
        sector = np.arctan2(y, x) / (2 * np.pi) % 1.0 * N_THETA + 0.5
        maps = cv2.convertMaps(sector.astype(np.float32), ring.astype(np.float32), cv2.CV_16SC2)
        window = (slice(top, bottom), slice(left, right))
        return window, mask[window], maps[0], maps[1]

    def frame(self, cells_k: Any, eps: float, mirrored: float, rest: Any) -> Any:
        """Return the radiance of one frame, (row, col)."""
        own = eps * np.interp(cells_k, TABLE_K, self.table) + (1.0 - eps) * mirrored
        polar = own.astype(np.float32).reshape(len(GRIDS), N_R, N_THETA)
        fine = rest.astype(np.float32)[self.label]
        for one, (window, mask, map_x, map_y) in zip(polar, self.parts, strict=True):
            wide = cv2.copyMakeBorder(one, 0, 0, 1, 1, cv2.BORDER_WRAP)
            wide = cv2.copyMakeBorder(wide, 1, 1, 0, 0, cv2.BORDER_REPLICATE)
            np.copyto(fine[window], cv2.remap(wide, map_x, map_y, cv2.INTER_LINEAR), where=mask)
        fine = cv2.GaussianBlur(fine, (0, 0), SIGMA_PX * self.over)
        return cv2.resize(fine, self.size, interpolation=cv2.INTER_AREA)


def seen_columns(lens: Lens) -> Any:
    """Return the surface in the middle of each pixel, (row, col), by rays of our own."""
    sharp = sampling_matrix(
        GRIDS, lens=lens, pose=POSE, sigma_px=0.0, strips_per_px=1, steps_per_px=1
    ).matrix
    return np.asarray(sharp.argmax(axis=1)).reshape(lens.rows, lens.cols)


def _as_simulated(lens: Lens) -> Sampling:
    strips, steps = image_steps(lens)
    return sampling_matrix(
        GRIDS,
        lens=lens,
        pose=POSE,
        sigma_px=SIGMA_PX,
        strips_per_px=strips,
        steps_per_px=steps,
    )


def _scene(count: int) -> tuple[Any, Any]:
    """Return cell temperatures (time, pan, cell) and the radiance of all else."""
    ring, sector = np.divmod(np.arange(N_R * N_THETA), N_THETA)
    r, angle = (ring + 0.5) / N_R, (sector + 0.5) / N_THETA * 2 * np.pi
    shape = 15.0 * r * np.cos(angle) - 20.0 * r**2
    cells = 440.0 + 10.0 * np.arange(6)[:, None] + shape + 0.1 * np.arange(count)[:, None, None]
    rest_k = np.array([400.0] * 6 + [320.0] * 6 + [320.0, 300.0])
    return cells.astype(np.float32), band_radiance(rest_k, band=BAND)


def _timed(lens: Lens, sampling: Sampling, count: int) -> tuple[float, float, Any]:
    cells, rest = _scene(count)
    eps, mirrored = 0.9, float(band_radiance(305.0, band=BAND))
    flat, ones = cells.reshape(count, -1), np.ones((N_R * N_THETA, 1))
    pans = tuple(
        Cells(
            np.ascontiguousarray(cells[:, k]),
            np.full((1, N_R * N_THETA), eps),
            ones,
            np.array([[mirrored]]),
            sampling.cell_start[k],
        )
        for k in range(len(GRIDS))
    )
    still = np.tile(rest, (count, 1))
    other = OpenCvRenderer(lens)
    for _ in range(2):
        frames = pixel_radiance(sampling.matrix, cells=pans, rest=still, band=BAND)
        other.frame(flat[0], eps, mirrored, rest)
    ours, base = [], []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        frames = pixel_radiance(sampling.matrix, cells=pans, rest=still, band=BAND)
        ours.append((time.perf_counter() - start) / count)
        start = time.perf_counter()
        for n in range(count):
            other.frame(flat[n], eps, mirrored, rest)
        base.append((time.perf_counter() - start) / count)
    values = np.concatenate(
        [eps * band_radiance(flat[-1], band=BAND) + (1.0 - eps) * mirrored, rest]
    )
    theirs = other.frame(flat[-1], eps, mirrored, rest)
    return statistics.median(ours), statistics.median(base), (frames[-1], theirs, values)


def rows() -> list[dict[str, Any]]:
    """Return two rows: 32 x 24 and 160 x 120, one thread each."""
    made = []
    threads = cv2.getNumThreads()
    cv2.setNumThreads(1)
    for n_rows, cols, fov, count, goal in SIZES:
        lens = lens_from_fov(
            n_rows, cols=cols, fov_h_rad=math.radians(fov[0]), fov_v_rad=math.radians(fov[1])
        )
        seen_columns(lens)  # compiled before it is timed
        start = time.perf_counter()
        sampling = _as_simulated(lens)
        once = time.perf_counter() - start
        fast, slow, (frame, theirs, values) = _timed(lens, sampling, count)
        fine = sampling_matrix(
            GRIDS, lens=lens, pose=POSE, sigma_px=SIGMA_PX, strips_per_px=48, steps_per_px=32
        )
        truth = radiating_temperature_k(fine.matrix @ values, band=BAND).reshape(n_rows, cols)
        got = radiating_temperature_k(frame.reshape(truth.shape), band=BAND) - truth
        off = (radiating_temperature_k(theirs, band=BAND) - truth)[2:-2, 2:-2]
        detail = (
            f"1 thread, {count} frames at once: {fast * 1e6:.0f} us a frame against "
            f"{slow * 1e6:.0f} us; the matrix of a cook {once * 1e3:.0f} ms once; against a matrix "
            f"of 48 strips a pixel {got.std() * 1e3:.0f} mK rms, {np.abs(got).max():.2f} K at "
            f"worst (the other {off.std():.2f} K and {np.abs(off).max():.1f} K); against rays in "
            "tests/physics/geometry/test_sampling.py"
        )
        made.append(
            {
                "name": f"rendering {cols} x {n_rows} of six pans",
                "baseline": "OpenCV, 4 x supersampled",
                "ratio": slow / fast,
                "goal": goal,
                "detail": detail,
            }
        )
    cv2.setNumThreads(threads)
    return made


if __name__ == "__main__":
    print(rows())
