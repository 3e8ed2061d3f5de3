"""The sampling matrix: what share of each pixel's signal comes from which surface.

Radiance is linear, so a frame is one sparse matrix times the radiances of the
surfaces.  A pixel responds over its own square convolved with a Gaussian blur.
The image is cut into lines of constant row; along a line the surface changes
at points that are found by bisection, and each piece is weighed exactly by
the integral of the blurred box.  Only the quadrature across lines is inexact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit
from scipy.sparse import csr_array

from trivet.errors import OutOfRangeError
from trivet.kernels.optics import Lens, Pose, camera_ray

Array = npt.NDArray[np.float64]
REFINED = 8  # sub-strips of a strip in which surfaces come or go
BLUR_REACH = 5.0  # sigmas beyond which the blur is cut off: 6e-7 of its weight


@dataclass(frozen=True)
class CellGrid:
    """A pan as the renderer sees it: polar cells on its surface, wall and contents.

    Cell (i, j) covers ring i of equal radial width and sector j, counted
    counter-clockwise from +x; its column is ``i * n_theta + j``.  With a fill
    above zero the cells lie on the contents' surface, out to the wall.
    """

    centre_x_m: float
    centre_y_m: float
    radius_m: float
    n_r: int
    n_theta: int
    base_height_m: float = 0.0
    depth_m: float = 0.0
    fill_m: float = 0.0
    flare_rad: float = 0.0

    def __post_init__(self) -> None:
        if not self.radius_m > 0 or self.n_r < 1 or self.n_theta < 1:
            raise OutOfRangeError(
                f"cell grid radius {self.radius_m} m, {self.n_r} x {self.n_theta} cells; "
                "allowed: radius above 0 and at least 1 x 1"
            )
        if not 0 <= self.fill_m <= self.depth_m or self.base_height_m < 0:
            raise OutOfRangeError(
                f"cell grid fill {self.fill_m} m, depth {self.depth_m} m, base at "
                f"{self.base_height_m} m; allowed: 0 <= fill <= depth and base at least 0"
            )
        if self.radius_m + self.depth_m * math.tan(self.flare_rad) <= 0:
            raise OutOfRangeError(f"wall flare {self.flare_rad} rad closes the pan below its rim")

    @property
    def cells(self) -> int:
        """Number of cells."""
        return self.n_r * self.n_theta

    def vector(self) -> Array:
        """Return the grid as the float vector that the compiled kernels take."""
        return np.array(
            [
                self.centre_x_m,
                self.centre_y_m,
                self.radius_m,
                self.base_height_m,
                self.base_height_m + self.depth_m,
                self.base_height_m + self.fill_m,
                math.tan(self.flare_rad),
                self.n_r,
                self.n_theta,
            ]
        )


@dataclass(frozen=True)
class Sampling:
    """The matrix (pixel row by row, surface) and which column is what.

    Columns: the cells of pan 0, of pan 1, ...; then one wall column a pan
    (inside and outside of its wall); then the hob plane; then whatever lies
    above the horizon.
    """

    matrix: csr_array
    cell_start: tuple[int, ...]
    wall_column: tuple[int, ...]
    hob_column: int
    surround_column: int


def sampling_matrix(
    grids: tuple[CellGrid, ...],
    *,
    lens: Lens,
    pose: Pose,
    sigma_px: float,
    strips_per_px: int = 6,
    steps_per_px: int = 8,
) -> Sampling:
    """Return what share of each pixel's signal comes from which surface.

    Parameters
    ----------
    grids : tuple of CellGrid
        The pans on the cooktop; empty for a bare one.
    lens, pose : Lens, Pose
        The head.
    sigma_px : float
        Standard deviation of the Gaussian blur. [px]
    strips_per_px : int
        Strips of rows to a pixel, each sampled by two Gauss lines, and by
        sixteen where an outline is tangent to the rows.
    steps_per_px : int
        Steps along a line at which surfaces are looked up.

    Returns
    -------
    Sampling
        Sparse matrix (rows * cols, surfaces) whose rows sum to 1.

    Raises
    ------
    OutOfRangeError
        For a negative blur, fewer than one strip or step a pixel, a rim at or
        above the head, or pans that overlap.

    Notes
    -----
    Pans at 200 C on a hob at 40 C, 32 x 24 over 55 x 35 deg, blur 0.4 px: 7 mK
    rms and 0.12 K at worst against 48 strips a pixel, 15 mK and 0.11 K against
    64 x 64 plain rays a pixel (whose own error is as large).  160 x 120: 3
    strips and 3 steps do as well, as its pixels see straighter outlines.
    One wall column a pan serves both faces of the wall.  Blur acts in the image plane
    and is the same in all pixels.

    References
    ----------
    Linear superposition of radiance; exact box-Gauss weights; own derivation.
    """
    _check(grids, pose, sigma_px, strips_per_px, steps_per_px)
    pans = (
        np.stack([grid.vector() for grid in grids]) if grids else np.zeros((0, 9), dtype=np.float64)
    )
    starts = np.concatenate([[0], np.cumsum([grid.cells for grid in grids])]).astype(np.int64)
    walls = int(starts[-1]) + np.arange(len(grids), dtype=np.int64)
    n_columns = int(starts[-1]) + len(grids) + 2
    view = (lens.vector(), pose.rotation(), pose.eye_m, pans, starts)
    reach = 0.5 + BLUR_REACH * sigma_px
    n_steps = math.ceil((lens.cols - 1 + 2 * reach) * steps_per_px)
    edges = np.linspace(-reach, lens.cols - 1 + reach, n_steps + 1)
    line_row, width, pieces = _lines(lens.rows, edges, reach, strips_per_px, view)
    weight = _line_weights(line_row, width, lens.rows, sigma_px)
    data, indices, indptr = _gathered(pieces, weight, lens.cols, n_columns, sigma_px)
    matrix = csr_array((data, indices, indptr), shape=(lens.rows * lens.cols, n_columns))
    return Sampling(
        matrix,
        tuple(int(s) for s in starts[:-1]),
        tuple(int(w) for w in walls),
        n_columns - 2,
        n_columns - 1,
    )


def _lines(
    rows: int, edges: Array, reach: float, strips_per_px: int, view: tuple[Any, ...]
) -> tuple[Array, Array, tuple[Any, Any, Any, Any]]:
    """Cut two Gauss lines a strip, and sixteen a strip in which surfaces come or go.

    Where a line becomes tangent to an outline its chord grows as a square
    root, which the plain rule integrates badly.
    """
    beyond = math.ceil((reach - 0.5) * strips_per_px)
    n_strips = rows * strips_per_px + 2 * beyond
    low = -0.5 + (np.arange(n_strips) - beyond) / strips_per_px
    node = 0.5 + np.array([-0.5, 0.5]) / math.sqrt(3.0)
    line_row = (low[:, None] + node / strips_per_px).ravel()
    width = np.full(line_row.size, 0.5 / strips_per_px)
    start, piece_low, piece_high, column, order = _pieces(line_row, edges, view)
    changed = np.flatnonzero(order[1:] != order[:-1])
    near = np.array([-1, 0, 1])
    fine = np.concatenate([changed // 2, (changed + 1) // 2])[:, None] + near
    fine = np.unique(np.clip(fine, 0, n_strips - 1)) if changed.size else changed
    if fine.size == 0:
        return line_row, width, (start, piece_low, piece_high, column)
    width[2 * fine] = width[2 * fine + 1] = 0.0
    sub = (low[fine, None] + np.arange(REFINED) / (REFINED * strips_per_px)).ravel()
    more_row = (sub[:, None] + node / (REFINED * strips_per_px)).ravel()
    more = _pieces(more_row, edges, view)
    return (
        np.concatenate([line_row, more_row]),
        np.concatenate([width, np.full(more_row.size, 0.5 / (REFINED * strips_per_px))]),
        (
            np.concatenate([start, start[-1] + more[0][1:]]),
            np.concatenate([piece_low, more[1]]),
            np.concatenate([piece_high, more[2]]),
            np.concatenate([column, more[3]]),
        ),
    )


def _check(
    grids: tuple[CellGrid, ...], pose: Pose, sigma_px: float, strips_per_px: int, steps_per_px: int
) -> None:
    if not 0 <= sigma_px <= 20:
        raise OutOfRangeError(f"blur {sigma_px} px; allowed: 0 to 20")
    if strips_per_px < 1 or steps_per_px < 1:
        raise OutOfRangeError(
            f"{strips_per_px} strips and {steps_per_px} steps a pixel; allowed: at least 1"
        )
    for i, grid in enumerate(grids):
        if grid.base_height_m + grid.depth_m >= pose.height_m:
            raise OutOfRangeError(
                f"pan {i}: rim at {grid.base_height_m + grid.depth_m} m is not below the head "
                f"at {pose.height_m} m"
            )
        for j, other in enumerate(grids[:i]):
            gap = math.hypot(grid.centre_x_m - other.centre_x_m, grid.centre_y_m - other.centre_y_m)
            if gap < grid.radius_m + other.radius_m - 1e-9:
                raise OutOfRangeError(
                    f"pans {j} and {i} overlap: centres {gap:.4g} m apart, radii "
                    f"{other.radius_m} and {grid.radius_m} m"
                )


@njit(cache=True)
def _pan_hit(pan: Any, eye: Any, dx: float, dy: float) -> tuple[float, int]:
    """First meeting of a ray with one pan: drop to it, and 1 for the opening, 2 for the side.

    The ray is eye + s * (dx, dy, -1); 0 says that it passes by.
    """
    rim_r = pan[2] + (pan[4] - pan[3]) * pan[6]
    s_rim = eye[2] - pan[4]
    px = eye[0] - pan[0] + s_rim * dx
    py = eye[1] - pan[1] + s_rim * dy
    if px * px + py * py <= rim_r * rim_r:
        return s_rim, 1
    height = pan[4] - pan[3]
    if height == 0.0:
        return math.inf, 0
    # outside of the wall: |p + s d| = rim_r - s * slope, 0 <= s <= height
    a = dx * dx + dy * dy - pan[6] * pan[6]
    b = px * dx + py * dy + rim_r * pan[6]
    c = px * px + py * py - rim_r * rim_r
    if abs(a) < 1e-15:
        if b >= 0.0:
            return math.inf, 0
        s = -c / (2.0 * b)
    else:
        root = b * b - a * c
        if root < 0.0:
            return math.inf, 0
        root = math.sqrt(root)
        s = (-b - root) / a if a > 0.0 else (-b + root) / a
        if a < 0.0 and s < 0.0:
            s = (-b - root) / a
    if 0.0 <= s <= height and rim_r - s * pan[6] > 0.0:
        return s_rim + s, 2
    return math.inf, 0


@njit(cache=True)
def _surface(row: float, col: float, view: Any) -> int:
    """Column of the surface that a pixel position looks at."""
    lens, rot, eye, pans, starts = view
    n = pans.shape[0]
    walls = starts[n]
    x, y, z = camera_ray(row, col, lens)
    down = -(rot[2, 0] * x + rot[2, 1] * y + rot[2, 2] * z)
    if not down > 1e-9:
        return int(walls + n + 1)
    dx = (rot[0, 0] * x + rot[0, 1] * y + rot[0, 2] * z) / down
    dy = (rot[1, 0] * x + rot[1, 1] * y + rot[1, 2] * z) / down
    nearest, which, kind = math.inf, -1, 0
    for i in range(n):
        s, k = _pan_hit(pans[i], eye, dx, dy)
        if k > 0 and s < nearest:
            nearest, which, kind = s, i, k
    if which < 0:
        return int(walls + n)
    if kind == 2:
        return int(walls + which)
    pan = pans[which]
    s = eye[2] - pan[5]
    px = eye[0] - pan[0] + s * dx
    py = eye[1] - pan[1] + s * dy
    radius = pan[2] + (pan[5] - pan[3]) * pan[6]
    r = math.sqrt(px * px + py * py)
    if r > radius:
        return int(walls + which)
    ring = min(int(r / radius * pan[7]), int(pan[7]) - 1)
    turn = math.atan2(py, px) / (2.0 * math.pi)
    sector = int((turn + 1.0 if turn < 0.0 else turn) * pan[8]) % int(pan[8])
    return int(starts[which] + ring * int(pan[8]) + sector)


@njit(cache=True)
def _kind(column: Any, starts: Any) -> Any:
    """One number for all cells of a pan, and one for each background column."""
    n = starts.shape[0] - 1
    if column >= starts[n]:
        return int(n + column)
    for i in range(n):
        if column < starts[i + 1]:
            return i
    return n


@njit(cache=True)
def _pieces(line_row: Any, edges: Any, view: Any) -> tuple[Any, Any, Any, Any, Any]:
    """Cut every line into pieces of one surface each; `order` tells kinds' sequences apart."""
    starts = view[4]
    room = line_row.size * 64
    low, high = np.empty(room), np.empty(room)
    column = np.empty(room, dtype=np.int64)
    order = np.zeros(line_row.size, dtype=np.int64)
    start = np.zeros(line_row.size + 1, dtype=np.int64)
    count = 0
    for i in range(line_row.size):
        row = line_row[i]
        x0 = edges[0]
        c0 = _surface(row, x0, view)
        begin, now = x0, c0
        if count + 2 > room:
            room *= 2
            low, high, column = _grown(low, room), _grown(high, room), _grown(column, room)
        for j in range(1, edges.size):
            x1 = edges[j]
            c1 = _surface(row, x1, view)
            a, ca = x0, c0
            while ca != c1:
                # the next change after a; a third surface between is met on a later turn
                b, cb = x1, c1
                fine = _kind(ca, starts) != _kind(cb, starts)
                for _ in range(22 if fine else 3):
                    m = 0.5 * (a + b)
                    cm = _surface(row, m, view)
                    if cm == ca or (_kind(cm, starts) == _kind(ca, starts) and fine):
                        a, ca = m, cm
                    else:
                        b, cb = m, cm
                cut = 0.5 * (a + b)
                if count + 2 > room:
                    room *= 2
                    low, high, column = _grown(low, room), _grown(high, room), _grown(column, room)
                low[count], high[count], column[count] = begin, cut, now
                count += 1
                if fine:
                    order[i] = (order[i] * 31 + _kind(cb, starts) + 1) % 2147483647
                begin, now = cut, cb
                a, ca = b, cb
            x0, c0 = x1, c1
        low[count], high[count], column[count] = begin, x0, now
        count += 1
        start[i + 1] = count
    return start, low[:count], high[:count], column[:count], order


@njit(cache=True)
def _cdf(x: float, sigma: float) -> float:
    """Distribution function of a unit box convolved with a Gaussian cut at BLUR_REACH."""
    reach = 0.5 + BLUR_REACH * sigma
    if x <= -reach:
        return 0.0
    if x >= reach:
        return 1.0
    if sigma == 0.0:
        return x + 0.5
    total = 0.0
    for sign in (1.0, -1.0):
        z = (x + sign * 0.5) / sigma
        part = z * 0.5 * math.erfc(-z / math.sqrt(2.0)) + math.exp(-0.5 * z * z) / math.sqrt(
            2.0 * math.pi
        )
        total += sign * sigma * part
    return total


@njit(cache=True)
def _density(x: float, sigma: float) -> float:
    """Density of a unit box convolved with a Gaussian cut at BLUR_REACH."""
    if sigma == 0.0:
        return 1.0 if abs(x) <= 0.5 else 0.0
    if abs(x) > 0.5 + BLUR_REACH * sigma:
        return 0.0
    scale = sigma * math.sqrt(2.0)
    return 0.5 * (math.erf((x + 0.5) / scale) - math.erf((x - 0.5) / scale))


@njit(cache=True)
def _line_weights(line_row: Any, width: Any, rows: int, sigma: float) -> Any:
    """Weight of each line in each pixel row; every pixel's weights sum to 1."""
    out = np.zeros((rows, line_row.size))
    for r in range(rows):
        for i in range(line_row.size):
            out[r, i] = width[i] * _density(line_row[i] - r, sigma)
        out[r] /= out[r].sum()
    return out


@njit(cache=True)
def _gathered(
    pieces: Any, line_weight: Any, cols: int, n_columns: int, sigma: float
) -> tuple[Any, Any, Any]:
    """Sum the weighed pieces into the rows of a sparse matrix."""
    start, low, high, column = pieces
    rows, reach = line_weight.shape[0], 0.5 + BLUR_REACH * sigma
    first, offset, weight = _spread(low, high, cols, reach, sigma)
    indptr = np.zeros(rows * cols + 1, dtype=np.int64)
    room = 1 << 16
    indices, data = np.empty(room, dtype=np.int64), np.empty(room)
    buffer = np.zeros((cols, n_columns))
    touched = np.empty((cols, n_columns), dtype=np.int64)
    touches = np.zeros(cols, dtype=np.int64)
    count = 0
    for r in range(rows):
        for i in range(line_weight.shape[1]):
            w = line_weight[r, i]
            if w == 0.0:
                continue
            for k in range(start[i], start[i + 1]):
                for n in range(offset[k], offset[k + 1]):
                    c = first[k] + n - offset[k]
                    if weight[n] <= 0.0:
                        continue
                    if buffer[c, column[k]] == 0.0:
                        touched[c, touches[c]] = column[k]
                        touches[c] += 1
                    buffer[c, column[k]] += w * weight[n]
        for c in range(cols):
            mine = np.sort(touched[c, : touches[c]])
            total = buffer[c][mine].sum()
            while count + mine.size > room:
                room *= 2
                indices, data = _grown(indices, room), _grown(data, room)
            for k in mine:
                indices[count], data[count] = k, buffer[c, k] / total
                buffer[c, k] = 0.0
                count += 1
            indptr[r * cols + c + 1] = count
            touches[c] = 0
    return data[:count].copy(), indices[:count].copy(), indptr


@njit(cache=True)
def _grown(array: Any, room: int) -> Any:
    more = np.empty(room, dtype=array.dtype)
    more[: array.size] = array
    return more


@njit(cache=True)
def _spread(low: Any, high: Any, cols: int, reach: float, sigma: float) -> tuple[Any, Any, Any]:
    """Weights of every piece in the pixel columns that it touches."""
    n = low.size
    first, offset = np.empty(n, dtype=np.int64), np.zeros(n + 1, dtype=np.int64)
    for k in range(n):
        a = max(0, math.ceil(low[k] - reach))
        b = min(cols - 1, math.floor(high[k] + reach))
        first[k] = a
        offset[k + 1] = offset[k] + max(0, b - a + 1)
    weight = np.empty(offset[n])
    for k in range(n):
        for m in range(offset[k + 1] - offset[k]):
            c = first[k] + m
            weight[offset[k] + m] = _cdf(high[k] - c, sigma) - _cdf(low[k] - c, sigma)
    return first, offset, weight
